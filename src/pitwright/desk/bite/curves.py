"""Curves of torque against engine speed for the plot: plain points, no drawing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from pitwright.mechanics.clutch import (
    Clutch,
    bite_speed,
    capacity_falling,
    capacity_rising,
    let_go_speed,
)
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lockup import lock_up_speed

__all__ = ["Curve", "Points", "curves"]

Points = tuple[tuple[float, float], ...]
"""Pairs of engine speed [rpm] and torque [N m]."""

_RPM = 30 / math.pi
_POINTS = 60
_BEYOND = 1.12
"""How far past lock-up the curves are drawn."""


@dataclass(frozen=True)
class Curve:
    """Points (rpm, newton metre) of one line; ``of`` is ``now`` or the compared heat's name."""

    of: str
    what: Literal["rising", "falling", "engine"]
    points: Points


def curves(
    of: str, clutch: Clutch, engine: EngineTorque, *, with_engine: bool = False
) -> list[Curve]:
    """Return capacity rising, capacity falling from the end of the plot, and engine torque.

    Raises RangeError when the clutch cannot bite.
    """
    bite, let_go = bite_speed(clutch), let_go_speed(clutch)
    try:
        lock = lock_up_speed(clutch, engine)
    except RangeError:
        lock = None
    top = _BEYOND * (lock if lock is not None else min(2 * bite, max(engine.high, 1.3 * bite)))
    rising = _points(lambda speed: capacity_rising(clutch, speed), bite, top)
    falling = _points(lambda speed: capacity_falling(clutch, speed, top), let_go, top)
    found = [Curve(of, "falling", falling), Curve(of, "rising", rising)]
    if with_engine:
        low, high = max(engine.low, 0.8 * let_go), min(engine.high, top)
        if high > low:
            found.append(Curve(of, "engine", _points(engine.at, low, high)))
    return found


def _points(torque: Callable[[float], float], low: float, high: float) -> Points:
    step = (high - low) / (_POINTS - 1)
    speeds = [min(low + i * step, high) for i in range(_POINTS)]
    return tuple((speed * _RPM, torque(speed)) for speed in speeds)
