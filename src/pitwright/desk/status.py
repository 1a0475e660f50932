"""The top line: what weekend this is, and what the clock says."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pitwright.desk.wording import clock_time, counted, minutes_words
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import HeatRun
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["StatusLine", "countdown_words", "next_heat", "next_main", "status_line", "unnoted"]

_SHORT_NAME: Final = 12


@dataclass(frozen=True)
class StatusLine:
    """The two ends of the top line."""

    left: str
    right: str


def _open(weekend: Weekend) -> list[PlannedHeat]:
    """Return the planned heats that are neither noted, running, nor called off."""
    noted = {r.heat.lower() for r in weekend.log.records if isinstance(r, HeatRun)}
    if weekend.open.heat is not None:
        noted.add(weekend.open.heat.heat.heat.lower())
    return [h for h in weekend.schedule if not h.cancelled and h.name.lower() not in noted]


def next_heat(weekend: Weekend, now: datetime) -> PlannedHeat | None:
    """Return the next heat that is neither over, run, running, nor called off.

    A heat whose start has passed stays the next one until its planned end: the day may run late,
    or nobody pressed start. After that it is among the ``unnoted``.
    """
    return next((heat for heat in _open(weekend) if heat.ends_at > now), None)


def next_main(weekend: Weekend, now: datetime) -> PlannedHeat | None:
    """Return the next main that is neither over, run, running, nor called off."""
    mains = (h for h in _open(weekend) if h.kind == "main" and h.ends_at > now)
    return next(mains, None)


def unnoted(weekend: Weekend, now: datetime) -> tuple[PlannedHeat, ...]:
    """Return the heats whose planned time has passed and that nobody noted as run or off."""
    return tuple(heat for heat in _open(weekend) if heat.ends_at <= now)


def countdown_words(minutes: float) -> str:
    """Return the time to a start: ``in 23 min``, ``now``, ``due 3 min ago``."""
    if minutes <= -1:
        return f"due {minutes_words(minutes)} ago"
    return "now" if minutes <= 0 else f"in {minutes_words(minutes)}"


def status_line(
    weekend: Weekend,
    now: datetime,
    *,
    writable: bool = True,
    room: int | None = None,
    problems: Collection[Problem] = (),
) -> StatusLine:
    """Return the top line: due timers first, then a running heat, then the next one.

    Before all comes that a file was left out, or a figure asked about, of the folder's
    ``problems``. Where ``room`` columns do not hold it, names are cut and timers counted, then
    what can be seen elsewhere is left out; that flag, the time to the next heat and the clock
    always stand.
    """
    flag = _flag(problems)
    long = flag + _right(weekend, now, writable=writable)
    tries = [
        long,
        flag + _right(weekend, now, writable=writable, short=True),
        flag + _right(weekend, now, writable=True, short=True),
        flag + _right(weekend, now, writable=True, short=True, running=False),
    ]
    right = next((t for t in tries if room is None or len(t) <= room), tries[-1])
    return StatusLine(weekend.event.name, right)


def _flag(problems: Collection[Problem]) -> str:
    """Return what every figure may be wrong for, to stand on every screen; the key ! names it."""
    left = {p.file for p in problems if p.weight == "error"}
    if left:
        return f"! {counted(len(left), 'file')} left out · "
    asked = sum(p.weight == "question" for p in problems)
    return f"! {counted(asked, 'figure')} asked about · " if asked else ""


def _right(
    weekend: Weekend,
    now: datetime,
    *,
    writable: bool,
    short: bool = False,
    running: bool = True,
) -> str:
    parts: list[str] = []
    due = [t for t in weekend.open.timers if t.due_at <= now and not t.seen]
    if due and short:
        parts.append(f"! {counted(len(due), 'timer')} due")
    else:
        parts += [f"! {t.label} is due" for t in due]
    heat = weekend.open.heat
    if running and heat is not None and heat.stopped_at is None:
        minutes = max((now - heat.heat.happened_at).total_seconds() / 60, 0.0)
        parts.append(f"{_name(heat.heat.heat, short)} running {minutes_words(minutes)}")
    coming = next_heat(weekend, now)
    if coming is not None:
        minutes = (coming.starts_at - now).total_seconds() / 60
        parts.append(f"{_name(coming.name, short)} {countdown_words(minutes)}")
    else:
        parts.append("no heat left" if weekend.schedule else "no schedule")
    if not writable:
        parts.append("reading only")
    parts.append(clock_time(now, weekend.event.zone))
    return " · ".join(parts)


def _name(name: str, short: bool) -> str:
    return f"{name[: _SHORT_NAME - 1]}…" if short and len(name) > _SHORT_NAME else name
