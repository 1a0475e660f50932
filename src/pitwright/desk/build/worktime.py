"""The working time of an open build: wall-clock time less pauses, step by step."""

from __future__ import annotations

from datetime import datetime

from pitwright.desk.build.facts import is_settled, result_of, step_in_hand
from pitwright.weekend.open_work import OpenBuild

__all__ = [
    "carry_on",
    "duration",
    "keep_time",
    "pause",
    "resume",
    "unsettled_seconds",
    "worked_seconds",
]


def worked_seconds(build: OpenBuild, now: datetime) -> float:
    """Return the working time of the step in hand [s], pauses left out."""
    result = result_of(build, step_in_hand(build).id)
    if is_settled(result):
        return result.seconds or 0.0
    if build.worked_since is None:
        return build.worked_seconds
    # A laptop's clock set back must not take time away.
    return build.worked_seconds + max((now - build.worked_since).total_seconds(), 0.0)


def keep_time(build: OpenBuild, now: datetime) -> OpenBuild:
    """Put the time worked until now on record, so that a kill costs none of it."""
    if build.worked_since is None:
        return build
    return build.model_copy(
        update={"worked_seconds": unsettled_seconds(build, now), "worked_since": now}
    )


def resume(build: OpenBuild, now: datetime) -> OpenBuild:
    """Take up a build found on disk: the time since it was last kept does not count."""
    return build if build.worked_since is None else build.model_copy(update={"worked_since": now})


def pause(build: OpenBuild, now: datetime) -> OpenBuild:
    """Stop the working time."""
    return keep_time(build, now).model_copy(update={"worked_since": None})


def carry_on(build: OpenBuild, now: datetime) -> OpenBuild:
    """Let the working time run again after a pause."""
    return (
        build if build.worked_since is not None else build.model_copy(update={"worked_since": now})
    )


def unsettled_seconds(build: OpenBuild, now: datetime) -> float:
    """Return the working time of the step in hand [s], none when it is done or skipped."""
    if is_settled(result_of(build, step_in_hand(build).id)):
        return 0.0
    return worked_seconds(build, now)


def duration(seconds: float) -> str:
    """Return a working time as a clock shows it: ``4:05``, ``1:02:10``."""
    whole = int(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"
