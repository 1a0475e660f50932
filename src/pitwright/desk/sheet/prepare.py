"""What to prepare for the next heat, in order and with times."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from pitwright.desk.build.thread_lock import air_lately, handling_minutes
from pitwright.desk.clock.pit_clock import Fits, PitClock, pit_clock
from pitwright.desk.heats.timeline_rows import flags_of
from pitwright.desk.measure.judged import advice_after
from pitwright.desk.race.race import race_desk
from pitwright.desk.race.words import short_answer
from pitwright.desk.sheet.points import OpenPoint
from pitwright.desk.sheet.scope import Scope
from pitwright.desk.sizes import size_words
from pitwright.desk.wear.part_forecast import PartForecast
from pitwright.weekend.places import PLACES, Place
from pitwright.weekend.procedure import ROUTES, Procedure, Route
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["Preparation", "Task", "prepare_next"]

TaskSort = Literal["point", "measure", "build", "thread-lock", "heat", "later"]

_EARLIER: tuple[Route, ...] = tuple(reversed(ROUTES))
"""From the smallest job to the largest."""


@dataclass(frozen=True)
class Task:
    """One thing to do: ``minutes`` it takes, None when nobody knows; ``by`` when it has to be
    begun at the latest, or for thread-lock and heats when it has to be so."""

    number: int
    sort: TaskSort
    what: str
    why: str = ""
    minutes: float | None = None
    by: datetime | None = None


@dataclass(frozen=True)
class Preparation:
    """What to do before the next heat.

    ``heat`` is None when none is left. ``spare_minutes`` is what is left of the time until the
    heat once the builds called for are done, below zero when they no longer fit, None on the
    sheet of a day that is over. ``jobs`` is every
    route against the clock, should something else come up; ``handling_minutes`` the thread-lock's.
    """

    heat: PlannedHeat | None
    heats_that_day: tuple[PlannedHeat, ...]
    tasks: tuple[Task, ...]
    build_minutes: float
    spare_minutes: float | None
    handling_minutes: float
    jobs: tuple[Fits, ...]


@dataclass(frozen=True)
class _Need:
    """A job called for: the smallest route that covers it (None: none does), why, before what."""

    route: Route | None
    why: str
    before: str = ""


def prepare_next(
    scope: Scope, points: Sequence[OpenPoint], wear: dict[str, tuple[PartForecast, ...]]
) -> Preparation:
    """Return the preparation; ``wear`` are the forecasts of each clutch at the sheet's close."""
    weekend, now = scope.weekend, scope.now
    first = pit_clock(weekend, now)
    heat = first.heat
    tasks = [
        Task(0, "point", p.what, p.why) for p in points if p.sort not in ("open build", "heat")
    ]
    measures: list[Task] = []
    builds: list[Task] = []
    later: list[Task] = []
    for key, card in weekend.clutches.items():
        clock = pit_clock(weekend, now, key)
        name = f"{card.name}: " if len(weekend.clutches) > 1 else ""
        needs = list(_needs(weekend, now, key, wear.get(key, ())))
        measures += [
            Task(0, "measure", f"{name}{what}", why)
            for what, why in _measures(weekend, key, wear.get(key, ()))
        ]
        builds += _builds(weekend, key, name, needs, clock)
        later += _later(weekend, name, needs, clock)
    builds, work = _one_after_the_other(builds, heat)
    handling = handling_minutes(weekend.card(), air_lately(weekend, now))
    tasks += [*measures, *builds]
    if heat is not None and builds:
        tasks.append(
            Task(
                0,
                "thread-lock",
                "Thread-lock on by then",
                "its handling time ends as the engine is started",
                handling,
                heat.starts_at - timedelta(minutes=handling),
            )
        )
    if heat is not None:
        tasks.append(
            Task(0, "heat", f"{heat.name} starts", heat.kind, heat.minutes, heat.starts_at)
        )
    tasks += later
    # A closed day looks ahead from midnight; nobody works through the night.
    closed = scope.day is not None and scope.standing == "over"
    left = None
    if heat is not None and not closed:
        left = (heat.starts_at - now).total_seconds() / 60
    return Preparation(
        heat=heat,
        heats_that_day=_same_day(weekend, heat),
        tasks=tuple(replace(task, number=n) for n, task in enumerate(tasks, 1)),
        build_minutes=work,
        spare_minutes=None if left is None else left - work,
        handling_minutes=handling,
        jobs=first.jobs,
    )


def _same_day(weekend: Weekend, heat: PlannedHeat | None) -> tuple[PlannedHeat, ...]:
    if heat is None:
        return ()
    zone = weekend.event.zone
    return tuple(
        h
        for h in weekend.schedule
        if h.day(zone) == heat.day(zone) and h.starts_at >= heat.starts_at and not h.cancelled
    )


# What calls for a job


def _needs(
    weekend: Weekend, now: datetime, clutch: str, wear: Iterable[PartForecast]
) -> Iterator[_Need]:
    procedure, state = weekend.procedure, weekend.state(None, clutch)
    card = weekend.card(clutch)
    flagged = set()
    for flag in flags_of(weekend, state)[0]:
        if flag.word != "out":
            continue
        spec = card.quantities[flag.quantity]
        flagged.add(spec.of)
        route = (
            _route_that_fits(procedure, spec.of)
            if spec.of in PLACES
            else _route_that_measures(procedure, flag.quantity)
        )
        figure = state.told(flag.quantity)
        reading = figure.reading if figure is not None else None
        advice = advice_after(reading, spec) if reading is not None else ""
        bound = figure.bound if figure is not None else None
        yield _Need(
            route,
            f"{flag.label} {size_words(flag.value_mm, bound, spec.decimals)} is out"
            + (f": {advice[:1].lower()}{advice[1:]}" if advice else ""),
        )
    race = race_desk(weekend, now, clutch=clutch)
    for found in wear:
        if found.standing != "fitted" or found.place in flagged or found.change_before is None:
            continue
        if race.best is not None and found.change_before == race.heat:
            continue  # that heat has an answer of its own
        nut = found.place == "shoes" and found.limit is not None and found.limit.name == "coil bind"
        route = "recess only" if nut else _route_that_fits(procedure, found.place)
        what = "set the nut further out, or change" if nut else "change"
        yield _Need(
            route,
            f"{what} {found.label}: less than 9 in 10 that it is good for {found.change_before}",
            found.change_before,
        )
    if race.best is not None and not race.best.leave:
        fits = [p.place for p in (race.best.spring, race.best.shoes) if p.standing != "fitted"]
        routes = [_route_that_fits(procedure, place) for place in fits]
        known = [route for route in routes if route is not None]
        route = min(known, key=ROUTES.index) if known else None
        yield _Need("recess only" if not fits else route, short_answer(race), race.heat)


def _route_that_fits(procedure: Procedure, place: Place | str) -> Route | None:
    return next((r for r in _EARLIER if any(place in s.fits for s in procedure.on_route(r))), None)


def _route_that_measures(procedure: Procedure, quantity: str) -> Route | None:
    return next(
        (r for r in _EARLIER if any(quantity in s.measures for s in procedure.on_route(r))), None
    )


def _measures(
    weekend: Weekend, clutch: str, wear: Iterable[PartForecast]
) -> Iterator[tuple[str, str]]:
    card, state = weekend.card(clutch), weekend.state(None, clutch)
    asked = set()
    for key, spec in card.quantities.items():
        figure = state.told(key)
        if figure is None:
            continue
        word = figure.reading.verdict if figure.reading is not None else None
        if figure.overtaken:
            asked.add(key)
            yield f"Measure {_small(spec.label)}", "a part was fitted since it was read"
        elif word == "too close to call":
            asked.add(key)
            yield (
                f"Measure {_small(spec.label)} again",
                f"{size_words(figure.value_mm, figure.bound, spec.decimals)} was too close to call",
            )
    for found in wear:
        if found.standing == "fitted" and found.unknown and found.quantity not in asked:
            label = _small(card.quantities[found.quantity].label)
            yield f"Measure {label} of {found.label}", found.short


def _small(label: str) -> str:
    return f"{label[:1].lower()}{label[1:]}"


# From needs to builds


def _due_now(need: _Need, clock: PitClock) -> bool:
    return not need.before or (clock.heat is not None and need.before == clock.heat.name)


def _builds(
    weekend: Weekend, clutch: str, name: str, needs: Sequence[_Need], clock: PitClock
) -> list[Task]:
    due = [need for need in needs if _due_now(need, clock)]
    routes = [need.route for need in due if need.route is not None]
    tasks = [
        Task(0, "build", f"{name}No route of your procedure covers this", need.why)
        for need in due
        if need.route is None
    ]
    open_build = weekend.open.build
    if (
        open_build is not None
        and open_build.clutch == clutch
        and clock.open_build_needs is not None
    ):
        why = "; ".join(["it is open", *(need.why for need in due if need.route is not None)])
        tasks.append(
            Task(
                0,
                "build",
                f"{name}Finish the open {open_build.route}",
                why,
                clock.open_build_needs,
            )
        )
        return tasks
    if routes:
        largest = min(routes, key=ROUTES.index)
        job = next(j for j in clock.jobs if j.route == largest)
        why = "; ".join(need.why for need in due if need.route is not None)
        tasks.append(Task(0, "build", f"{name}{largest.capitalize()}", why, job.needed))
    return tasks


def _later(weekend: Weekend, name: str, needs: Sequence[_Need], clock: PitClock) -> Iterator[Task]:
    starts = {h.name: h.starts_at for h in weekend.schedule}
    minutes = {job.route: job.needed for job in clock.jobs}
    for need in needs:
        if _due_now(need, clock):
            continue
        start, needed = starts.get(need.before), minutes.get(need.route) if need.route else None
        by = start - timedelta(minutes=needed) if start is not None and needed is not None else None
        what = (
            f"{name}{need.route.capitalize() if need.route else 'Change it'} before {need.before}"
        )
        yield Task(0, "later", what, need.why, needed, by)


def _one_after_the_other(
    builds: Sequence[Task], heat: PlannedHeat | None
) -> tuple[list[Task], float]:
    """Give each build its latest start, the last one ending at the heat; return their minutes."""
    total = sum(task.minutes or 0.0 for task in builds)
    if heat is None:
        return list(builds), total
    left = total
    timed = []
    for task in builds:
        if task.minutes is None:
            timed.append(task)
            continue
        timed.append(replace(task, by=heat.starts_at - timedelta(minutes=left)))
        left -= task.minutes
    return timed, total
