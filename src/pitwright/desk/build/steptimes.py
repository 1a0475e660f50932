"""How long a step takes: the user's own times, the card's estimate until there are some.

Times of steps ticked in a batch are not kept at all, and pauses are left out of the rest.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from pitwright.desk.build.facts import is_settled, result_of, step_in_hand
from pitwright.desk.build.worktime import worked_seconds
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import Route, Step
from pitwright.weekend.records import Build
from pitwright.weekend.weekend import Weekend

__all__ = ["StepTime", "WorkTime", "route_time", "step_time", "steps_left", "time_left"]


@dataclass(frozen=True)
class StepTime:
    """The time one step should take [min]; ``builds`` is how many of the user's own it rests on.

    None of them (0) means the procedure card's estimate.
    """

    step: str
    minutes: float
    builds: int


@dataclass(frozen=True)
class WorkTime:
    """A sum over steps [min]; ``own`` of its ``steps`` rest on the user's own times."""

    minutes: float
    steps: int
    own: int

    @property
    def basis(self) -> str:
        """What the figure rests on, in words."""
        if self.own == 0:
            return "the card's estimates"
        if self.own == self.steps:
            return "your own times"
        return f"your own times for {self.own} of {self.steps} steps"


def step_time(weekend: Weekend, step: Step, route: Route) -> StepTime:
    """Return the median of the step's earlier times on this route, else the card's estimate.

    Where the step was timed on other routes only, those times count: they are still the user's.
    """
    here = list(_seconds(weekend, step.id, (route,)))
    own = here or list(_seconds(weekend, step.id, None))
    if own:
        return StepTime(step.id, median(own) / 60.0, len(own))
    return StepTime(step.id, step.minutes.value, 0)


def _seconds(weekend: Weekend, step: str, routes: tuple[Route, ...] | None) -> Iterable[float]:
    for record in weekend.log.records:
        if not isinstance(record, Build) or (routes is not None and record.route not in routes):
            continue
        for result in record.results:
            timed = result.done_at is not None and result.seconds and not result.batch
            if result.step == step and timed and result.seconds is not None:
                yield result.seconds


def route_time(weekend: Weekend, route: Route) -> WorkTime:
    """Return the working time of a whole build on ``route``, as procedure.toml stands now."""
    times = [step_time(weekend, s, route) for s in weekend.procedure.on_route(route)]
    return _sum(times)


def steps_left(
    weekend: Weekend, build: OpenBuild, now: datetime
) -> tuple[tuple[Step, StepTime], ...]:
    """Return the open steps of a build in order, each with the time it still needs.

    Time already spent on an open step counts against it; a step that has overrun its usual time
    counts as nearly done, never as less than nothing.
    """
    left: list[tuple[Step, StepTime]] = []
    for step in build.steps:
        result = result_of(build, step.id)
        if is_settled(result):
            continue
        in_hand = step.id == step_in_hand(build).id
        spent = worked_seconds(build, now) if in_hand else (result.seconds or 0.0)
        usual = step_time(weekend, step, build.route)
        minutes = max(usual.minutes - spent / 60.0, 0.0)
        left.append((step, StepTime(step.id, minutes, usual.builds)))
    return tuple(left)


def time_left(weekend: Weekend, build: OpenBuild, now: datetime) -> WorkTime:
    """Return the working time an open build still needs."""
    return _sum([time for _step, time in steps_left(weekend, build, now)])


def _sum(times: list[StepTime]) -> WorkTime:
    return WorkTime(
        sum(t.minutes for t in times), len(times), sum(1 for t in times if t.builds > 0)
    )
