"""A curve through points without overshoot between them: monotone piecewise cubics.

References:
    [1] F. N. Fritsch and R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer.
        Anal. 17 (1980) 238-246.
    [2] F. N. Fritsch and J. Butland, A method for constructing local monotone piecewise cubic
        interpolants, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304: the slope rule used here.
    [3] R. E. Barlow et al., Statistical Inference under Order Restrictions, 1972: pooling adjacent
        violators (recalled).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

__all__ = ["Piece", "cubic_pieces", "rising"]

Piece = tuple[float, float, float, float, float]
"""Start and the cubic's coefficients c0..c3 in the distance from it."""


def cubic_pieces(knots: Sequence[tuple[float, float]]) -> tuple[Piece, ...]:
    r"""Return the pieces through two or more knots (x, y), x rising from knot to knot.

    Piecewise cubic Hermite; inside, the slope is the weighted harmonic mean of the neighbouring
    secants (zero at a turning point), at the ends a one-sided three-point rule held to the
    monotone region [1]_ [2]_:

    .. math:: \frac{w_1 + w_2}{d_i} = \frac{w_1}{\delta_{i-1}} + \frac{w_2}{\delta_i}, \quad
              w_1 = 2 h_i + h_{i-1}, \; w_2 = h_i + 2 h_{i-1}

    >>> cubic_pieces([(0.0, 0.0), (2.0, 1.0)])
    ((0.0, 0.0, 0.5, 0.0, 0.0),)
    """
    widths = [x1 - x0 for (x0, _), (x1, _) in pairwise(knots)]
    secants = [(y1 - y0) / (x1 - x0) for (x0, y0), (x1, y1) in pairwise(knots)]
    slopes = _slopes(widths, secants)
    return tuple(
        (
            x,
            y,
            slopes[i],
            (3 * secants[i] - 2 * slopes[i] - slopes[i + 1]) / widths[i],
            (slopes[i] + slopes[i + 1] - 2 * secants[i]) / widths[i] ** 2,
        )
        for i, (x, y) in enumerate(knots[:-1])
    )


def rising(values: Sequence[float], weights: Sequence[float]) -> list[float]:
    """Return the values that never fall and are nearest to these, by weighted least squares.

    Neighbours that fall are pooled to their weighted mean until none does [3]_.

    >>> rising([1.0, 3.0, 2.0, 4.0], [1.0, 1.0, 1.0, 1.0])
    [1.0, 2.5, 2.5, 4.0]
    """
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        count = 1
        while blocks and blocks[-1][0] > value:
            before, heavy, more = blocks.pop()
            value = (before * heavy + value * weight) / (heavy + weight)
            weight, count = heavy + weight, count + more
        blocks.append((value, weight, count))
    return [value for value, _, count in blocks for _ in range(count)]


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
