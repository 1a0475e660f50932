"""Engine torque against engine speed: from points on the card, or constant.

References:
    [1] F. N. Fritsch and R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer.
        Anal. 17 (1980) 238-246.
    [2] F. N. Fritsch and J. Butland, A method for constructing local monotone piecewise cubic
        interpolants, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304: the slope rule used here.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from pitwright.mechanics.errors import LARGEST, RangeError, finite, not_negative, positive

Piece = tuple[float, float, float, float, float]
"""Start speed and the cubic's coefficients c0..c3 in the distance from it."""


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
    r"""A curve through points (speed [rad/s], torque [N m]) without overshoot between them.

    Piecewise cubic Hermite; inside, the slope is the weighted harmonic mean of the neighbouring
    secants (zero at a turning point), at the ends a one-sided three-point rule held to the
    monotone region [1]_ [2]_:

    .. math:: \frac{w_1 + w_2}{d_i} = \frac{w_1}{\delta_{i-1}} + \frac{w_2}{\delta_i}, \quad
              w_1 = 2 h_i + h_{i-1}, \; w_2 = h_i + 2 h_{i-1}

    Raises:
        RangeError: fewer than two points, speeds not rising, or a torque below zero.

    References:
        .. [1] Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246.
        .. [2] Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304.

    >>> curve = torque_from_points([(1000.0, 0.30), (2000.0, 0.42), (3500.0, 0.35)])
    >>> 0.30 < curve.at(1500.0) < 0.42
    True
    """
    knots = [
        (not_negative("speed", speed), not_negative("torque", torque)) for speed, torque in points
    ]
    if len(knots) < 2:
        raise RangeError("points", len(knots), "at least two points make a curve")
    widths, secants = [], []
    for (x0, y0), (x1, y1) in pairwise(knots):
        if x1 <= x0:
            raise RangeError("speed", x1, f"must rise from point to point (after {x0:g})")
        widths.append(positive("step in speed", x1 - x0))
        secants.append(finite("slope", (y1 - y0) / (x1 - x0)))
    slopes = _slopes(widths, secants)
    pieces = tuple(
        (
            x,
            y,
            slopes[i],
            (3 * secants[i] - 2 * slopes[i] - slopes[i + 1]) / widths[i],
            (slopes[i] + slopes[i + 1] - 2 * secants[i]) / widths[i] ** 2,
        )
        for i, (x, y) in enumerate(knots[:-1])
    )
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


def _slopes(widths: list[float], secants: list[float]) -> list[float]:
    if len(secants) == 1:
        return [secants[0], secants[0]]
    inner = []
    for h0, h1, d0, d1 in zip(widths, widths[1:], secants, secants[1:], strict=False):
        if d0 * d1 <= 0:
            inner.append(0.0)
        else:
            w0, w1 = 2 * h1 + h0, h1 + 2 * h0
            inner.append((w0 + w1) / (w0 / d0 + w1 / d1))
    first = _end_slope(widths[0], widths[1], secants[0], secants[1])
    last = _end_slope(widths[-1], widths[-2], secants[-1], secants[-2])
    return [first, *inner, last]


def _end_slope(h0: float, h1: float, d0: float, d1: float) -> float:
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if slope * d0 <= 0:
        return 0.0
    if d0 * d1 <= 0 and abs(slope) > 3 * abs(d0):
        return 3 * d0
    return slope
