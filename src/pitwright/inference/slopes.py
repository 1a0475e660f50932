"""Theil-Sen slope with Sen's interval."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FEWEST_FOR_INTERVAL = 8
"""Below this Sen's normal approximation promises more than it holds, so no interval is given."""


@dataclass(frozen=True)
class Slope:
    """A slope with the interval it is believed to lie in (None when too few points)."""

    value: float
    low: float | None
    high: float | None
    confidence: float
    points: int


def theil_sen(
    x: "Sequence[float] | NDArray[np.float64]",
    y: "Sequence[float] | NDArray[np.float64]",
    confidence: float = 0.95,
) -> Slope | None:
    """Median of the slopes of all pairs of points, with Sen's confidence interval.

    Valid for points that are independent about the line; laps that lean on their neighbours make
    the true interval somewhat wider. Points of equal x make no pair. Returns None when no pair is
    left. No interval with fewer than eight points, or where the rank it needs does not exist.

    Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389; ties as in M. G. Kendall,
    Rank Correlation Methods.
    Raises ValueError when x and y differ in length or a value is not finite.

    >>> theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]).value
    4.0
    """
    import numpy as np

    if not 0.0 < confidence < 1.0:
        raise ValueError("confidence must lie between 0 and 1")
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.shape != ys.shape or xs.ndim != 1:
        raise ValueError("x and y must be equally long")
    if not (np.isfinite(xs).all() and np.isfinite(ys).all()):
        raise ValueError("x and y must be finite")
    n = int(xs.size)
    if n < 2:
        return None
    first, second = _pairs(n)
    # In place: the pairs of 300 laps are 45 000, and their copies cost more than the arithmetic.
    slopes, run = np.take(ys, second), np.take(xs, second)
    slopes -= np.take(ys, first)
    run -= np.take(xs, first)
    if not run.all():
        slopes, run = slopes[run != 0.0], run[run != 0.0]
    slopes /= run
    count = int(slopes.size)
    if count == 0:
        return None
    sigma = math.sqrt(max(_score_variance(xs, ys), 0.0))
    reach = NormalDist().inv_cdf(0.5 + confidence / 2.0) * sigma
    lower, upper = round((count - reach) / 2.0) - 1, round((count + reach) / 2.0)
    wanted = n >= FEWEST_FOR_INTERVAL and lower >= 0 and upper < count
    middle = [(count - 1) // 2, count // 2]
    slopes.partition(sorted({*middle, *([lower, upper] if wanted else [])}))
    value = float(slopes[middle[0]] + slopes[middle[1]]) / 2.0
    if not wanted:
        return Slope(value, None, None, confidence, n)
    return Slope(value, float(slopes[lower]), float(slopes[upper]), confidence, n)


@lru_cache(maxsize=8)
def _pairs(n: int) -> "tuple[NDArray[np.intp], NDArray[np.intp]]":
    import numpy as np

    first, second = np.triu_indices(n, 1)
    return first, second


def _score_variance(xs: "NDArray[np.float64]", ys: "NDArray[np.float64]") -> float:
    """Variance of Kendall's score under no trend, allowing for ties in x and in y."""
    import numpy as np

    n = float(xs.size)
    t = np.unique(xs, return_counts=True)[1].astype(float)
    u = np.unique(ys, return_counts=True)[1].astype(float)
    total = n * (n - 1) * (2 * n + 5)
    for ties in (t, u):
        total -= float(np.sum(ties * (ties - 1) * (2 * ties + 5)))
    variance = total / 18.0
    pairs = float(np.sum(t * (t - 1))) * float(np.sum(u * (u - 1)))
    variance += pairs / (2.0 * n * (n - 1))
    if n > 2:
        triples = float(np.sum(t * (t - 1) * (t - 2))) * float(np.sum(u * (u - 1) * (u - 2)))
        variance += triples / (9.0 * n * (n - 1) * (n - 2))
    return variance
