"""Thread-lock and retaining screw: what the builds say of them, and whether it still holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from pitwright.desk.build.thread_lock import air_lately, handling_minutes
from pitwright.desk.clock.pre_main_point import PointWord, PreMainPoint, since_words
from pitwright.desk.wording import (
    from_time,
    minutes_words,
    needed_words,
    until_words,
    when_words,
)
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import Place
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import Build, Fit, HeatRun, Setting, StepResult
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = ["is_retaining_screw", "screw", "thread_lock"]

_UNDER_THE_NUT: Final[tuple[Place, ...]] = ("spring", "shoes")
_UNDER_THE_SCREW: Final[tuple[Place, ...]] = (
    "spring", "shoes", "bell", "bearings", "pinion", "height shims", "end play shims",
)  # fmt: skip
_MOVED_MM: Final = 0.005  # less than any hand tool resolves


@dataclass(frozen=True)
class _Done:
    """What the latest build with such a step says of it; ``record`` is empty while it is open."""

    route: str
    step: Step
    result: StepResult | None
    finished_at: datetime | None
    record: str


def is_retaining_screw(step: Step) -> bool:
    """Tell whether a step tightens the retaining screw: a torque, and the screw in its name."""
    named = f"{step.id} {step.title}".casefold().replace("-", " ")
    return step.torque is not None and "retaining screw" in named


def _latest(weekend: Weekend, card: ClutchCard, wanted: Callable[[Step], bool]) -> _Done | None:
    """Return the last such step of the open build, else of the latest build that has one."""
    open_build = weekend.open.build
    if open_build is not None and open_build.clutch == card.id:
        steps = [s for s in open_build.steps if wanted(s)]
        if steps:
            step = steps[-1]
            return _Done(open_build.route, step, open_build.result(step.id), None, "")
    builds = [r for r in weekend.log.records if isinstance(r, Build) and r.clutch == card.id]
    for build in sorted(builds, key=lambda b: b.finished_at, reverse=True):
        steps = [s for s in build.steps if wanted(s)]
        if steps:
            step = steps[-1]
            result = next((r for r in build.results if r.step == step.id), None)
            return _Done(build.route, step, result, build.finished_at, build.id)
    return None


def thread_lock(
    weekend: Weekend, card: ClutchCard, now: datetime, main: PlannedHeat | None
) -> PreMainPoint:
    """Return the thread-lock's age against its handling time.

    It is good once the handling time has passed and nobody has turned the nut since it had set;
    when it will have cured in full is told beside that, where the card knows.
    """

    def point(word: PointWord, why: str = "", todo: str = "", *told: str) -> PreMainPoint:
        found, age = told or ("", "")
        record = done.record if done is not None else ""
        return PreMainPoint("thread_lock", "Thread-lock", word, found, age, why, todo, record)

    done = _latest(weekend, card, lambda step: step.thread_lock == "medium")
    if done is None:
        return point("no record", "no build on record has thread-lock in it", _BUILD)
    gap = _gap(done)
    if gap:
        return point("no record", gap, _LOCK if done.finished_at else _GO_ON)
    result = done.result
    if result is None or result.thread_lock_applied is None:
        return point("no record", "nobody said whether it was applied", _LOCK)
    if not result.thread_lock_applied or result.thread_lock_at is None:
        return point("out", f"noted as not applied, in the {done.route}", _LOCK)
    zone, applied = weekend.event.zone, result.thread_lock_at
    handling = handling_minutes(card, air_lately(weekend, applied))
    sets = applied + timedelta(minutes=handling)
    told = (
        f"{minutes_words(_minutes_since(applied, now))} old, needs {needed_words(handling)}",
        when_words(applied, now, zone),
    )
    broken = _nut_moved(weekend, card, sets, done.finished_at)
    if broken:
        return point("no record", broken, _LOCK, *told)
    if sets <= now:
        return replace(point("good", "", "", *told), note=_curing(card, applied, now, zone))
    wait = f"Leave it until {from_time(sets, zone)}; the bottle's sheet rules"
    if main is not None and sets > main.starts_at:
        return point("out", f"not set before {main.name} starts", wait, *told)
    return point("too close to call", "not set yet", wait, *told)


def _curing(card: ClutchCard, applied: datetime, now: datetime, zone: ZoneInfo) -> str:
    """Return until when thread-lock that may be handled still cures, nothing once it has."""
    if card.thread_lock.full_cure is None:
        return ""
    cured = applied + timedelta(minutes=card.thread_lock.full_cure.value)
    if cured <= now:
        return ""
    until = until_words(cured, now, zone)
    return f"Set for handling; full cure at {until}; the bottle's sheet rules"


def _minutes_since(then: datetime, now: datetime) -> float:
    return max((now - then).total_seconds() / 60, 0.0)


def screw(weekend: Weekend, card: ClutchCard, now: datetime) -> PreMainPoint:
    """Return when the retaining screw was last confirmed tight, and whether that still holds."""

    def point(word: PointWord, why: str = "", todo: str = "", *told: str) -> PreMainPoint:
        found, age = told or ("", "")
        record = done.record if done is not None else ""
        label = "Retaining screw"
        return PreMainPoint("retaining_screw", label, word, found, age, why, todo, record)

    done = _latest(weekend, card, is_retaining_screw)
    if done is None:
        return point("no record", "no build on record tightens it", _BUILD)
    gap = _gap(done)
    if gap:
        return point("no record", gap, _TIGHTEN if done.finished_at else _GO_ON)
    result = done.result
    if result is None or not result.torque_done:
        return point("no record", "nobody confirmed that it is tight", _TIGHTEN)
    at = result.done_at or done.finished_at or now
    minutes, unknown = _run_after(weekend, card, at)
    told = (
        f"tight {when_words(at, now, weekend.event.zone)}",
        since_words(minutes, unknown),
    )
    off = _fitted_after(weekend, card, done.finished_at, _UNDER_THE_SCREW)
    if off:
        return point("no record", f"{off}, so it was out", _TIGHTEN, *told)
    if minutes or unknown:
        todo = "Try it with the key, cold and with care; a build puts it on record"
        return point("too close to call", "run since it was confirmed", todo, *told)
    return point("good", "", "", *told)


_BUILD: Final = "Work a build on the Build screen"
_GO_ON: Final = "Go on with the build"
_LOCK: Final = "Clean the threads, a fresh dab, and its handling time"
_TIGHTEN: Final = "Tighten it with care: it can snap in the crank; confirm it in a build"


def _gap(done: _Done) -> str:
    """Return why the step itself proves nothing: skipped, or not reached yet."""
    if done.result is not None and done.result.skipped_because:
        return f"skipped: {done.result.skipped_because}"
    untold = done.result is None or (
        done.result.thread_lock_applied is None and not done.result.torque_done
    )
    if done.finished_at is None and untold:
        return f"not done yet in the open {done.route}"
    return ""


def _nut_moved(
    weekend: Weekend, card: ClutchCard, sets: datetime, finished_at: datetime | None
) -> str:
    """Return what has turned the nut since the thread-lock had set, nothing when nothing has."""
    for record, before, _after in weekend.walk(card):
        if isinstance(record, Setting) and record.happened_at > sets and _moved(record, before):
            return "the nut was turned after it had set"
    return _fitted_after(weekend, card, finished_at, _UNDER_THE_NUT)


def _moved(setting: Setting, before: State) -> bool:
    if setting.turns_in is not None:
        return setting.turns_in != 0
    there = before.recess
    return there is None or abs(there.value_mm - setting.recess_mm) > _MOVED_MM


def _fitted_after(
    weekend: Weekend, card: ClutchCard, after: datetime | None, places: Sequence[Place]
) -> str:
    """Return what was fitted after a build was signed off."""
    if after is None:
        return ""
    fits = [
        r
        for r in weekend.log.records
        if isinstance(r, Fit)
        and r.clutch == card.id
        and r.happened_at > after
        and r.place in places
    ]
    return f"fitted since: {fits[-1].place}" if fits else ""


def _run_after(weekend: Weekend, card: ClutchCard, at: datetime) -> tuple[float, int]:
    runs = list(_runs(weekend, card, at))
    known = sum((r.run_minutes or 0.0) + (r.warm_up_minutes or 0.0) for r in runs)
    return known, sum(1 for r in runs if r.run_minutes is None)


def _runs(weekend: Weekend, card: ClutchCard, at: datetime) -> Iterator[HeatRun]:
    for record in weekend.log.records:
        if (
            isinstance(record, HeatRun)
            and record.clutch == card.id
            and record.status != "cancelled"
            and record.happened_at >= at
        ):
            yield record
