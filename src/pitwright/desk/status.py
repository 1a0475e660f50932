"""The top line: what weekend this is, and what the clock says."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.wording import clock_time, minutes_words
from pitwright.weekend.records import HeatRun
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["StatusLine", "next_heat", "status_line"]


@dataclass(frozen=True)
class StatusLine:
    """The two ends of the top line."""

    left: str
    right: str


def next_heat(weekend: Weekend, now: datetime) -> PlannedHeat | None:
    """Return the next heat that is neither over, run, nor called off."""
    run = {r.heat.lower() for r in weekend.log.records if isinstance(r, HeatRun)}
    for heat in weekend.schedule:
        if heat.starts_at >= now and not heat.cancelled and heat.name.lower() not in run:
            return heat
    return None


def status_line(weekend: Weekend, now: datetime, *, writable: bool = True) -> StatusLine:
    """Return the top line: due timers first, then a running heat, then the next one."""
    parts: list[str] = []
    parts += [f"! {t.label} is due" for t in weekend.open.timers if t.due_at <= now and not t.seen]
    running = weekend.open.heat
    if running is not None and running.stopped_at is None:
        minutes = (now - running.heat.happened_at).total_seconds() / 60
        parts.append(f"{running.heat.heat} running {minutes_words(minutes)}")
    coming = next_heat(weekend, now)
    if coming is not None:
        minutes = (coming.starts_at - now).total_seconds() / 60
        parts.append(f"{coming.name} in {minutes_words(minutes)}")
    else:
        parts.append("no heat left")
    if not writable:
        parts.append("reading only")
    parts.append(clock_time(now, weekend.event.zone))
    return StatusLine(weekend.event.name, " · ".join(parts))
