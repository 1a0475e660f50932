"""What still fits before the next heat, and when to start at the latest.

A route's time is the user's own working time. Two waits run beside the work: the engine may not
start before thread-lock has had its handling time, and nothing is measured on a clutch that is
still cooling down; only what the work does not fill of them is added.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from pitwright.desk.build.facts import result_of
from pitwright.desk.build.steptimes import route_time, step_time, steps_left
from pitwright.desk.build.thread_lock import air_lately, handling_minutes
from pitwright.desk.clock.timers import COOLING
from pitwright.desk.status import next_heat, unnoted
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import ROUTES, Route, Step
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["HANDS_OFF", "Fits", "PitClock", "RunningTimer", "pit_clock"]

HANDS_OFF = "hands off"


@dataclass(frozen=True)
class Fits:
    """One route against the clock [min]; ``spare`` is None when no heat is coming.

    ``waiting`` is the part of ``needed`` in which nobody works: thread-lock sets or the clutch
    cools down. ``latest_start`` counts no cooling, for by then it is over; it lies in the past
    when the job no longer fits.
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
    """The pit clock at one moment; all times in minutes.

    ``advice`` is the largest job that fits, or ``hands off``; ``open_build_spare`` the minutes to
    spare for finishing the build in progress, ``open_build_basis`` whose times that rests on.
    ``running`` names a heat in progress, ``clutch_free_in`` is when it should be over; every job
    counts from there. ``unnoted`` are heats whose time has passed without a note.
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
    open_build_basis: str = ""
    running: str = ""
    clutch_free_in: float = 0.0
    unnoted: tuple[str, ...] = ()


def pit_clock(weekend: Weekend, now: datetime, clutch: str | None = None) -> PitClock:
    """Return what fits at ``now``. Times are the user's own where there are some.

    Raises KeyError when there is no such clutch.
    """
    heat = next_heat(weekend, now)
    left = _minutes_until(now, heat.starts_at) if heat is not None else None
    free_in, cooling = _clutch_free(weekend, now, clutch)
    handling = handling_minutes(weekend.card(clutch), air_lately(weekend, now))
    jobs = tuple(
        _fits(weekend, route, heat, None if left is None else left - free_in, handling, cooling)
        for route in ROUTES
        if weekend.procedure.on_route(route)
    )
    timers = tuple(
        RunningTimer(t.name, t.label, t.due_at, _minutes_until(now, t.due_at), t.seen)
        for t in sorted(weekend.open.timers, key=lambda t: (t.due_at, t.name))
    )
    build, needs, basis = weekend.open.build, None, ""
    if build is not None:
        needs, basis = _open_build(weekend, build, now, cooling)
    open_heat = weekend.open.heat
    return PitClock(
        now=now,
        heat=heat,
        minutes_to_heat=left,
        jobs=jobs,
        advice=next((job.route for job in jobs if job.fits), HANDS_OFF),
        timers=timers,
        open_route=build.route if build is not None else None,
        open_build_needs=needs,
        open_build_spare=left - free_in - needs if left is not None and needs is not None else None,
        open_build_basis=basis,
        running=open_heat.heat.heat if open_heat is not None and not open_heat.stopped_at else "",
        clutch_free_in=free_in,
        unnoted=tuple(h.name for h in unnoted(weekend, now)),
    )


def _minutes_until(now: datetime, then: datetime) -> float:
    return (then - now).total_seconds() / 60


def _clutch_free(weekend: Weekend, now: datetime, clutch: str | None) -> tuple[float, float]:
    """Return the minutes until the running heat should be over, and of cooling after that.

    A heat of no known length, or one that has overrun, may end at any moment.
    """
    heat = weekend.open.heat
    if heat is not None and heat.stopped_at is None:
        cool_down = weekend.card(clutch).targets.cool_down
        cooling = cool_down.value if cool_down is not None else 0.0
        length = timedelta(minutes=heat.heat.planned_minutes or 0.0)
        return max(_minutes_until(now, heat.heat.happened_at + length), 0.0), cooling
    due = (t.due_at for t in weekend.open.timers if t.name == COOLING)
    return 0.0, max((_minutes_until(now, at) for at in due), default=0.0)


def _fits(
    weekend: Weekend,
    route: Route,
    heat: PlannedHeat | None,
    left: float | None,
    handling: float,
    cooling: float,
) -> Fits:
    work = route_time(weekend, route)
    steps = [
        (step, step_time(weekend, step, route).minutes)
        for step in weekend.procedure.on_route(route)
    ]
    cold = _until_ready(steps, handling)
    needed = _until_ready(steps, handling, cooling)
    return Fits(
        route=route,
        needed=needed,
        working=work.minutes,
        waiting=max(needed - work.minutes, 0.0),
        basis=work.basis,
        spare=left - needed if left is not None else None,
        latest_start=heat.starts_at - timedelta(minutes=cold) if heat is not None else None,
    )


def _until_ready(
    steps: Iterable[tuple[Step, float]],
    handling: float,
    cooling: float = 0.0,
    *,
    set_in: float = 0.0,
    answered: Sequence[str] = (),
) -> float:
    """Return the minutes until the work is done and the thread-lock may be run.

    Nothing is measured within ``cooling``. ``set_in`` is when thread-lock applied already is set;
    the steps ``answered`` apply none any more. Thread-lock counts from the end of its step.
    """
    at, ready = 0.0, set_in
    for step, minutes in steps:
        if step.measures:
            at = max(at, cooling)
        at += minutes
        if step.thread_lock == "medium" and step.id not in answered:
            ready = max(ready, at + handling)
    return max(at, ready)


def _open_build(
    weekend: Weekend, build: OpenBuild, now: datetime, cooling: float
) -> tuple[float, str]:
    """Return the minutes until the open build may be run, and whose times that rests on."""
    card = weekend.clutches.get(build.clutch) or weekend.card()
    handling = handling_minutes(card, air_lately(weekend, now))
    applied = [r.thread_lock_at for r in build.results if r.thread_lock_at is not None]
    set_in = _minutes_until(now, max(applied)) + handling if applied else 0.0
    answered = [s.id for s in build.steps if result_of(build, s.id).thread_lock_applied is not None]
    left = steps_left(weekend, build, now)
    own = sum(1 for _step, time in left if time.builds)
    basis = "your own times" if own else "the card's estimates"
    if 0 < own < len(left):
        basis = f"your own times for {own} of {len(left)} steps"
    needs = _until_ready(
        [(step, time.minutes) for step, time in left],
        handling,
        cooling,
        set_in=max(set_in, 0.0),
        answered=answered,
    )
    return needs, basis
