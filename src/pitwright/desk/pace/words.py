"""The pace table and the comparison as lines of text that fit a width."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitwright.desk.heats.timeline_rows import lap_words
from pitwright.desk.pace.clutch_states import BY_WORDS
from pitwright.desk.pace.compare import FIGURE_WORDS, Comparing
from pitwright.desk.pace.pace import BEST_N, RUN_N, PaceHeat
from pitwright.desk.wording import counted

if TYPE_CHECKING:
    from pitwright.inference.pace import HeatPace

__all__ = [
    "PaceColumns",
    "aside_counts",
    "aside_words",
    "asked_words",
    "choice_line",
    "comparing_lines",
    "heat_words",
    "needs_line",
    "pace_lines",
    "state_lines",
]

_WORDS = {"stop": "stop", "mistake": "mistake", "short": "short lap"}
_PLURAL = {"stop": "stops", "mistake": "mistakes", "short": "short laps"}


@dataclass(frozen=True)
class _Column:
    title: str
    width: int
    rank: int
    cell: Callable[[PaceHeat, HeatPace], str]


def _signed(value: float | None, decimals: int = 2) -> str:
    if value is None:
        return ""
    # Nothing lost and nothing won carries no sign.
    return f"{value:+.{decimals}f}" if round(value, decimals) else f"{0:.{decimals}f}"


def _fade(pace: HeatPace, end: str) -> str:
    fade = pace.fade
    return "" if fade is None else _signed(getattr(fade, end))


def _aside_short(pace: HeatPace) -> str:
    return str(len(pace.set_aside) or "")


class PaceColumns:
    """The columns of the pace table that fit a width; the least needed are left out first.

    The name is set left, everything else right, so that decimal points stand under one another.
    """

    def __init__(
        self, width: int, heats: Sequence[PaceHeat], *, best_n: int = BEST_N, run_n: int = RUN_N
    ) -> None:
        self._name = min(max([4, *(len(h.name) for h in heats)]), 18)
        long = any(lap > 59.9 for h in heats for lap in h.laps[:1])
        lap = 7 if long else 5
        self._columns = [
            _Column("laps", 4, 3, lambda h, _p: str(len(h.laps))),
            _Column("best", lap, 2, lambda _h, p: lap_words(p.best)),
            _Column("median", max(lap, 6), 0, lambda _h, p: lap_words(p.median)),
            _Column(f"best{best_n}", lap, 4, lambda _h, p: lap_words(p.best_mean)),
            _Column(f"{run_n}row", lap, 5, lambda _h, p: lap_words(p.run_mean)),
            _Column("scat", 4, 6, lambda _h, p: "" if p.scatter is None else f"{p.scatter:.2f}"),
            _Column("fade", 5, 7, lambda _h, p: _fade(p, "value")),
            _Column("from", 5, 7, lambda _h, p: _fade(p, "low")),
            _Column("to", 5, 7, lambda _h, p: _fade(p, "high")),
            _Column("open", 5, 8, lambda _h, p: _signed(p.opening_loss)),
            _Column("out", 3, 9, lambda _h, p: _aside_short(p)),
            _Column("settled", 7, 10, lambda _h, p: lap_words(p.settled)),
        ]
        for rank in range(10, 0, -1):
            if self.width <= width:
                break
            self._columns = [c for c in self._columns if c.rank != rank]

    @property
    def width(self) -> int:
        """Signs in a line."""
        return self._name + sum(c.width + 1 for c in self._columns)

    def head(self) -> str:
        """Return the titles."""
        return "heat".ljust(self._name) + "".join(f" {c.title:>{c.width}}" for c in self._columns)

    def row(self, heat: PaceHeat, pace: HeatPace | None) -> str:
        """Return a heat's line; one without laps says why."""
        name = heat.name if len(heat.name) <= self._name else f"{heat.name[: self._name - 1]}…"
        name = name.ljust(self._name)
        if not heat.laps:
            words = f"{name} {heat.aside_because}"
            return words if len(words) <= self.width else f"{words[: self.width - 1]}…"
        if pace is None:
            return f"{name} {len(heat.laps):>4} laps"
        return name + "".join(f" {c.cell(heat, pace):>{c.width}}" for c in self._columns)


def aside_words(pace: HeatPace) -> str:
    """Return which laps were set aside and why: ``lap 7 (24.31, mistake)``, nothing for none."""
    parts = [f"lap {m.lap} ({lap_words(m.seconds)}, {_WORDS[m.reason]})" for m in pace.set_aside]
    return ", ".join(parts)


def aside_counts(pace: HeatPace) -> str:
    """Return how many laps were set aside, by reason: ``1 stop, 2 mistakes``."""
    reasons = [m.reason for m in pace.set_aside]
    parts = []
    for reason in ("stop", "mistake", "short"):
        n = sum(1 for r in reasons if r == reason)
        if n:
            parts.append(f"{n} {_WORDS[reason] if n == 1 else _PLURAL[reason]}")
    return ", ".join(parts)


def pace_lines(
    heats: Sequence[PaceHeat],
    paces: Sequence[HeatPace | None],
    width: int,
    *,
    best_n: int = BEST_N,
    run_n: int = RUN_N,
    every: Sequence[PaceHeat] = (),
) -> list[str]:
    """Return the table as text, with what was changed between the heats.

    ``every`` are all heats: what was changed before one that is not shown counts for the next.
    """
    columns = PaceColumns(width, heats, best_n=best_n, run_n=run_n)
    lines = [columns.head().rstrip()]
    shown = {heat.record: pace for heat, pace in zip(heats, paces, strict=True)}
    changed: list[str] = []
    for heat in every or heats:
        if heat.changes:
            changed.append(f"  -- {', '.join(heat.changes)}")
        if heat.record in shown:
            # Before the first heat shown stands what was changed for it alone.
            lines += changed if len(lines) > 1 else changed[-1:] if heat.changes else []
            lines.append(columns.row(heat, shown[heat.record]).rstrip())
            changed = []
    return lines


def heat_words(heat: PaceHeat, pace: HeatPace | None) -> list[str]:
    """Return what the laps of one heat tell, a paragraph each."""
    if pace is None:
        return [heat.aside_because.capitalize() + "." if heat.aside_because else "No laps yet."]
    words = [pace.sentence]
    if pace.best_lap is not None:
        text = f"Best lap: number {pace.best_lap}."
        if pace.best_mean is not None:
            text += f" Mean of the best {pace.best_n}: {lap_words(pace.best_mean)}."
        if pace.run_mean is not None:
            text += (
                f" Best {pace.run_n} in a row: {lap_words(pace.run_mean)} a lap, "
                f"from lap {pace.run_from}."
            )
        words.append(text)
    if pace.opening:
        listed = ", ".join(_signed(lap) for lap in pace.opening)
        words.append(f"Opening laps against the settled pace: {listed} s.")
    if pace.set_aside:
        words.append(f"Set aside, {aside_counts(pace)}: {aside_words(pace)}.")
    words.append(pace.rule.sentence)
    if heat.changes:
        words.append(f"Changed before it: {', '.join(heat.changes)}.")
    return words


def asked_words(found: Comparing) -> str:
    """Return what was compared, in a line."""
    asked = found.asked
    what = FIGURE_WORDS[asked.figure]
    if found.slope is not None:
        return f"Does the {what} follow the {BY_WORDS[asked.by]}?"
    if asked.pair is not None:
        return f"{asked.pair[1]} against {asked.pair[0]}: {what}"
    return f"By {BY_WORDS[asked.by]}, every pair: {what}"


def state_lines(found: Comparing, width: int = 100) -> list[str]:
    """Return the states with their heats, one line each that fits the width."""
    name = max((len(s.label) for s in found.states), default=0)
    lines = []
    for state in found.states:
        if state.median is None:
            lines.append(f"{state.label:<{name}}  no heat that counts")
            continue
        middle = lap_words(state.median) if found.asked.figure == "pace" else f"{state.median:.2f}"
        count = counted(len(state.heats), "heat")
        head = f"{state.label:<{name}}  {middle:>7}  {count:<8}  "
        lines.append(head + _listed(state.heats, width - len(head)))
    return lines


def _listed(names: Sequence[str], room: int) -> str:
    """Return as many names as there is room for, and how many more there are."""
    for shown in range(len(names), 0, -1):
        more = len(names) - shown
        text = ", ".join(names[:shown]) + (f" and {more} more" if more else "")
        if len(text) <= room:
            return text
    return ""


def needs_line(found: Comparing) -> str:
    """Return how many heats a difference takes to show, nothing when the spread is not known."""
    if not found.needs or found.spread is None:
        return ""
    parts = [
        f"{need.effect:.2f} s {'more than a weekend' if need.heats is None else need.heats}"
        for need in found.needs
    ]
    return (
        f"At the spread seen, {found.spread:.2f} s from heat to heat, it takes this many heats of "
        f"each, alternating, to show: {', '.join(parts)}."
    )


def comparing_lines(found: Comparing) -> list[str]:
    """Return the answer, one paragraph a line: sentences first, then what they stand on."""
    lines = list(found.sentences)
    if not lines:
        lines.append(_nothing(found))
    lines += found.notes
    needs = needs_line(found)
    lines += [needs] if needs else []
    if found.left_out:
        reasons: dict[str, list[str]] = {}
        for name, why in found.left_out:
            reasons.setdefault(why, []).append(name)
        listed = "; ".join(f"{_listed(names, 60)} ({why})" for why, names in reasons.items())
        lines.append(f"Left out: {listed}.")
    return lines


def choice_line(heats: Sequence[PaceHeat], chosen: Collection[str], width: int) -> str:
    """Return how many heats count, and which stay out until they are chosen, in a line."""
    mine = sum(1 for h in heats if h.record in chosen)
    out = [
        f"{h.name} {h.aside_because}"
        for h in heats
        if h.laps and h.aside_because and h.record not in chosen
    ]
    line = f"{mine} of {len(heats)} heats chosen"
    if out:
        line += "; not unless you choose: "
        line += _listed(out, width - len(line)) or f"{len(out)} more"
    return line


def _nothing(found: Comparing) -> str:
    ran = [s for s in found.states if s.heats]
    what = BY_WORDS[found.asked.by]
    if not ran:
        return "No chosen heat has laps to compare. Import laps, or choose heats that have some."
    if len(ran) == 1:
        return f"All chosen heats ran on {ran[0].label}: there is nothing to compare by {what}."
    return (
        f"No two states have two heats each: nothing can be told by {what}. "
        "Run one again, and go back and forth between two."
    )
