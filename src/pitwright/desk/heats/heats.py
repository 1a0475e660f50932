"""A heat from the start signal to the record: started, tapped, stopped, filled in, kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import get_args

from pydantic import ValidationError

from pitwright.desk.form_text import FormError, refused
from pitwright.inference.laps import laps_from_taps
from pitwright.weekend.event import HeatKind
from pitwright.weekend.open_work import OpenHeat, Tap
from pitwright.weekend.records import HeatRun
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = [
    "HEAT_KINDS",
    "Running",
    "due_heat",
    "free_name",
    "go_on",
    "landed",
    "laps_of",
    "rerun_name",
    "running",
    "start_heat",
    "stop",
    "taken_names",
    "tap",
    "undo_tap",
]

HEAT_KINDS: tuple[HeatKind, ...] = get_args(HeatKind)
DOUBLE_TAP_S = 2.0
"""Taps closer than this are one crossing hit twice; no lap is so short (no source)."""

DUE_WITHIN = timedelta(minutes=90)
"""A planned heat this far from now may be meant by 'start'; the day may run late."""


@dataclass(frozen=True)
class Running:
    """A heat in progress in figures: seconds since the start, laps tapped [s]."""

    heat: str
    seconds: float
    stopped: bool
    taps: int
    laps: tuple[float, ...]
    last: float | None
    best: float | None
    left_seconds: float | None


# Names


def taken_names(weekend: Weekend) -> set[str]:
    """Return the names of heats in the log or open, in small letters."""
    names = {h.run.heat.lower() for h in weekend.heats}
    if weekend.open.heat is not None:
        names.add(weekend.open.heat.heat.heat.lower())
    return names


def rerun_name(weekend: Weekend, name: str) -> str:
    """Return the name of a heat's rerun: ``Q2 rerun``, ``Q2 rerun 2``."""
    taken = taken_names(weekend)
    base = name.split(" rerun")[0][:30]
    for number in range(1, 100):
        candidate = f"{base} rerun" + (f" {number}" if number > 1 else "")
        if candidate.lower() not in taken:
            return candidate
    raise ValueError(f"{name} was rerun too often to name another")


def free_name(weekend: Weekend, name: str) -> str:
    """Return ``name``, or its rerun's name when a heat of that name was run already."""
    return name if name.lower() not in taken_names(weekend) else rerun_name(weekend, name)


def due_heat(weekend: Weekend, now: datetime) -> PlannedHeat | None:
    """Return the planned heat that 'start' means now: not noted yet, and nearest to now.

    None when none is planned within an hour and a half.
    """
    taken = taken_names(weekend)
    open_ = [h for h in weekend.schedule if h.name.lower() not in taken and not h.cancelled]
    near = [h for h in open_ if abs(h.starts_at - now) <= DUE_WITHIN]
    return min(near, key=lambda h: abs(h.starts_at - now), default=None)


# From start to stop


def start_heat(
    weekend: Weekend,
    now: datetime,
    *,
    clutch: str | None = None,
    planned: PlannedHeat | None = None,
    name: str | None = None,
    kind: HeatKind = "practice",
) -> OpenHeat:
    """Return a heat that starts now: a planned one, or one of a typed name.

    Raises FormError when the name will not do, or when a heat is open already.
    """
    if weekend.open.heat is not None:
        raise FormError({"heat": f"{weekend.open.heat.heat.heat} is still open; stop it first"})
    given = planned.name if planned is not None else (name or "").strip()
    if not given:
        raise FormError({"heat": "give the heat a name"})
    if given.lower() in taken_names(weekend):
        other = rerun_name(weekend, given)
        raise FormError({"heat": f"{given} was run already; call it {other}"})
    try:
        run = HeatRun(
            clutch=weekend.card(clutch).id,
            happened_at=now,
            heat=given,
            heat_kind=planned.kind if planned is not None else kind,
            round=planned.round if planned is not None else None,
            planned_minutes=planned.minutes if planned is not None else None,
        )
    except ValidationError as error:
        raise refused(error, {}) from None
    return OpenHeat(heat=run)


def tap(heat: OpenHeat, now: datetime) -> OpenHeat:
    """Note the car crossing the line; a second hit of the same crossing changes nothing."""
    if heat.stopped_at is not None:
        return heat
    # A clock that was set back meanwhile makes no second hit.
    if heat.taps and 0 <= (now - heat.taps[-1].at).total_seconds() < DOUBLE_TAP_S:
        return heat
    return heat.model_copy(update={"taps": [*heat.taps, Tap(at=now)]})


def undo_tap(heat: OpenHeat) -> OpenHeat:
    """Take the last tap back."""
    return heat.model_copy(update={"taps": heat.taps[:-1]})


def stop(heat: OpenHeat, now: datetime) -> OpenHeat:
    """Stop the heat's clock."""
    return heat.model_copy(update={"stopped_at": now})


def landed(weekend: Weekend, heat: OpenHeat) -> bool:
    """Tell whether an open heat is in the log already.

    So it is when the app died between writing the record and forgetting the open heat.
    """
    start = heat.heat.happened_at.replace(microsecond=0)
    return any(
        h.run.happened_at == start and h.run.heat.lower() == heat.heat.heat.lower()
        for h in weekend.heats
    )


def go_on(heat: OpenHeat) -> OpenHeat:
    """Let a heat that was stopped by mistake go on, as if it had never stopped."""
    return heat.model_copy(update={"stopped_at": None})


def laps_of(heat: OpenHeat) -> tuple[float, ...]:
    """Return the laps between the taps [s]; the first tap begins the first lap.

    A clock set back while the heat ran costs the lap in which it was, and no other.
    """
    seconds = [(t.at - heat.heat.happened_at).total_seconds() for t in heat.taps]
    back = [n for n, (one, other) in enumerate(pairwise(seconds), 1) if other <= one]
    spans = [seconds[a:b] for a, b in pairwise([0, *back, len(seconds)])]
    return tuple(round(lap, 3) for span in spans for lap in laps_from_taps(span))


def running(heat: OpenHeat, now: datetime) -> Running:
    """Return a heat in progress in figures."""
    until = heat.stopped_at or now
    seconds = max((until - heat.heat.happened_at).total_seconds(), 0.0)
    laps = laps_of(heat)
    planned = heat.heat.planned_minutes
    return Running(
        heat=heat.heat.heat,
        seconds=seconds,
        stopped=heat.stopped_at is not None,
        taps=len(heat.taps),
        laps=laps,
        last=laps[-1] if laps else None,
        best=min(laps) if laps else None,
        left_seconds=None if planned is None else planned * 60 - seconds,
    )
