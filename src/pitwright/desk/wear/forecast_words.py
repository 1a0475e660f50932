"""How long a part lasts, in words for the bench."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pitwright.desk.wording import mm

if TYPE_CHECKING:
    from pitwright.desk.wear.part_forecast import Pace, PartForecast, Span

__all__ = [
    "WearCells",
    "aligned_rows",
    "cells_of",
    "left_words",
    "percent",
    "sentences_of",
    "short_of",
    "table_lines",
]

WearCells = tuple[str, str, str, str, str]
"""A part's row: what it is called, standing, last size or running, chance, what to do."""

_LONG_MIN = 600.0
_HARDLY = 0.05
_LEAST_SHOWN_MM = 0.01
_SIZE_CELL = 2


def percent(chance: float) -> str:
    """Return a chance in words that claim no more than it knows: ``83 %``, ``over 99 %``.

    Rounded down, so that one just short of nine in ten is not shown as if it had reached it.
    """
    whole = math.floor(100.0 * chance + 1e-9)
    return "over 99 %" if chance > 0.99 else "under 1 %" if whole < 1 else f"{whole} %"


def _minutes(value: float | None) -> str:
    return "over 600" if value is None or value >= _LONG_MIN else f"{value:.0f}"


def left_words(left: Span) -> str:
    """Return minutes left with their range: ``about 34 min left (21 to 60)``."""
    if left.middle is None or left.middle >= _LONG_MIN:
        return f"over 600 min left ({_minutes(left.low)} or more)"
    if left.middle < 0.5:
        return f"none left (0 to {_minutes(left.high)} min)" if left.high else "none left"
    return f"about {left.middle:.0f} min left ({_minutes(left.low)} to {_minutes(left.high)})"


def short_of(found: PartForecast) -> str:
    """Return the forecast in one line."""
    if found.standing == "thrown away":
        return "thrown away"
    if found.unknown:
        return f"cannot say yet how long it lasts: {_checks(found)}"
    if found.minutes_left is None:
        return "no limit on the card: nothing to last until"
    parts = []
    if found.chance is not None:
        went = "if fitted now, " if found.standing == "spare" else ""
        parts.append(f"{went}{_good_for(found)} {found.goal}: {percent(found.chance)}")
    parts.append(left_words(found.minutes_left))
    if not found.heats:
        parts.append("no heat to come")
    elif found.change_before is not None:
        parts.append(f"{_change(found)} before {found.change_before}")
    return "; ".join(parts)


def cells_of(found: PartForecast) -> WearCells:
    """Return the forecast as the cells of a row."""
    size = mm(found.points[-1].value_mm, found.decimals) if found.points else "not read"
    chance, what = "", ""
    if found.standing == "thrown away":
        pass
    elif found.unknown:
        what = "cannot say yet"
    elif found.minutes_left is not None:
        what = left_words(found.minutes_left).partition(" (")[0]
        if found.chance is not None:
            chance = f"{found.goal} {percent(found.chance)}"
            if found.standing == "fitted" and found.change_before is not None:
                what = f"{_change(found)} before {found.change_before}"
    return found.label, found.standing, size, chance, what


def _nut_would_do(found: PartForecast) -> bool:
    """Tell whether less recess would help too: worn shoes that only make the coils close."""
    bound = found.limit is not None and found.limit.name == "coil bind"
    return found.place == "shoes" and bound


def _on_the_bench(found: PartForecast) -> bool:
    """Tell whether what ends its life counts where it is set and read, not while it runs."""
    return found.limit is not None and found.limit.bench


def _good_for(found: PartForecast) -> str:
    return "can be set for" if _on_the_bench(found) else "lasts"


def _change(found: PartForecast) -> str:
    return "change or nut out" if _nut_would_do(found) else "change"


def aligned_rows(rows: Sequence[WearCells]) -> list[str]:
    """Return a row for each part, cells in columns, sizes aligned on the decimal point."""
    if not rows:
        return []
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        " ".join(
            cell.rjust(width) if i == _SIZE_CELL else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in rows
    ]


def sentences_of(found: PartForecast) -> tuple[str, ...]:
    """Return the forecast in sentences: where it is, where it ends, whether it lasts, why."""
    lines = [_where(found)]
    if found.unknown:
        lines.append(f"Cannot say yet how long it lasts: {found.unknown}.")
        if found.standing != "thrown away":
            lines.append(_needed(found))
        lines.append(_limit(found))
    else:
        lines += [_lasts(found), _plan(found), _limit(found), _pace(found), _price(found)]
    return tuple(line for line in lines if line)


def table_lines(found: PartForecast) -> tuple[str, ...]:
    """Return the figures behind the sentences as aligned lines: heats, limits, readings."""
    d = found.decimals
    lines: list[str] = []
    if found.heats:
        lines += ["", f"{'Heats to come':<16}{'run by then':>12}   good for it"]
        lines += [
            f"{h.heat:<16}{h.end_minutes:>8.0f} min   {percent(h.chance)}" for h in found.heats
        ]
    if found.limits and found.standing != "thrown away":
        lines += ["", "Limits"]
        ordered = sorted(found.limits, key=lambda x: -x.value_mm)
        lines += [
            f"{x.name:<16}{x.value_mm:>9.{d}f} mm{'   comes first' if x is ordered[0] else ''}"
            for x in ordered
        ]
    if found.points:
        run = f"run since {found.since}" if found.since else "run by then"
        lines += ["", f"{'Readings':<16}{run:>12}"]
        lines += [
            f"{mm(p.value_mm, d):>8}        {p.minutes:>8.0f} min"
            f"{'' if p.run_in else '   before the squeezes'}"
            for p in found.points
        ]
    return tuple(lines)


def _where(found: PartForecast) -> str:
    standing = {"fitted": "fitted", "spare": "a spare", "thrown away": "thrown away"}
    if not found.points:
        return f"{found.label}, {standing[found.standing]}: not read yet{_since(found)}."
    last = found.points[-1]
    ran = _ran(last.minutes, found)
    more = found.age_minutes - last.minutes
    since = f", and {more:.0f} min of running since" if more >= 0.5 else ""
    return (
        f"{found.label}, {standing[found.standing]}: {mm(last.value_mm, found.decimals)} "
        f"at the last reading, {ran}{since}."
    )


def _since(found: PartForecast) -> str:
    return f" since {found.since}" if found.since else ""


def _ran(minutes: float, found: PartForecast) -> str:
    if found.since:
        return f"{minutes:.0f} min of running after {found.since}"
    return f"after {minutes:.0f} min of running" if minutes >= 0.5 else "before its first run"


def _limit(found: PartForecast) -> str:
    limit = found.limit
    if found.standing == "thrown away":
        return ""
    if limit is None:
        return "No limit is known for it: put one on the card."
    why = f": {limit.why}" if limit.why else " on the card"
    text = f"Limit {mm(limit.value_mm, found.decimals)}, {limit.called}{why}."
    if found.points and found.points[-1].value_mm <= limit.value_mm:
        text += " It is past that already."
    return text


def _checks(found: PartForecast) -> str:
    count = found.more_checks
    if not found.points:
        return "one reading would tell" if count == 1 else f"it takes {count} checks as it runs"
    return f"{count} more check{'' if count == 1 else 's'} after more running would tell"


def _needed(found: PartForecast) -> str:
    text = _checks(found)
    text = f"{text[:1].upper()}{text[1:]}"
    if found.points and found.limit is not None:
        room = found.points[-1].value_mm - found.limit.value_mm
        if room > 0:
            text += f"; until then, {mm(room, found.decimals)} are left to the limit"
    return f"{text}."


def _lasts(found: PartForecast) -> str:
    if found.minutes_left is None:
        return ""
    words = left_words(found.minutes_left).replace("(", "(9 in 10: ")
    left = f"{words[:1].upper()}{words[1:]}."
    if found.chance is None:
        return f"{left} No heat is left on the schedule."
    what = f"the main, {found.goal}" if found.goal_is_main else found.goal
    went = "if it goes in now, it " if found.standing == "spare" else ""
    chance = f"{went}{_good_for(found)} {what}: {percent(found.chance)}"
    return f"{chance[:1].upper()}{chance[1:]}. {left}"


def _plan(found: PartForecast) -> str:
    if not found.heats:
        return ""
    if found.change_before is None:
        return f"9 in 10 or better for every heat through {found.goal}."
    if found.standing == "spare":
        when = "start" if _on_the_bench(found) else "end"
        return f"Under 9 in 10 by the {when} of {found.change_before}."
    if _nut_would_do(found):
        what = "Fit new shoes, or set the nut further out,"
    else:
        what = "Change them" if found.place == "shoes" else "Change it"
    when = "start" if _on_the_bench(found) else "end"
    return f"{what} before {found.change_before}: by its {when} it is under 9 in 10."


def _pace(found: PartForecast) -> str:
    if found.pace is None or found.standing == "thrown away":
        return ""
    text = f"{'They wear' if found.place == 'shoes' else 'It wears'} {_amount(found.pace)} a heat"
    if found.pace.trend:
        text += f", {found.pace.trend}"
    if not found.kind_count:
        return f"{text}."
    noun = "shoe set" if found.place == "shoes" else found.place
    kin = f"{found.kind_count} other {noun}{'' if found.kind_count == 1 else 's'} of its kind"
    if found.kind_weight < _HARDLY:
        return f"{text}; its own readings outweigh those of {kin}."
    return f"{text}. Of what is known of it, {percent(found.kind_weight)} comes from {kin}."


def _price(found: PartForecast) -> str:
    if found.place != "shoes" or found.standing != "fitted":
        return ""
    return "What a tooth or 0.1 mm of recess costs them: see the warmth, with the launch."


def _amount(pace: Pace) -> str:
    """Return what a heat takes: ``about 0.05 mm``, with the range where it is wide."""
    middle, low, high = (x or 0.0 for x in (pace.wear.middle, pace.wear.low, pace.wear.high))
    if high < _LEAST_SHOWN_MM:
        return f"less than {_LEAST_SHOWN_MM:.2f} mm"
    if middle < _LEAST_SHOWN_MM:
        return f"up to {high:.2f} mm"
    span = f" ({low:.2f} to {high:.2f})" if f"{low:.2f}" != f"{high:.2f}" else ""
    return f"about {middle:.2f} mm{span}"
