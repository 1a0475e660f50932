"""Thread-lock handling time from the card, and the timer that runs it down.

There is no cure table here: the figures are the ones on the user's own bottle.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise
from zlib import crc32

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.open_work import OpenBuild, Timer
from pitwright.weekend.records import HeatRun
from pitwright.weekend.weekend import Weekend

__all__ = [
    "air_lately",
    "handling_minutes",
    "set_at",
    "still_setting",
    "thread_lock_timer",
    "without_timer",
]

_LATELY = timedelta(hours=3)


def air_lately(weekend: Weekend, now: datetime) -> float | None:
    """Return the air temperature [C] last noted with a heat in the past three hours."""
    for record in reversed(weekend.log.records):
        if (
            isinstance(record, HeatRun)
            and record.conditions.air_c is not None
            and timedelta(0) <= now - record.happened_at <= _LATELY
        ):
            return record.conditions.air_c
    return None


def handling_minutes(card: ClutchCard, air_c: float | None = None) -> float:
    """Return the handling time [min] at a temperature [C], by straight lines between points.

    Outside the card's points the nearest one holds; without points or temperature, the card's
    single figure does.
    """
    points = sorted(
        (p.temperature.value, p.handling.value) for p in card.thread_lock.by_temperature
    )
    if not points or air_c is None:
        return card.thread_lock.handling.value
    if air_c <= points[0][0]:
        return points[0][1]
    for (low, slow), (high, fast) in pairwise(points):
        if air_c <= high and high > low:
            return slow + (fast - slow) * (air_c - low) / (high - low)
    return points[-1][1]


_NAMED = "thread-lock "
_LONGEST_NAME = 40


def _timer_name(build: OpenBuild, step: str) -> str:
    """Return the timer's name: that of the joint, which is one in every build and on any route."""
    joint = f"{build.clutch} {step}"
    if len(_NAMED) + len(joint) > _LONGEST_NAME:
        joint = f"{crc32(joint.encode()):08x}"
    return f"{_NAMED}{joint}"


def set_at(timers: Iterable[Timer], build: OpenBuild, step: str) -> datetime | None:
    """Return when the thread-lock of a step may be handled by its timer, None without one."""
    name = _timer_name(build, step)
    return next((t.due_at for t in timers if t.name == name), None)


def still_setting(timers: Iterable[Timer], now: datetime) -> datetime | None:
    """Return until when thread-lock needs to be left alone, None when it has set."""
    return max(
        (t.due_at for t in timers if t.name.startswith(_NAMED) and t.due_at > now), default=None
    )


def thread_lock_timer(
    weekend: Weekend, build: OpenBuild, step: str, applied_at: datetime
) -> tuple[Timer, float]:
    """Return the timer for thread-lock applied at ``step``, and its handling time [min].

    Raises KeyError when the build's clutch has no card.
    """
    card = weekend.card(build.clutch)
    minutes = handling_minutes(card, air_lately(weekend, applied_at))
    timer = Timer(
        name=_timer_name(build, step),
        label="Thread-lock handling time",
        due_at=applied_at + timedelta(minutes=minutes),
    )
    return timer, minutes


def without_timer(timers: list[Timer], build: OpenBuild, step: str) -> list[Timer]:
    """Return the timers without the one of a step's thread-lock, whichever build started it."""
    name = _timer_name(build, step)
    return [t for t in timers if t.name != name]
