"""Will it last: every spring and shoe set against its limit and the running still to come."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

from pitwright.desk.wear.history import WEARS, WearHistory, WearPoint, wear_histories
from pitwright.desk.wear.limits import governing, wear_limits
from pitwright.desk.wear.part_forecast import (
    CurvePoint,
    HeatChance,
    Pace,
    PartForecast,
    Span,
    Trend,
)
from pitwright.desk.wear.to_come import ToCome, to_come
from pitwright.desk.wording import counted
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.inference.forecast import Forecast, Interval, Unknown
    from pitwright.inference.readings import Reading as WearReading

__all__ = [
    "COVERAGE",
    "PartForecast",
    "fitted_lines",
    "outlook_of",
    "part_forecast",
    "part_forecasts",
    "short_line",
]

COVERAGE: Final = 0.9
"""How sure the ranges are, and how sure a part must be to count as lasting a heat."""

_CURVE_STEPS: Final = 60
_LOOK_AHEAD_MIN: Final = 30.0
_FARTHEST_AHEAD_MIN: Final = 120.0
_USUAL_HEAT_MIN: Final = 10.0
_ENOUGH_FOR_TREND: Final = 4


def part_forecasts(
    weekend: Weekend, now: datetime, clutch: str | None = None
) -> tuple[PartForecast, ...]:
    """Return the forecast of every spring and shoe set: fitted first, thrown away last.

    Raises KeyError when there is no such clutch.
    """
    histories = _followed(weekend, clutch)
    coming = to_come(weekend, now)
    return tuple(_of(weekend, history, histories, coming, clutch) for history in histories)


def part_forecast(
    weekend: Weekend,
    quantity: str,
    now: datetime,
    clutch: str | None = None,
    part: str | None = None,
) -> PartForecast | None:
    """Return the forecast of the part that ``quantity`` is read on: the named or the fitted one.

    None for a quantity that is not followed, or when no such part is fitted.
    """
    histories = _followed(weekend, clutch)
    chosen = next(
        (
            h
            for h in histories
            if h.quantity == quantity
            and (h.part == part if part is not None else h.standing == "fitted")
        ),
        None,
    )
    if chosen is None:
        return None
    return _of(weekend, chosen, histories, to_come(weekend, now), clutch)


def short_line(
    weekend: Weekend,
    quantity: str,
    now: datetime,
    clutch: str | None = None,
    part: str | None = None,
) -> str:
    """Return how long the part of ``quantity`` lasts in one line; empty when it is not followed."""
    if quantity not in WEARS.values():
        return ""
    found = part_forecast(weekend, quantity, now, clutch, part)
    return found.short if found is not None else ""


def fitted_lines(weekend: Weekend, now: datetime, clutch: str | None = None) -> str:
    """Return a line for each fitted part, how long it lasts; empty when none is fitted."""
    found = [part_forecast(weekend, quantity, now, clutch) for quantity in WEARS.values()]
    return "\n".join(f"{f.label} now: {f.short}" for f in found if f is not None)


def _followed(weekend: Weekend, clutch: str | None) -> tuple[WearHistory, ...]:
    quantities = weekend.card(clutch).quantities
    return tuple(h for h in wear_histories(weekend, clutch) if h.quantity in quantities)


def _of(
    weekend: Weekend,
    history: WearHistory,
    histories: Iterable[WearHistory],
    coming: ToCome,
    clutch: str | None,
) -> PartForecast:
    from pitwright.inference.forecast import Unknown
    from pitwright.inference.readings import split_run_in

    limits, limit_notes = wear_limits(weekend, history.place, history.quantity, clutch)
    readings, _ = split_run_in([p.for_forecast() for p in history.points])
    points = tuple(
        replace(point, run_in=reading.run_in)
        for point, reading in zip(history.points, readings, strict=True)
    )
    ahead = coming.heats if history.standing != "thrown away" else ()
    start = PartForecast(
        part=history.part,
        label=history.label,
        place=history.place,
        quantity=history.quantity,
        decimals=weekend.card(clutch).quantities[history.quantity].decimals,
        standing=history.standing,
        age_minutes=history.age_minutes,
        points=points,
        since=history.since,
        limit=governing(limits),
        limits=limits,
        kind=history.kind,
        goal=ahead[-1].name if ahead else "",
        goal_is_main=bool(ahead) and coming.main is not None,
        goal_minutes=history.age_minutes + sum(h.run_minutes for h in ahead) if ahead else None,
        notes=(*_history_notes(history, points), *limit_notes),
    )
    found = outlook_of(history, histories)
    if isinstance(found, Unknown):
        return replace(start, unknown=found.reason, more_checks=found.more_checks)
    told = replace(
        start,
        pace=_pace(found, start, [h.run_minutes for h in coming.heats]),
        kind_count=found.kind_count,
        kind_weight=found.kind_weight,
        run_in_drop=found.run_in_drop.value if found.run_in_drop is not None else None,
        notes=(*start.notes, *_own_notes(found), *_ahead_notes(coming, start)),
    )
    return _with_outlook(told, found, [(h.name, h.run_minutes) for h in ahead])


def outlook_of(
    history: WearHistory,
    histories: Iterable[WearHistory],
    taken: Sequence[WearReading] = (),
) -> Forecast | Unknown:
    """Return the forecast of a part from its readings and from the others of its kind.

    ``taken`` stands in for the readings of a part that has none.
    """
    from pitwright.inference.forecast import forecast, learn_kind

    # What a kind teaches counts from new, which a part with an untimed run cannot be put on.
    kin = [
        [p.for_forecast() for p in other.since_new]
        for other in histories
        if history.kind
        and other.kind == history.kind
        and other.place == history.place
        and other.part != history.part
    ]
    readings = [p.for_forecast() for p in history.points] or taken
    until = max((r.minutes for r in readings), default=0.0)
    return forecast(readings, learn_kind(kin, until) if not history.since else None)


def _with_outlook(
    told: PartForecast, found: Forecast, ahead: Sequence[tuple[str, float]]
) -> PartForecast:
    left: Span | None = None
    if told.limit is not None and told.standing != "thrown away":
        at, u = told.limit.value_mm, told.limit.u_mm
        left = _span(found.minutes_left(at, now=told.age_minutes, coverage=COVERAGE, limit_u=u))
        minutes = [m for _, m in ahead]
        chances = _chances(told, found, minutes)
        short = next((i for i, chance in enumerate(chances) if chance < COVERAGE), None)
        ends = itertools.accumulate(minutes, initial=told.age_minutes)
        heats = [
            HeatChance(name, round(end, 6), chance)
            for (name, _), end, chance in zip(ahead, itertools.islice(ends, 1, None), chances,
                                              strict=True)
        ]  # fmt: skip
        told = replace(
            told,
            minutes_left=left,
            heats=tuple(heats),
            chance=heats[-1].chance if heats else None,
            change_before=ahead[short][0] if short is not None else None,
        )
    until = _last_minute(told, left)
    steps = [until * i / _CURVE_STEPS for i in range(_CURVE_STEPS + 1)]
    return replace(
        told,
        curve=tuple(
            CurvePoint(m, i.low, i.middle, i.high)
            for m, i in zip(steps, found.curve(steps, COVERAGE), strict=True)
        ),
    )


def _chances(told: PartForecast, found: Forecast, minutes: Sequence[float]) -> list[float]:
    """Return for each heat to come how likely the part is good for it, by all its limits.

    Limits of the bench count at the start of a heat, the others at its end.
    """
    from pitwright.inference.forecast import change_plan

    upcoming = {True: [0.0, *minutes][: len(minutes)], False: list(minutes)}
    plans = [
        change_plan(
            found,
            limit.value_mm,
            upcoming[limit.bench],
            now=told.age_minutes,
            limit_u=limit.u_mm,
        )
        for limit in told.limits
    ]
    return [min(chances) for chances in zip(*(p.chances for p in plans), strict=True)]


def _pace(found: Forecast, start: PartForecast, to_run: Sequence[float]) -> Pace:
    """Return how much it wears in a heat from now on, and whether that is more than it was."""
    heat = statistics.median(to_run) if to_run else _USUAL_HEAT_MIN
    now = start.age_minutes
    faster = found.faster_than_before(2.0 * heat) if found.n >= _ENOUGH_FOR_TREND else 0.5
    trend: Trend = ""
    if faster > COVERAGE:
        trend = "faster lately"
    elif faster < 1.0 - COVERAGE:
        trend = "slower lately"
    return Pace(heat, _span(found.wear(now, now + heat, COVERAGE)), trend)


def _last_minute(told: PartForecast, left: Span | None) -> float:
    """Return how far to draw: past the goal, else to where the limit is likely met."""
    shown = max([told.age_minutes, *(p.minutes for p in told.points)])
    if told.goal_minutes is not None:
        return 1.06 * max(shown, told.goal_minutes)
    if left is None:
        return 1.06 * max(shown, 1.0)
    ahead = left.middle if left.middle is not None else _FARTHEST_AHEAD_MIN
    return 1.06 * (shown + min(max(ahead, _LOOK_AHEAD_MIN), _FARTHEST_AHEAD_MIN))


def _span(interval: Interval) -> Span:
    return Span(*(_finite(x) for x in (interval.middle, interval.low, interval.high)))


def _finite(value: float) -> float | None:
    return None if math.isinf(value) else value


def _history_notes(history: WearHistory, points: Sequence[WearPoint]) -> list[str]:
    notes = []
    if history.since:
        what = f"{history.since} was not timed: its running from new is not known"
        cure = "note how long it ran and all of it counts again"
        notes.append(f"{what}, so minutes count from there; {cure}")
        if history.left_out:
            notes.append(f"{counted(history.left_out, 'reading')} before it cannot be used")
    notes += [f"{name} is noted with 0 minutes: it counts as no run" for name in history.no_run]
    if _maybe_unsqueezed(history, points):
        notes.append("taken as read after its squeezes: if it was not, it is shorter than this")
    if history.carried:
        count = counted(history.carried, "reading")
        notes.append(f"{count} carried over from an earlier weekend without its running: not used")
    return notes


def _maybe_unsqueezed(history: WearHistory, points: Sequence[WearPoint]) -> bool:
    """Tell whether all that is known of a new spring may have been read before its squeezes."""
    if history.place != "spring" or history.since or history.squeezes_told:
        return False
    return bool(points) and all(p.minutes == 0.0 and p.run_in for p in points)


def _own_notes(found: Forecast) -> list[str]:
    from pitwright.metrology.uncertainty import format_measurement

    notes = [*found.odd, *(n for n in found.notes if not n.startswith("leans on"))]
    if found.run_in_drop is not None:
        drop = found.run_in_drop
        notes.append(
            f"the squeezes took {format_measurement(drop.value, 2 * drop.u)}: not counted as wear"
        )
    return notes


def _ahead_notes(coming: ToCome, start: PartForecast) -> list[str]:
    if start.standing == "thrown away":
        return []
    notes = []
    if coming.uncounted:
        names = ", ".join(coming.uncounted)
        many = len(coming.uncounted) > 1
        be, their = ("are", "their") if many else ("is", "its")
        notes.append(f"{names} {be} due or over and not noted: {their} running is not counted")
    if coming.heats and coming.warm_up_minutes is None:
        notes.append("no warm-up was ever noted, so none is counted in the heats to come")
    if start.limit is not None and start.limit.u_mm:
        known = f"{start.limit.called} is known to ± {2 * start.limit.u_mm:.2f} mm"
        notes.append(f"{known}, which widens the minutes left")
    return notes
