"""Before a build: how the last one ended, and the routes a new one can take with their times."""

from __future__ import annotations

from dataclasses import dataclass

from pitwright.desk.build.steptimes import StepTime, WorkTime, route_time, step_time
from pitwright.desk.build.worktime import duration
from pitwright.desk.wording import day_time
from pitwright.weekend.procedure import ROUTES, Route
from pitwright.weekend.records import Build
from pitwright.weekend.weekend import Weekend

__all__ = ["LastBuild", "RouteChoice", "last_build", "lay_out", "route_steps", "routes"]


@dataclass(frozen=True)
class RouteChoice:
    """A route with its working time."""

    route: Route
    steps: int
    time: WorkTime


@dataclass(frozen=True)
class LastBuild:
    """The last build on record, in words."""

    route: Route
    finished: str
    worked: str
    remarks: tuple[str, ...]


def routes(weekend: Weekend) -> tuple[RouteChoice, ...]:
    """Return the routes that procedure.toml has steps for, each with its working time."""
    return tuple(
        RouteChoice(route, len(weekend.procedure.on_route(route)), route_time(weekend, route))
        for route in ROUTES
        if weekend.procedure.on_route(route)
    )


def route_steps(weekend: Weekend, route: Route) -> tuple[tuple[str, StepTime], ...]:
    """Return the titles of a route's steps, each with the time it should take."""
    return tuple(
        (step.title, step_time(weekend, step, route)) for step in weekend.procedure.on_route(route)
    )


def lay_out(weekend: Weekend, route: Route, clutch: str | None = None) -> tuple[str, ...]:
    """Return what a route needs on the bench before it begins, in lines: tools, then parts.

    The tools are those of the steps and those that read their quantities, each named once.
    """
    card = weekend.card(clutch)
    tools: list[str] = []
    parts: list[str] = []
    for step in weekend.procedure.on_route(route):
        tools += step.tools
        for key in step.measures:
            spec = card.quantities.get(key)
            if spec is not None and spec.instrument in card.instruments:
                tools.append(card.instruments[spec.instrument].label)
        parts += [*step.parts, *(place.capitalize() for place in step.fits)]
    named = (("Tools", tools), ("Parts", parts))
    return tuple(f"{what}: {' · '.join(dict.fromkeys(each))}" for what, each in named if each)


def last_build(weekend: Weekend, clutch: str | None = None) -> LastBuild | None:
    """Return the last finished build of the clutch, None when there is none."""
    card = weekend.card(clutch)
    builds = [r for r in weekend.log.records if isinstance(r, Build) and r.clutch == card.id]
    if not builds:
        return None
    build = max(builds, key=lambda b: b.finished_at)
    titles = {step.id: step.title for step in build.steps}
    remarks: list[str] = []
    for result in build.results:
        title = titles.get(result.step, result.step)
        if result.skipped_because:
            remarks.append(f"{title}: skipped, {result.skipped_because}")
        if result.out_because:
            remarks.append(f"{title}: out of limits, {result.out_because}")
        if result.thread_lock_applied is False:
            remarks.append(f"{title}: thread-lock not applied")
        if result.note:
            remarks.append(f"{title}: {result.note}")
    if build.note:
        remarks.append(build.note)
    seconds = sum(r.seconds or 0.0 for r in build.results)
    return LastBuild(
        build.route,
        day_time(build.finished_at, weekend.event.zone),
        duration(seconds) if seconds else "",
        tuple(remarks),
    )
