"""An open build as it is shown: the list of steps, and the step in hand with all it carries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from pitwright.desk.build.facts import (
    demands,
    fit_at,
    is_settled,
    reading_at,
    result_of,
    step_in_hand,
)
from pitwright.desk.build.steptimes import step_time, time_left
from pitwright.desk.build.thread_lock import handling_minutes, set_at
from pitwright.desk.build.torque_driver import driver_reach
from pitwright.desk.build.worktime import duration, worked_seconds
from pitwright.desk.measure.judged import limits_words
from pitwright.desk.measure.judging import usable_limits
from pitwright.desk.measure.limits import in_force
from pitwright.desk.sizes import shims_words, size_words
from pitwright.desk.stock.fitting import as_shim_place, fitted_now
from pitwright.desk.wording import clock_time, day_time, from_time, minutes_words
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import StepResult, VerdictWord
from pitwright.weekend.weekend import Weekend

__all__ = [
    "BuildView",
    "FitLine",
    "Mark",
    "MeasureLine",
    "StepLine",
    "StepView",
    "big_facts",
    "build_view",
    "head_line",
]

Mark = Literal["done", "skipped", "passed over", "open"]


@dataclass(frozen=True)
class StepLine:
    """One step in the list; ``wants`` is set when a done step's facts no longer hold."""

    step: str
    number: int
    title: str
    mark: Mark
    in_hand: bool
    wants: bool


@dataclass(frozen=True)
class MeasureLine:
    """A quantity of the step: its limits, and the reading taken here."""

    quantity: str
    label: str
    limits: str
    value: str = ""
    verdict: VerdictWord | None = None
    before: str = ""
    known: bool = True


@dataclass(frozen=True)
class FitLine:
    """A place of the step: what is recorded here, else what was there before."""

    place: str
    recorded: str = ""
    before: str = ""


@dataclass(frozen=True)
class StepView:
    """The step in hand. Empty texts mean that the step carries no such thing."""

    step: str
    number: int
    of: int
    title: str
    do: str
    mark: Mark
    cautions: tuple[str, ...]
    torque: str
    torque_caution: str
    torque_done: bool
    thread_lock: str
    measures: tuple[MeasureLine, ...]
    fits: tuple[FitLine, ...]
    tools: tuple[str, ...]
    parts: tuple[str, ...]
    squeezes: int
    note: str
    skipped_because: str
    out_because: str
    demands: tuple[str, ...]
    worked: str
    shows_nut: bool


@dataclass(frozen=True)
class BuildView:
    """An open build: its steps, the one in hand, and what was done so far."""

    steps: tuple[StepLine, ...]
    in_hand: StepView
    so_far: tuple[str, ...]


def _mark(build: OpenBuild, index: int, last_settled: int) -> Mark:
    result = result_of(build, build.steps[index].id)
    if result.done_at is not None:
        return "done"
    if result.skipped_because:
        return "skipped"
    return "passed over" if index < max(last_settled, build.at) else "open"


def build_view(weekend: Weekend, build: OpenBuild, now: datetime) -> BuildView:
    """Return everything the screen shows of an open build."""
    last = max(
        (i for i, s in enumerate(build.steps) if is_settled(result_of(build, s.id))), default=-1
    )
    marks = [_mark(build, i, last) for i in range(len(build.steps))]
    at = build.steps.index(step_in_hand(build))
    lines = tuple(
        StepLine(
            step.id,
            number,
            step.title,
            marks[number - 1],
            number - 1 == at,
            marks[number - 1] == "done" and bool(demands(build, weekend, step)),
        )
        for number, step in enumerate(build.steps, 1)
    )
    return BuildView(
        steps=lines,
        in_hand=_step_view(weekend, build, build.steps[at], at, marks[at], now),
        so_far=tuple(_so_far(weekend, build)),
    )


def _so_far(weekend: Weekend, build: OpenBuild) -> Iterator[str]:
    """Yield what was fitted, read, answered and noted, in the order of the steps."""
    for step in build.steps:
        result = result_of(build, step.id)
        for place in step.fits:
            fit = _fit(weekend, build, step, place)
            if fit.recorded:
                yield f"{place.capitalize()}: {fit.recorded}"
        for key in step.measures:
            measure = _measure(weekend, build, step, key)
            if measure.verdict is not None:
                yield f"{measure.label}: {measure.value}, {measure.verdict}"
        if result.thread_lock_applied is not None:
            yield f"Thread-lock: {_thread_lock(weekend, build, step, result)}"
        if result.skipped_because:
            yield f"Skipped: {step.title}, {result.skipped_because}"
        if result.note:
            yield f"Note: {result.note}"


def _torque(weekend: Weekend, build: OpenBuild, step: Step) -> str:
    if step.torque is None:
        return ""
    figure, card = step.torque.figure, weekend.clutches.get(build.clutch)
    if figure is None:
        return step.torque.feel
    reach = driver_reach(card, figure) if card is not None else ""
    return ", ".join(x for x in (f"{figure.value:g} {figure.unit}", reach, step.torque.feel) if x)


def _step_view(
    weekend: Weekend, build: OpenBuild, step: Step, at: int, mark: Mark, now: datetime
) -> StepView:
    result = result_of(build, step.id)
    worked = worked_seconds(build, now)
    return StepView(
        step=step.id,
        number=at + 1,
        of=len(build.steps),
        title=step.title,
        do=step.do,
        mark=mark,
        cautions=tuple(step.cautions),
        torque=_torque(weekend, build, step),
        torque_caution=step.torque.caution if step.torque is not None else "",
        torque_done=result.torque_done,
        thread_lock=_thread_lock(weekend, build, step, result),
        measures=tuple(_measure(weekend, build, step, key) for key in step.measures),
        fits=tuple(_fit(weekend, build, step, place) for place in step.fits),
        tools=tuple(step.tools),
        parts=tuple(step.parts),
        squeezes=step.squeezes,
        note=result.note,
        skipped_because=result.skipped_because,
        out_because=result.out_because,
        demands=tuple(d.words for d in demands(build, weekend, step))
        if not result.skipped_because
        else (),
        worked="" if result.batch else duration(worked),
        shows_nut="recess" in step.measures,
    )


def _thread_lock(weekend: Weekend, build: OpenBuild, step: Step, result: StepResult) -> str:
    if step.thread_lock is None:
        return ""
    if step.thread_lock == "none":
        return "None: no thread-lock here"
    if result.thread_lock_applied is None:
        return "Medium: apply it, then say so"
    if not result.thread_lock_applied or result.thread_lock_at is None:
        return "Medium: NOT applied"
    zone: ZoneInfo = weekend.event.zone
    words = f"Medium: applied {clock_time(result.thread_lock_at, zone)}"
    card = weekend.clutches.get(build.clutch)
    if card is None:
        return words
    due = set_at(weekend.open.timers, build, step.id)
    if due is None:
        due = result.thread_lock_at + timedelta(minutes=handling_minutes(card))
    return f"{words}, can be handled from {from_time(due, zone)}"


def _measure(weekend: Weekend, build: OpenBuild, step: Step, key: str) -> MeasureLine:
    card = weekend.clutches.get(build.clutch)
    if card is None or key not in card.quantities:
        return MeasureLine(key, key, "not on the clutch card, so it cannot be kept", known=False)
    state = weekend.state(None, build.clutch)
    spec = in_force(card, key, state)
    limits = limits_words(usable_limits(spec)[0], spec.decimals)
    taken = reading_at(build, weekend, step.id, key)
    if taken is not None:
        value = size_words(taken.reading.value_mm, taken.reading.bound, spec.decimals)
        return MeasureLine(key, spec.label, limits, value, taken.reading.verdict)
    last = state.told(key)
    before = ""
    if last is not None:
        when = day_time(last.at, weekend.event.zone)
        size = size_words(last.value_mm, last.bound, spec.decimals)
        before = f"last {size}, {when}"
    return MeasureLine(key, spec.label, limits, before=before)


def _fit(weekend: Weekend, build: OpenBuild, step: Step, place: str) -> FitLine:
    known = next(p for p in step.fits if p == place)
    fit = fit_at(build, weekend, step.id, known)
    now_there = fitted_now(weekend, known, build.clutch)
    if fit is None:
        return FitLine(place, before=now_there)
    if as_shim_place(known) is not None:
        return FitLine(place, recorded=shims_words(fit.shims_mm))
    return FitLine(place, recorded=now_there or fit.part or "")


def head_line(weekend: Weekend, build: OpenBuild, now: datetime) -> str:
    """Return the line above the step: where we are, and how the time goes."""
    step = step_in_hand(build)
    number = build.steps.index(step) + 1
    result = result_of(build, step.id)
    usual = step_time(weekend, step, build.route)
    if is_settled(result):
        here = "done" if result.done_at is not None else "skipped"
    else:
        whose = "usually" if usual.builds else "the card says"
        worked = duration(worked_seconds(build, now))
        here = f"{worked}, {whose} {minutes_words(usual.minutes)}"
    left = time_left(weekend, build, now)
    rest = f"about {minutes_words(left.minutes)} to go" if left.steps else "all steps settled"
    return f"{build.route.capitalize()}, step {number} of {len(build.steps)}: {here} · {rest}"


def big_facts(view: StepView) -> tuple[str, ...]:
    """Return the few facts of a step that are worth large letters, the shortest way."""
    facts: list[str] = []
    if view.torque:
        facts.append(view.torque)
    if view.thread_lock:
        none = view.thread_lock.startswith("None")
        facts.append("no thread-lock" if none else "medium thread-lock")
    for measure in view.measures:
        if measure.verdict is not None:
            facts.append(f"{measure.value} {measure.verdict}")
        elif measure.known:
            facts.append(f"{measure.label}: {measure.limits}")
    facts += [fit.recorded for fit in view.fits if fit.recorded]
    return tuple(facts)
