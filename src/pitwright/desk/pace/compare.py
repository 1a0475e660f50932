"""Which clutch state was quicker: the question a user asks of chosen heats, and its answer."""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING, Literal, get_args

from pitwright.desk.pace.also_differs import also_differs
from pitwright.desk.pace.clutch_states import By, Grouped, grouped
from pitwright.desk.pace.pace import PaceHeat, heat_pace
from pitwright.inference.laps import SetAsideRule
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.inference.compare import Comparison, HeatFigure
    from pitwright.inference.follow import Follow

__all__ = [
    "FIGURES",
    "Asked",
    "Comparing",
    "Figure",
    "HeatNeed",
    "StateFigure",
    "compare_heats",
    "compare_lists",
]

Figure = Literal["pace", "opening", "scatter"]
FIGURES: tuple[Figure, ...] = get_args(Figure)
FIGURE_WORDS: Mapping[Figure, str] = {
    "pace": "settled lap (median after the opening laps)",
    "opening": "time lost over the opening laps",
    "scatter": "scatter of the settled laps",
}

EFFECTS_S = (0.05, 0.10, 0.15, 0.20)
"""Differences a lap that a user may look for [s]."""

_FEWEST_EACH = 2
_STEPS: Mapping[By, tuple[str, float, str]] = {
    "recess": ("recess", 0.1, "0.10 mm"),
    "bite": ("bite speed", 500.0, "500 rpm"),
}


@dataclass(frozen=True)
class Asked:
    """The question: heats grouped ``by`` what, compared in which ``figure``.

    ``pair`` names the two states asked about; without it every pair is compared, or, for a recess
    or bite speed with three bands or more, one slope is looked for unless ``pairs`` says not to.
    """

    by: By = "spring"
    figure: Figure = "pace"
    pair: tuple[str, str] | None = None
    pairs: bool = False


@dataclass(frozen=True)
class StateFigure:
    """A state with its heats and the median of their figures [s]."""

    label: str
    heats: tuple[str, ...]
    values: tuple[float, ...]

    @property
    def median(self) -> float | None:
        """Median of the heats' figures, None without any."""
        return statistics.median(self.values) if self.values else None


@dataclass(frozen=True)
class HeatNeed:
    """Heats of each state, alternated, that show a difference of ``effect`` [s]; None: too many."""

    effect: float
    heats: int | None


@dataclass(frozen=True)
class Comparing:
    """The answer. ``left_out`` names heats that could not count, with the reason.

    ``also`` says, per comparison, what else differs between the two throughout. ``spread`` is the
    heat-to-heat standard deviation seen [s], None when too few heats tell it. ``notes`` own up to
    how the question was asked.
    """

    asked: Asked
    states: tuple[StateFigure, ...]
    comparisons: tuple[Comparison, ...] = ()
    also: tuple[str, ...] = ()
    slope: Follow | None = None
    spread: float | None = None
    needs: tuple[HeatNeed, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()
    rule: SetAsideRule = field(default_factory=SetAsideRule)

    @property
    def sentences(self) -> tuple[str, ...]:
        """Every answer as a sentence, with what else differed."""
        found = [self.slope.sentence] if self.slope is not None else []
        for comparison, also in zip(self.comparisons, self.also, strict=True):
            found.append(f"{comparison.sentence} {also}".strip())
        return tuple(found)


def compare_heats(
    weekend: Weekend,
    heats: Sequence[PaceHeat],
    asked: Asked,
    rule: SetAsideRule | None = None,
) -> Comparing:
    """Compare the clutch states that some heats ran on.

    Heats without the figure, or whose state nobody recorded, are left out by name. Raises
    ValueError when a state of ``asked.pair`` has no heat, or the two are one.
    """
    found = grouped(weekend, heats, asked.by)
    values, left_out = _figures(heats, asked.figure, rule)
    usable = [h for h in heats if h.record in values and h.record in found.state_of]
    states = tuple(
        StateFigure(
            state.label,
            tuple(h.name for h in usable if found.state_of[h.record] == state.label),
            tuple(values[h.record] for h in usable if found.state_of[h.record] == state.label),
        )
        for state in found.states
    )
    notes = [found.note] if found.note else []
    slope = None
    pairs: list[tuple[str, str]] = []
    if asked.pair is not None:
        pairs = [asked.pair]
        if sum(1 for s in states if s.heats) > 2:
            notes.append(
                "Judged as the only question asked; if you picked it for its figures, "
                "ask for all pairs instead."
            )
    elif asked.by in _STEPS and len([s for s in states if s.heats]) > 2 and not asked.pairs:
        slope = _slope(usable, values, found, asked)
        notes += _bend_note(states)
    else:
        pairs, note = _pairs(states)
        notes += [note] if note else []
    comparisons = _compared(
        [(found.state_of[h.record], h, values[h.record]) for h in usable], pairs, asked.figure
    )
    return _answer(
        weekend, asked, states, comparisons, slope, usable, found, notes,
        (*found.unknown, *left_out), rule,
    )  # fmt: skip


def compare_lists(
    weekend: Weekend,
    first: Sequence[PaceHeat],
    second: Sequence[PaceHeat],
    others: Sequence[PaceHeat] = (),
    *,
    figure: Figure = "pace",
    rule: SetAsideRule | None = None,
) -> Comparing:
    """Compare two lists of heats chosen by hand, whatever they ran on.

    ``others`` only keep the running order. Raises ValueError when a heat stands in both lists, or
    when no heat of a list has the figure.
    """
    both = {h.record for h in first} & {h.record for h in second}
    if both:
        name = next(h.name for h in first if h.record in both)
        raise ValueError(f"{name} stands on both sides")
    sides = {h.record: label for label, side in _sides(first, second) for h in side}
    heats = sorted([*first, *second], key=lambda h: h.at)
    values, left_out = _figures(heats, figure, rule)
    usable = [h for h in heats if h.record in values]
    labels = tuple(label for label, _side in _sides(first, second))
    states = tuple(
        StateFigure(
            label,
            tuple(h.name for h in usable if sides[h.record] == label),
            tuple(values[h.record] for h in usable if sides[h.record] == label),
        )
        for label in labels
    )
    empty = next((s.label for s in states if not s.heats), None)
    if empty is not None:
        raise ValueError(f"no heat of {empty} has laps that can be compared")
    rows = [(sides[h.record], h, values[h.record]) for h in usable]
    extra, _ = _figures(others, figure, rule)
    rows += [("", h, extra[h.record]) for h in others if h.record in extra.keys() - sides.keys()]
    comparisons = _compared(rows, [(labels[0], labels[1])], figure)
    by_hand = Grouped("spring", (), sides, {}, ())
    return _answer(
        weekend, Asked(figure=figure, pair=(labels[0], labels[1])), states, comparisons, None,
        usable, by_hand, [], left_out, rule, by_hand=True,
    )  # fmt: skip


def _sides(
    first: Sequence[PaceHeat], second: Sequence[PaceHeat]
) -> tuple[tuple[str, Sequence[PaceHeat]], ...]:
    return tuple((" + ".join(h.name for h in side), side) for side in (first, second))


def _figures(
    heats: Sequence[PaceHeat], figure: Figure, rule: SetAsideRule | None
) -> tuple[dict[str, float], list[tuple[str, str]]]:
    values: dict[str, float] = {}
    left_out: list[tuple[str, str]] = []
    for heat in heats:
        pace = heat_pace(heat.laps, rule)
        if pace is None:
            left_out.append((heat.name, "no laps kept"))
            continue
        value = {"pace": pace.settled, "opening": pace.opening_loss, "scatter": pace.scatter}[
            figure
        ]
        if figure == "opening" and len(pace.opening) < pace.rule.opening:
            value = None  # fewer opening laps would lose less time
        if value is None:
            left_out.append((heat.name, "too few laps that count"))
        else:
            values[heat.record] = value
    return values, left_out


def _pairs(states: Sequence[StateFigure]) -> tuple[list[tuple[str, str]], str]:
    """Return the pairs worth a test, and what was left out of them.

    By the number of heats only, never by their figures.
    """
    ran = [s for s in states if s.heats]
    worth = [s for s in ran if len(s.heats) >= _FEWEST_EACH]
    if len(worth) < 2:
        return ([(ran[0].label, ran[1].label)], "") if len(ran) == 2 else ([], "")
    single = [s.label for s in ran if len(s.heats) < _FEWEST_EACH]
    note = f"One heat only, so not compared: {', '.join(single)}." if single else ""
    return [(a.label, b.label) for a, b in combinations(worth, 2)], note


def _compared(
    rows: Sequence[tuple[str, PaceHeat, float]], pairs: Sequence[tuple[str, str]], figure: Figure
) -> tuple[Comparison, ...]:
    if not pairs:
        return ()
    from pitwright.inference.compare import HeatFigure, compare_many
    from pitwright.inference.wording import LAP, OPENING, SCATTER

    measure = {"pace": LAP, "opening": OPENING, "scatter": SCATTER}[figure]
    figures: list[HeatFigure] = [
        HeatFigure(state, heat.at.timestamp(), value, heat.name) for state, heat, value in rows
    ]
    return compare_many(figures, pairs, measure=measure)


def _slope(
    heats: Sequence[PaceHeat], values: Mapping[str, float], found: Grouped, asked: Asked
) -> Follow | None:
    from pitwright.inference.follow import SettingFigure, follow_setting
    from pitwright.inference.wording import LAP, OPENING, SCATTER

    name, step, step_text = _STEPS[asked.by]
    # A band counts as one setting: what two readings cannot tell apart is no change.
    middles: dict[str, list[float]] = {}
    for heat in heats:
        middles.setdefault(found.state_of[heat.record], []).append(found.setting_of[heat.record])
    middle = {state: statistics.fmean(settings) for state, settings in middles.items()}
    return follow_setting(
        [
            SettingFigure(middle[found.state_of[h.record]], h.at.timestamp(), values[h.record])
            for h in heats
        ],
        name=name,
        step=step,
        step_text=step_text,
        measure={"pace": LAP, "opening": OPENING, "scatter": SCATTER}[asked.figure],
    )


def _bend_note(states: Sequence[StateFigure]) -> list[str]:
    """Warn that a straight line misses a best setting in the middle."""
    ran = [(s.label, s.median) for s in states if s.median is not None]
    best = min(range(len(ran)), key=lambda i: ran[i][1], default=0)
    if not 0 < best < len(ran) - 1:
        return []
    return [
        f"The best median stands in the middle, at {ran[best][0]}: "
        "a straight slope does not tell the whole; compare the settings in pairs."
    ]


def _answer(
    weekend: Weekend,
    asked: Asked,
    states: tuple[StateFigure, ...],
    comparisons: tuple[Comparison, ...],
    slope: Follow | None,
    usable: Sequence[PaceHeat],
    found: Grouped,
    notes: Sequence[str],
    left_out: Sequence[tuple[str, str]],
    rule: SetAsideRule | None,
    *,
    by_hand: bool = False,
) -> Comparing:
    from pitwright.inference.need import heats_needed

    also = also_differs(
        weekend,
        usable,
        found.state_of,
        [(c.a, c.b) for c in comparisons],
        but=None if by_hand else asked.by,
    )
    known = [c.spread for c in comparisons if c.spread and c.n_a + c.n_b >= 6]
    spread = statistics.median(known) if known else None
    needs: tuple[HeatNeed, ...] = ()
    if spread is not None and asked.figure == "pace":
        needs = tuple(HeatNeed(effect, heats_needed(effect, spread)) for effect in EFFECTS_S)
    drifts = [c.drift for c in comparisons if c.drift is not None]
    said = list(notes)
    if len(comparisons) == 1 and drifts:
        said.append(f"A drift of the track of {drifts[0]:+.3f} s a heat was taken out.")
    elif drifts:
        said.append("A drift of the track was taken out where one showed.")
    elif slope is not None and slope.drift_taken_out:
        said.append("A drift of the track was taken out.")
    return Comparing(
        asked=asked,
        states=states,
        comparisons=comparisons,
        also=also,
        slope=slope,
        spread=spread,
        needs=needs,
        left_out=tuple(dict.fromkeys(left_out)),
        notes=tuple(said),
        rule=rule or SetAsideRule(),
    )
