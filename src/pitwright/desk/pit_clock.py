"""What still fits before the next heat, and when to start at the latest.

A route's time is the user's own working time, and the engine may not start before thread-lock has
had its handling time: work after the dab runs alongside it, so the longer of the two counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from pitwright.desk.build_facts import is_settled, result_of
from pitwright.desk.status import next_heat
from pitwright.desk.steptimes import route_time, step_time, time_left
from pitwright.desk.thread_lock import air_lately, handling_minutes
from pitwright.desk.wording import clock_time, minutes_words
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import ROUTES, Route
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["HANDS_OFF", "Fits", "PitClock", "RunningTimer", "pit_clock", "pit_clock_lines"]

HANDS_OFF = "hands off"


@dataclass(frozen=True)
class Fits:
    """One route against the clock [min]; ``spare`` is None when no heat is coming.

    ``waiting`` is the part of ``needed`` in which only the thread-lock works.
    """

    route: Route
    needed: float
    working: float
    waiting: float
    basis: str
    spare: float | None
    latest_start: datetime | None

    @property
    def fits(self) -> bool:
        """Whether there is time for it, or no heat to be late for."""
        return self.spare is None or self.spare >= 0


@dataclass(frozen=True)
class RunningTimer:
    """A timer with the minutes it has left; below zero it is due."""

    name: str
    label: str
    due_at: datetime
    minutes_left: float
    seen: bool

    @property
    def due(self) -> bool:
        """Whether the deadline has passed."""
        return self.minutes_left <= 0


@dataclass(frozen=True)
class PitClock:
    """The pit clock at one moment.

    ``advice`` is the largest job that fits, or ``hands off``; ``open_build_spare`` the minutes to
    spare for finishing the build in progress.
    """

    now: datetime
    heat: PlannedHeat | None
    minutes_to_heat: float | None
    jobs: tuple[Fits, ...]
    advice: str
    timers: tuple[RunningTimer, ...]
    open_route: Route | None = None
    open_build_needs: float | None = None
    open_build_spare: float | None = None


def pit_clock(weekend: Weekend, now: datetime, clutch: str | None = None) -> PitClock:
    """Return what fits at ``now``. Times are the user's own where there are some."""
    heat = next_heat(weekend, now)
    left = (heat.starts_at - now).total_seconds() / 60 if heat is not None else None
    handling = handling_minutes(weekend.card(clutch), air_lately(weekend, now))
    jobs = tuple(_fits(weekend, route, heat, left, handling) for route in ROUTES)
    advice = next((job.route for job in jobs if job.fits), HANDS_OFF)
    timers = tuple(
        RunningTimer(t.name, t.label, t.due_at, (t.due_at - now).total_seconds() / 60, t.seen)
        for t in sorted(weekend.open.timers, key=lambda t: t.due_at)
    )
    build = weekend.open.build
    needs = _open_build_needs(weekend, build, now, handling) if build is not None else None
    return PitClock(
        now=now,
        heat=heat,
        minutes_to_heat=left,
        jobs=jobs,
        advice=advice,
        timers=timers,
        open_route=build.route if build is not None else None,
        open_build_needs=needs,
        open_build_spare=left - needs if left is not None and needs is not None else None,
    )


def _fits(
    weekend: Weekend, route: Route, heat: PlannedHeat | None, left: float | None, handling: float
) -> Fits:
    work = route_time(weekend, route)
    steps = weekend.procedure.on_route(route)
    locked = [n for n, step in enumerate(steps) if step.thread_lock == "medium"]
    waiting = 0.0
    if locked:
        after = sum(step_time(weekend, s, route).minutes for s in steps[locked[-1] + 1 :])
        waiting = max(handling - after, 0.0)
    needed = work.minutes + waiting
    return Fits(
        route=route,
        needed=needed,
        working=work.minutes,
        waiting=waiting,
        basis=work.basis,
        spare=left - needed if left is not None else None,
        latest_start=heat.starts_at - timedelta(minutes=needed) if heat is not None else None,
    )


def _open_build_needs(weekend: Weekend, build: OpenBuild, now: datetime, handling: float) -> float:
    """Return the minutes until the open build is done and its thread-lock may be run."""
    work = time_left(weekend, build, now).minutes
    applied = [r.thread_lock_at for r in build.results if r.thread_lock_at is not None]
    if applied:
        cured = max(applied) + timedelta(minutes=handling)
        return max(work, (cured - now).total_seconds() / 60)
    to_come = [s for s in build.steps if s.thread_lock == "medium"]
    if not to_come or is_settled(result_of(build, to_come[-1].id)):
        return work
    at = build.steps.index(to_come[-1])
    after = sum(step_time(weekend, s, build.route).minutes for s in build.steps[at + 1 :])
    return work + max(handling - after, 0.0)


def pit_clock_lines(found: PitClock, weekend: Weekend) -> list[str]:
    """Return the pit clock as lines of text."""
    zone = weekend.event.zone
    if found.heat is None or found.minutes_to_heat is None:
        lines = ["No heat left on the schedule"]
    else:
        lines = [
            f"{found.heat.name} at {clock_time(found.heat.starts_at, zone)}, "
            f"in {minutes_words(found.minutes_to_heat)}: {found.advice}"
        ]
    for job in found.jobs:
        wait = f", {minutes_words(job.waiting)} of it waiting" if job.waiting >= 0.5 else ""
        line = f"  {job.route:<14} {minutes_words(math.ceil(job.needed)):>8}{wait} ({job.basis})"
        if job.spare is not None and job.latest_start is not None:
            if job.fits:
                line += (
                    f"; {minutes_words(job.spare)} to spare, "
                    f"start by {clock_time(job.latest_start, zone)}"
                )
            else:
                line += f"; {minutes_words(job.spare)} too little"
        lines.append(line)
    if found.open_route is not None and found.open_build_needs is not None:
        line = f"  The open {found.open_route} needs {minutes_words(math.ceil(found.open_build_needs))} more"
        if found.open_build_spare is not None:
            word = "to spare" if found.open_build_spare >= 0 else "too little"
            line += f", {minutes_words(found.open_build_spare)} {word}"
        lines.append(line)
    for timer in found.timers:
        state = "is due" if timer.due else f"in {minutes_words(timer.minutes_left)}"
        lines.append(f"  {timer.label} {state}, at {clock_time(timer.due_at, zone)}")
    return lines
