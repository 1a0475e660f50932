"""Where the clutch stops slipping: torque capacity meets engine torque."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import pairwise

from pitwright.mechanics.clutch import (
    Clutch,
    bite_speed,
    capacity_rising,
    closing_force,
    inertia_term,
    opening_force,
    torque_per_force,
)
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import LARGEST, RangeError


def lock_up_speed(clutch: Clutch, engine: EngineTorque) -> float | None:
    r"""First speed at which rising capacity crosses upward through engine torque [rad/s].

    .. math:: \mu R \left(N m (r + c) \omega^2 - S_{on}\right) = T(\omega)

    Between two points of the curve the difference is a cubic; it is cut at its turning points, so
    that no crossing is stepped over. None when the curve ends before a crossing.

    Raises:
        RangeError: the curve begins above a speed at which the clutch already holds, so that the
            crossing lies where nothing is known; or the clutch cannot bite.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10.35, capacity set equal to torque.

    >>> from pitwright.mechanics.engine import constant_torque
    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> round(lock_up_speed(clutch, constant_torque(0.4)) * 30 / math.pi, -1)
    18780.0
    """
    bite = bite_speed(clutch)
    square = torque_per_force(clutch) * inertia_term(clutch)
    offset = torque_per_force(clutch) * opening_force(clutch)
    begin = max(bite, engine.low)
    if begin > engine.high:
        return None

    def surplus(speed: float) -> float:
        return square * speed * speed - offset - engine.clamped(speed)

    if surplus(begin) >= 0:
        if begin > bite:
            raise RangeError(
                "engine",
                engine.low,
                "the torque curve begins above lock-up: give it a point at a lower speed",
            )
        return bite
    end = engine.high
    if end >= LARGEST:  # constant torque: no curve to bound the search, but a formula
        end = 2 * math.sqrt(begin * begin + engine.at(begin) / square)
    for low, high in _monotone_stretches(engine, square, begin, end):
        if surplus(high) >= 0:
            return _root(surplus, low, high)
    return None


def settling_speed(clutch: Clutch, engine: EngineTorque, start_speed: float) -> float | None:
    """Speed down to which a slipping clutch pulls an engine that was opened above it [rad/s].

    The shoes were brought up to ``start_speed``; wedge friction holds their force on the way down
    until the closing branch takes over. None when torque and capacity do not meet on the curve.

    Raises:
        RangeError: the start lies outside the curve, or the clutch passes less than the engine
            gives there, so that the engine would not fall.
    """
    held = capacity_rising(clutch, start_speed)
    if held < engine.at(start_speed):
        raise RangeError("start_speed", start_speed, "is not above the take-up speed")
    square = torque_per_force(clutch) * inertia_term(clutch)
    offset = torque_per_force(clutch) * closing_force(clutch)
    corner = min(math.sqrt((offset + held) / square), start_speed)

    def shortfall(speed: float) -> float:
        return engine.clamped(speed) - min(held, square * speed * speed - offset)

    flat = _monotone_stretches(engine, 0.0, max(corner, engine.low), start_speed)
    following = _monotone_stretches(engine, square, engine.low, corner)
    for low, high in reversed([*following, *flat]):
        if shortfall(low) >= 0:
            return _root(lambda speed: -shortfall(speed), low, high)
    return None


def _monotone_stretches(
    engine: EngineTorque, square: float, begin: float, stop: float
) -> Iterator[tuple[float, float]]:
    """Stretches from begin to stop on which square speed^2 - torque only rises or only falls."""
    ends = (*engine.starts[1:], engine.high)
    for (start, _, c1, c2, c3), end in zip(engine.pieces, ends, strict=True):
        low, end = max(start, begin), min(end, stop)
        if end <= low:
            continue
        # d/dx [square (start + x)^2 - c0 - c1 x - c2 x^2 - c3 x^3] = 0
        turns = _quadratic_roots(-3 * c3, 2 * (square - c2), 2 * square * start - c1)
        cuts = [low, *sorted(start + x for x in turns if low < start + x < end), end]
        yield from pairwise(cuts)


def _quadratic_roots(a: float, b: float, c: float) -> tuple[float, ...]:
    if a == 0:
        return (-c / b,) if b else ()
    inside = b * b - 4 * a * c
    if inside < 0:
        return ()
    q = -0.5 * (b + math.copysign(math.sqrt(inside), b))
    return (q / a, c / q) if q else (0.0,)


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Bisect between a negative and a non-negative value, down to neighbouring floats."""
    while True:
        middle = 0.5 * (low + high)
        if not low < middle < high:
            return high
        if function(middle) >= 0:
            high = middle
        else:
            low = middle
