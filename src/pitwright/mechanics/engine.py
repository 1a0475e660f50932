"""Engine torque against engine speed: from points on the card, or constant."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from pitwright.mechanics.errors import LARGEST, RangeError, finite, not_negative, positive
from pitwright.mechanics.monotone import Piece, cubic_pieces


@dataclass(frozen=True, slots=True)
class EngineTorque:
    """A torque curve: cubic pieces between ``low`` and ``high`` [rad/s].

    Made by :func:`torque_from_points` or :func:`constant_torque`.
    """

    low: float
    high: float
    pieces: tuple[Piece, ...]
    starts: tuple[float, ...]

    def at(self, speed: float) -> float:
        """Torque [N m] at a speed [rad/s].

        Raises:
            RangeError: the speed lies outside the curve; nothing is known there.

        >>> curve = torque_from_points([(1000.0, 0.30), (2000.0, 0.42), (3500.0, 0.35)])
        >>> curve.at(2000.0)
        0.42
        """
        if not self.low <= finite("speed", speed) <= self.high:
            raise RangeError(
                "speed", speed, f"lies outside the torque curve ({self.low:g} to {self.high:g})"
            )
        return self.clamped(speed)

    def clamped(self, speed: float) -> float:
        """Torque with the speed moved to the nearest end of the curve; for trial steps only."""
        speed = min(max(speed, self.low), self.high)
        start, c0, c1, c2, c3 = self.pieces[max(bisect_right(self.starts, speed) - 1, 0)]
        x = speed - start
        return c0 + x * (c1 + x * (c2 + x * c3))


def constant_torque(torque: float) -> EngineTorque:
    """A curve of one torque [N m] at every speed.

    >>> constant_torque(0.4).at(1234.5)
    0.4
    """
    not_negative("torque", torque)
    return EngineTorque(0.0, LARGEST, ((0.0, torque, 0.0, 0.0, 0.0),), (0.0,))


def torque_from_points(points: Iterable[tuple[float, float]]) -> EngineTorque:
    """A curve through points (speed [rad/s], torque [N m]) without overshoot between them.

    The cubics of :func:`pitwright.mechanics.monotone.cubic_pieces`.

    Raises:
        RangeError: fewer than two points, speeds not rising, or a torque below zero.

    >>> curve = torque_from_points([(1000.0, 0.30), (2000.0, 0.42), (3500.0, 0.35)])
    >>> 0.30 < curve.at(1500.0) < 0.42
    True
    """
    knots = [
        (not_negative("speed", speed), not_negative("torque", torque)) for speed, torque in points
    ]
    if len(knots) < 2:
        raise RangeError("points", len(knots), "at least two points make a curve")
    for (x0, y0), (x1, y1) in pairwise(knots):
        if x1 <= x0:
            raise RangeError("speed", x1, f"must rise from point to point (after {x0:g})")
        finite("slope", (y1 - y0) / positive("step in speed", x1 - x0))
    pieces = cubic_pieces(knots)
    return EngineTorque(knots[0][0], knots[-1][0], pieces, tuple(x for x, _ in knots[:-1]))


def corrected_for_air(engine: EngineTorque, correction_factor: float) -> EngineTorque:
    """Torque in today's air: the reference torque divided by the correction factor [-].

    The factor is above one in thin air (hot, high, wet). For a fuel that carries its own oxygen
    this is the most that the air can change.

    Raises:
        RangeError: a factor not above zero.

    >>> round(corrected_for_air(constant_torque(0.42), 1.05).at(2000.0), 6)
    0.4
    """
    factor = positive("correction_factor", correction_factor)
    pieces = tuple(
        (x, c0 / factor, c1 / factor, c2 / factor, c3 / factor)
        for x, c0, c1, c2, c3 in engine.pieces
    )
    return EngineTorque(engine.low, engine.high, pieces, engine.starts)
