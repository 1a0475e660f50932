r"""The force of a spring as it was squeezed on a scale, where one rate does not tell it.

A curve has no units: over the share s of the way to solid it gives the force v(s) as a share of
what the rate would need for the whole way,

.. math:: F = k (L_{free} - L_{solid}) \, v(s), \qquad
          s = (L_{free} - L) / (L_{free} - L_{solid})

so that v(s) = s where the rate holds. A spring that sags keeps its curve, since coils touch by how
near solid they are; one that warms keeps it too, with a softer k.

Sources:
    [1] EN 13906-1 (recalled): the rate is constant over about 30 to 70 % of the way to solid.
    [2] :mod:`pitwright.mechanics.monotone` for the pooling and the cubics.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pitwright.mechanics.errors import RangeError, finite_result, not_negative, positive
from pitwright.mechanics.monotone import Piece, cubic_pieces, rising

__all__ = ["LINEAR", "CurveFit", "SpringCurve", "Squeeze", "fit_curve"]

LINEAR = (0.3, 0.7)
"""Shares of the way to solid between which a rate is constant [1]."""
_PRIOR_AT = (0.3, 0.5, 0.7)
_NEAR = 0.1
"""A squeeze this near (in share) speaks for itself, the rate is not asked. Judgement."""
_LEAST_SLOPE = 0.2
"""No spring here is taken as softer than a fifth of its rate, so that every force has one length
whatever the scatter of the squeezes. Judgement."""
_SHAPE_LINEAR = 0.1
_SHAPE = 0.3
_STRETCH = 0.1
"""Share by which the mean slope over a stretch of the way may differ from the curve's, within
``LINEAR`` and outside, as a standard uncertainty. Judgement; a test tries it on laws the curve does
not know."""
_PIECES = 16
_FALLS = 2.0  # standard uncertainties by which a force may fall before it is a slip
_SURE = 1e12
_STEPS = 1000


@dataclass(frozen=True)
class Squeeze:
    """A length [m] under a force [N], with the standard uncertainty of each."""

    length: float
    force: float
    u_length: float = 0.0
    u_force: float = 0.0


@dataclass(frozen=True, slots=True)
class SpringCurve:
    """Force over the way to solid, both as shares; made by :func:`fit_curve`.

    ``pieces`` hold what is above ``_LEAST_SLOPE`` of the rate; ``measured`` are the shares at
    which it was squeezed, the longest length first: beyond the last, the last slope goes on.
    """

    pieces: tuple[Piece, ...]
    starts: tuple[float, ...]
    measured: tuple[float, ...]

    @property
    def reach(self) -> float:
        """The share of the squeeze nearest to solid."""
        return self.measured[-1]

    def doubts(self, share: float) -> dict[str, float]:
        r"""Return the independent errors of the shape at a share, by name, in shares of the way.

        Each is the effect of one standard uncertainty. The slope is taken to err from stretch to
        stretch by itself (a Wiener process), held to nothing where the spring was squeezed and
        where it is free, so that its variance between two squeezes is that of a Brownian bridge,

        .. math:: u^2(s) = \frac{V(s) \, (V_{gap} - V(s))}{V_{gap}}

        with V gathered from the longer squeeze on; beyond the last squeeze it is V. One squeeze
        more never makes anything less sure. Errors of the same name are the same at two shares.

        >>> at = SpringCurve(((0.0, 0.0, 0.8, 0.0, 0.0),), (0.0,), (0.4, 0.9))
        >>> [round(math.hypot(*at.doubts(s).values()), 3) for s in (0.4, 0.5, 0.8, 0.9, 1.0)]
        [0.0, 0.01, 0.023, 0.0, 0.03]
        """
        share = min(max(share, 0.0), 1.0)
        gap = bisect_right(self.measured, share)
        start = _unsure((0.0, *self.measured)[gap])
        last = gap == len(self.measured)
        whole = _unsure(1.0 if last else self.measured[gap]) - start
        here = _unsure(share) - start
        if whole <= 0 or here <= 0:
            return {}
        piece, back = whole / _PIECES, 0.0 if last else here / whole
        found = {
            f"{gap}.{k}": math.sqrt(piece) * (min(max(here / piece - k, 0.0), 1.0) - back)
            for k in range(_PIECES)
        }
        rest = here * (1 - back) - sum(part**2 for part in found.values())
        return {**found, f"{gap} at {share:.6f}": math.sqrt(max(rest, 0.0))}

    def at(self, share: float) -> float:
        """Return the force as a share of k (L_free - L_solid); ``share`` is held to 0 to 1."""
        share = min(max(share, 0.0), 1.0)
        start, c0, c1, c2, c3 = self.pieces[max(bisect_right(self.starts, share) - 1, 0)]
        x = share - start
        return _LEAST_SLOPE * share + c0 + x * (c1 + x * (c2 + x * c3))

    def slope(self, share: float) -> float:
        """Return the rate at a share of the way, as a share of k; above zero."""
        share = min(max(share, 0.0), 1.0)
        start, _, c1, c2, c3 = self.pieces[max(bisect_right(self.starts, share) - 1, 0)]
        x = share - start
        return _LEAST_SLOPE + c1 + x * (2 * c2 + x * 3 * c3)

    def share_at(self, force: float) -> float:
        """Return the share of the way at which the curve reaches a force (a share, as ``at``).

        Past solid the last slope goes on, so that what cannot be is told by how far it is.
        """
        if force <= 0.0:
            return force / self.slope(0.0)
        most = self.at(1.0)
        if force >= most:
            return 1.0 + (force - most) / self.slope(1.0)
        low, high = 0.0, 1.0
        while low < (middle := 0.5 * (low + high)) < high:
            low, high = (middle, high) if self.at(middle) < force else (low, middle)
        return high

    def table(self) -> tuple[list[float], list[float]]:
        """Return shares and forces so close that a straight line between them will do.

        A step behind each end stands on it with the last slope, for sums over what cannot be.
        """
        shares = [i / _STEPS for i in range(_STEPS + 1)]
        values = [self.at(share) for share in shares]
        low, high = -self.slope(0.0), values[-1] + self.slope(1.0)
        return [-1.0, *shares, 2.0], [low, *values, high]


def _unsure(share: float) -> float:
    """Return the variance of the shape gathered on the way from rest to a share."""
    low, high = LINEAR
    linear = min(max(share - low, 0.0), high - low)
    return (_SHAPE_LINEAR**2 * linear + _SHAPE**2 * (share - linear)) * _STRETCH


@dataclass(frozen=True)
class CurveFit:
    """A curve and the rate that goes with it.

    Attributes:
        curve: the shape.
        rate: k [N/m], from wire and coils and from the squeezes, each by its doubt.
        by_squeezes: the rate of the squeezes in the linear range alone [N/m].
        weight: how much of ``rate`` the squeezes are, 0 to 1.
        u_by_squeezes: standard uncertainty of the squeezes' own rate [N/m]: the scale's.
        u_length: of a length under load [m]: it shifts the whole curve.
    """

    curve: SpringCurve
    rate: float
    by_squeezes: float
    weight: float
    u_by_squeezes: float
    u_length: float


def fit_curve(
    squeezes: Sequence[Squeeze], free_length: float, solid_length: float, rate: float, u_rate: float
) -> CurveFit:
    """Fit a curve that never falls to squeezes, with the rate as what is known before.

    The squeezes within ``LINEAR`` give a rate, which is averaged with ``rate`` by their doubts: one
    scale and one caliper made all of them, so no doubt shrinks with their number. In units of that
    rate all squeezes, and v = s in the linear range where none is near, are pooled until none
    falls and joined by monotone cubics; from the last to solid the slope goes on, at least k.

    Args:
        squeezes: two or more; one with no force is the free length then, in the place of
            ``free_length``.
        free_length, solid_length: of that spring as it was squeezed [m].
        rate, u_rate: k by wire and coils and its standard uncertainty [N/m].

    Range: from rest to solid. Raises: RangeError (``curve``): fewer than two squeezes with a
    force, none in the linear range, a length beyond solid or not below the free length, a force
    that falls by more than its doubt. Source: [1], [2].

    >>> pressed = [Squeeze(9.1e-3, 33.0), Squeeze(8.6e-3, 48.5), Squeeze(8.2e-3, 66.0)]
    >>> fit = fit_curve(pressed, 10.2e-3, 8.0e-3, 30.6e3, 1.2e3)
    >>> round(fit.rate), round(fit.curve.at(0.5), 3), round(fit.curve.at(2.0 / 2.2), 3)
    (30000, 0.5, 1.0)
    """
    for each in squeezes:
        positive("curve", each.length)
        not_negative("curve", each.force)
    free = next((each.length for each in squeezes if each.force == 0), free_length)
    pressed = sorted((each for each in squeezes if each.force > 0), key=lambda each: -each.length)
    room = positive("free_length", free) - positive("solid_length", solid_length)
    _can_be(pressed, free, solid_length, rate)
    u_length = math.sqrt(sum(each.u_length**2 for each in pressed) / len(pressed))
    by_squeezes, u_force, way = _linear(pressed, free, room)
    u_squeezed = math.hypot(u_force, by_squeezes * u_length / way)
    weight = 1.0
    if u_squeezed > 0:
        weight = u_rate**2 / (u_rate**2 + u_squeezed**2)
    knots = _knots(pressed, free, room, by_squeezes, u_rate / rate)
    pieces = cubic_pieces(knots)
    measured = tuple(sorted({(free - each.length) / room for each in pressed}))
    curve = SpringCurve(pieces, tuple(x for x, *_ in pieces), measured)
    mean = (1 - weight) * rate + weight * by_squeezes
    return CurveFit(curve, finite_result("rate", mean), by_squeezes, weight, u_force, u_length)


def _can_be(pressed: Sequence[Squeeze], free: float, solid: float, rate: float) -> None:
    if len(pressed) < 2:
        raise RangeError("curve", len(pressed), "needs at least two squeezes with a force")
    for each in pressed:
        if not solid < each.length < free:
            raise RangeError(
                "curve",
                each.length,
                f"has {each.length * 1e3:g} mm, which is not between solid ({solid * 1e3:g} mm) "
                f"and the free length ({free * 1e3:g} mm)",
            )
    for longer, shorter in pairwise(pressed):
        doubt = math.hypot(
            longer.u_force, shorter.u_force, rate * longer.u_length, rate * shorter.u_length
        )
        if shorter.length < longer.length and shorter.force < longer.force - _FALLS * doubt:
            raise RangeError(
                "curve",
                shorter.force,
                f"falls from {longer.force:.3g} N to {shorter.force:.3g} N where the spring is "
                f"squeezed on to {shorter.length * 1e3:g} mm: look at both readings",
            )
    low, high = LINEAR
    if not any(low <= (free - each.length) / (free - solid) <= high for each in pressed):
        raise RangeError(
            "curve",
            len(pressed),
            f"needs a squeeze between {(free - low * (free - solid)) * 1e3:.2f} and "
            f"{(free - high * (free - solid)) * 1e3:.2f} mm, where a spring has one rate",
        )


def _linear(pressed: Sequence[Squeeze], free: float, room: float) -> tuple[float, float, float]:
    """Return the squeezes' rate, its uncertainty from the forces, and the middle way of them."""
    low, high = LINEAR
    held = [e for e in pressed if low <= (free - e.length) / room <= high]
    way = sum(free - each.length for each in held) / len(held)
    force = sum(each.force for each in held) / len(held)
    u = math.sqrt(sum(each.u_force**2 for each in held) / len(held))
    return force / way, u / way, way


def _knots(
    pressed: Sequence[Squeeze], free: float, room: float, rate: float, u_prior: float
) -> list[tuple[float, float]]:
    """Return share and force above the least slope, never falling, from rest to solid."""
    full = rate * room
    told: dict[float, tuple[float, float]] = {}
    for each in pressed:
        share, value = (free - each.length) / room, each.force / full
        u = max(math.hypot(each.u_force / full, each.u_length / room), 1e-6)
        before, heavy = told.get(share, (0.0, 0.0))
        weight = 1 / u**2
        told[share] = ((before * heavy + value * weight) / (heavy + weight), heavy + weight)
    shares = tuple(told)
    for share in _PRIOR_AT:
        if all(abs(share - each) > _NEAR for each in shares):
            told[share] = (share, 1 / max(u_prior * share, 1e-6) ** 2)
    told[0.0] = (0.0, _SURE * max(weight for _, weight in told.values()))
    at = sorted(told)
    above = rising(
        [told[share][0] - _LEAST_SLOPE * share for share in at], [told[share][1] for share in at]
    )
    above = [max(value, 0.0) for value in above]
    last = (above[-1] - above[-2]) / (at[-1] - at[-2])
    end = above[-1] + max(last, 1 - _LEAST_SLOPE) * (1 - at[-1])
    return [*zip(at, above, strict=True), (1.0, end)]
