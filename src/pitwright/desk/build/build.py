"""The rebuild at the desk: every transition of an open build, from start to last tick.

Each function takes an open build and returns a new one; nothing is written here. Working time is
wall-clock time less pauses, kept with the step it was spent on, so that leaving a step half-done
and coming back to it loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

from pitwright.desk.build.facts import (
    NotYetError,
    demands,
    is_settled,
    result_of,
    step_in_hand,
)
from pitwright.desk.build.worktime import unsettled_seconds, worked_seconds
from pitwright.desk.form_text import line_trouble
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import Route
from pitwright.weekend.records import StepResult
from pitwright.weekend.weekend import Weekend

__all__ = [
    "BATCH_UNDER_SECONDS",
    "accept_out",
    "answer_thread_lock",
    "batch_tick",
    "confirm_torque",
    "go_to",
    "note_step",
    "pass_over",
    "reason_trouble",
    "skip",
    "start",
    "tick",
    "untick",
]

BATCH_UNDER_SECONDS: Final = 3.0
"""A step ticked sooner than this was done before it was taken up: its time says nothing."""


_GLANCE_SECONDS: Final = 1.0


def _whole(moment: datetime) -> datetime:
    # Records keep whole seconds; a build is recognised in the log by its start.
    return moment.replace(microsecond=0)


def start(weekend: Weekend, route: Route, now: datetime, clutch: str | None = None) -> OpenBuild:
    """Begin a build on ``route`` with a copy of its steps.

    Raises ValueError when the procedure has no step on that route, KeyError when there is no
    such clutch.
    """
    steps = weekend.procedure.on_route(route)
    if not steps:
        raise ValueError(f"procedure.toml has no step on the route '{route}'")
    return OpenBuild(
        clutch=weekend.card(clutch).id,
        route=route,
        started_at=_whole(now),
        steps=list(steps),
        worked_since=now,
    )


# Steps


def _changed(result: StepResult, **changes: Any) -> StepResult:
    return StepResult(**{**dict(result), **changes})


def _put(build: OpenBuild, result: StepResult) -> OpenBuild:
    others = {r.step: r for r in build.results} | {result.step: result}
    ordered = [others[step.id] for step in build.steps if step.id in others]
    return build.model_copy(update={"results": ordered})


def _noted(build: OpenBuild, step: str | None = None, **changes: Any) -> OpenBuild:
    result = result_of(build, step or step_in_hand(build).id)
    return _put(build, _changed(result, **changes))


def _index(build: OpenBuild, step: str) -> int:
    for index, candidate in enumerate(build.steps):
        if candidate.id == step:
            return index
    raise ValueError(f"this build has no step '{step}'")


def go_to(build: OpenBuild, step: str, now: datetime) -> OpenBuild:
    """Take up another step; the time worked on this one stays with it.

    Raises ValueError when the build has no such step.
    """
    return _move(build, _index(build, step), now)


def _move(build: OpenBuild, index: int, now: datetime) -> OpenBuild:
    seconds = unsettled_seconds(build, now)
    # A glance at a step on the way to another is not work on it.
    if seconds >= _GLANCE_SECONDS:
        build = _noted(build, seconds=round(seconds, 1))
    result = result_of(build, build.steps[index].id)
    before = 0.0 if is_settled(result) else (result.seconds or 0.0)
    running = build.worked_since is not None
    return build.model_copy(
        update={
            "at": index,
            "worked_seconds": before,
            "worked_since": now if running else None,
        }
    )


def _next_open(build: OpenBuild) -> int:
    """Return the next open step, else the first open one, else the step in hand."""
    still_open = [
        index for index, step in enumerate(build.steps) if not is_settled(result_of(build, step.id))
    ]
    later = [index for index in still_open if index > build.at]
    return (later or still_open or [build.at])[0]


def tick(build: OpenBuild, weekend: Weekend, now: datetime) -> OpenBuild:
    """Tick the step in hand and take up the next open one.

    A step ticked within BATCH_UNDER_SECONDS counts as done in a batch. Raises NotYetError with
    what the step still wants.
    """
    step = step_in_hand(build)
    result = result_of(build, step.id)
    if result.done_at is None:
        wanted = demands(build, weekend, step)
        if wanted:
            raise NotYetError(wanted)
        seconds = worked_seconds(build, now)
        batch = seconds < BATCH_UNDER_SECONDS
        build = _noted(
            build,
            done_at=_whole(now),
            seconds=None if batch else round(seconds, 1),
            batch=batch,
            skipped_because="",
        )
    return _move(build, _next_open(build), now)


def batch_tick(
    build: OpenBuild, weekend: Weekend, steps: Sequence[str], now: datetime
) -> tuple[OpenBuild, tuple[str, ...]]:
    """Tick several steps done at once; their times do not count.

    Returns the build, and the steps left open because they still want something. Raises
    ValueError when the build has no such step.
    """
    left: list[str] = []
    wanted_steps = [build.steps[_index(build, name)] for name in steps]
    for step in wanted_steps:
        if result_of(build, step.id).done_at is not None:
            continue
        if demands(build, weekend, step):
            left.append(step.id)
            continue
        build = _noted(
            build, step.id, done_at=_whole(now), seconds=None, batch=True, skipped_because=""
        )
    if left:
        return _move(build, _index(build, left[0]), now), tuple(left)
    return _move(build, _next_open(build), now), ()


def untick(build: OpenBuild, step: str, now: datetime) -> OpenBuild:
    """Open a step again and take it up; its time goes on from where it stood.

    How tight it is has to be confirmed anew; readings, parts and the thread-lock answer stay.
    Raises ValueError when the build has no such step.
    """
    index = _index(build, step)
    build = _move(build, build.at, now)
    build = _noted(build, step, done_at=None, batch=False, skipped_because="", torque_done=False)
    return _move(build, index, now)


def skip(build: OpenBuild, reason: str, now: datetime) -> OpenBuild:
    """Skip the step in hand for a reason; without one it stays open and bars the sign-off.

    Raises ValueError when the reason cannot be kept.
    """
    if not reason.strip():
        return pass_over(build, now)
    trouble = line_trouble(reason)
    if trouble:
        raise ValueError(trouble)
    build = _noted(build, done_at=None, seconds=None, batch=False, skipped_because=reason.strip())
    return _move(build, _next_open(build), now)


def pass_over(build: OpenBuild, now: datetime) -> OpenBuild:
    """Go on to the next open step and leave this one open."""
    return _move(build, _next_open(build), now)


def reason_trouble(text: str) -> str:
    """Return what is wrong with a reason that has to be given, or nothing."""
    return line_trouble(text) if text.strip() else "A reason is wanted here"


# Checkpoints


def confirm_torque(build: OpenBuild, done: bool = True) -> OpenBuild:
    """Note whether the step in hand has been made tight."""
    return _noted(build, torque_done=done)


def answer_thread_lock(build: OpenBuild, applied: bool, now: datetime) -> OpenBuild:
    """Note whether thread-lock was applied at the step in hand, and when."""
    return _noted(
        build,
        thread_lock_applied=applied,
        thread_lock_at=_whole(now) if applied else None,
    )


def accept_out(build: OpenBuild, reason: str) -> OpenBuild:
    """Say why a reading that is out may stay; no reason takes that back.

    Raises ValueError when the reason cannot be kept.
    """
    trouble = line_trouble(reason)
    if trouble:
        raise ValueError(trouble)
    return _noted(build, out_because=reason.strip())


def note_step(build: OpenBuild, text: str) -> OpenBuild:
    """Write the note of the step in hand; nothing takes it away.

    Raises ValueError when the text cannot be kept.
    """
    return _noted(build, note=text.strip())
