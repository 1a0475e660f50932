"""The pit clock in words: the headline, what fits in columns, timers."""

from __future__ import annotations

from pitwright.desk.clock.pit_clock import HANDS_OFF, PitClock, RunningTimer
from pitwright.desk.status import countdown_words
from pitwright.desk.wording import minutes_words, needed_words, until_words, when_words
from pitwright.weekend.weekend import Weekend

__all__ = [
    "basis_lines",
    "headline",
    "job_lines",
    "open_build_line",
    "pit_clock_lines",
    "spare_words",
    "timer_line",
]


def headline(found: PitClock, weekend: Weekend) -> tuple[str, ...]:
    """Return what the clock says first: the next heat, what to do, and what is amiss."""
    zone = weekend.event.zone
    if found.heat is None or found.minutes_to_heat is None:
        lines = ["No heat left on the schedule" if weekend.schedule else "No schedule yet"]
    else:
        at = when_words(found.heat.starts_at, found.now, zone)
        lines = [
            f"{found.heat.name}, {found.heat.kind}, at {at}, "
            f"{countdown_words(found.minutes_to_heat)}",
            _advice(found),
        ]
    if found.running:
        over = (
            f"over in {needed_words(found.clutch_free_in)}"
            if found.clutch_free_in
            else "due to end"
        )
        lines.append(f"{found.running} is running, {over}; jobs count from its end")
    if found.unnoted:
        names = ", ".join(found.unnoted[:3]) + (" and more" if len(found.unnoted) > 3 else "")
        lines.append(f"Not noted yet: {names}")
    return tuple(lines)


def _advice(found: PitClock) -> str:
    if found.open_route is not None and found.open_build_spare is not None:
        if found.open_build_spare >= 0:
            return f"Time to finish the open {found.open_route}"
        return f"The open {found.open_route} cannot be finished in time"
    if found.advice == HANDS_OFF:
        return "Hands off: nothing fits any more"
    return f"Fits at most: {found.advice}"


def spare_words(spare: float) -> str:
    """Return what is left over, never too much: ``11 min to spare``, ``6 min too little``."""
    if spare >= 0:
        return f"{minutes_words(spare) if spare >= 1 else 'nothing'} to spare"
    return f"{needed_words(-spare)} too little"


def job_lines(found: PitClock, weekend: Weekend) -> tuple[str, ...]:
    """Return every route in a line, in columns: need, spare, latest start, and the wait in it."""
    lines: list[str] = []
    for job in found.jobs:
        line = f"{job.route.capitalize():<14}{needed_words(job.needed):>11}"
        if job.spare is not None and job.latest_start is not None:
            line += f"  {spare_words(job.spare):<21}"
            if job.fits:
                start = when_words(job.latest_start, found.now, weekend.event.zone)
                line += f"  start by {start}"
        lines.append(line.rstrip())
    return tuple(lines)


def basis_lines(found: PitClock) -> tuple[str, ...]:
    """Return what the needs rest on, and how much of them is waiting."""
    bases = {job.basis for job in found.jobs}
    wait = max((job.waiting for job in found.jobs), default=0.0)
    waiting = f" (up to {needed_words(wait)} of it waiting)" if wait >= 0.5 else ""
    if len(bases) <= 1:
        return (f"What fits, by {''.join(bases) or 'no step at all'}{waiting}",)
    rest = [f"  {job.route}: {job.basis}" for job in found.jobs]
    return (f"What fits{waiting}, by", *rest)


def open_build_line(found: PitClock) -> str:
    """Return what the build in progress still needs; empty without one."""
    if found.open_route is None or found.open_build_needs is None:
        return ""
    line = f"The open {found.open_route} needs {needed_words(found.open_build_needs)} more"
    if found.open_build_spare is not None:
        line += f", {spare_words(found.open_build_spare)}"
    return f"{line} (by {found.open_build_basis})" if found.open_build_basis else line


def timer_line(timer: RunningTimer, found: PitClock, weekend: Weekend) -> str:
    """Return a timer in a line: what it is, how long still, and when."""
    if not timer.due:
        # as it was said when the timer began, and never too early
        until = until_words(timer.due_at, found.now, weekend.event.zone)
        return f"{timer.label}: {minutes_words(timer.minutes_left)} left, until {until}"
    at = when_words(timer.due_at, found.now, weekend.event.zone)
    seen = ", seen" if timer.seen else ""
    return f"{timer.label}: due since {at}{seen}"


def pit_clock_lines(found: PitClock, weekend: Weekend) -> list[str]:
    """Return the pit clock as lines of text."""
    lines = [*headline(found, weekend), ""]
    lines += [*basis_lines(found), *(f"  {line}" for line in job_lines(found, weekend))]
    build = open_build_line(found)
    if build:
        lines += ["", build]
    if found.timers:
        lines += ["", *(timer_line(t, found, weekend) for t in found.timers)]
    return lines
