"""A straight line through measured points, with the uncertainty of what it says.

Equation: y = intercept + slope x, by least squares of y on x (x taken as free of error).

    slope     = Sxy / Sxx,     intercept = y_mean - slope x_mean
    u^2(slope) = s^2 / Sxx,    u^2(intercept) = s^2 (1/W + x_mean^2 / Sxx),
    u(intercept, slope) = -s^2 x_mean / Sxx

with weighted sums about the means, W the sum of weights. Without given uncertainties every weight
is 1 and s^2 is the residual sum over n - 2. With given standard uncertainties the weights are
1/u^2 and s^2 is 1, or the residual chi-square per degree of freedom where that is larger (the Birge
ratio), so that readings which disagree more than they claim do not look better than they are.

Sources:
    [1] JCGM 100:2008 (GUM), H.3 and 4.2.
    [2] R. T. Birge, Physical Review 40 (1932), 207: scaling by the ratio of external to internal
        consistency (recalled).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import RangeError, finite, finite_result, magnitude, positive


@dataclass(frozen=True)
class Line:
    """A fitted line. Units follow those of x and y.

    Attributes:
        intercept, slope: the line.
        u_intercept, u_slope: their standard uncertainties.
        covariance: of intercept and slope.
        residual_sd: standard deviation of the residuals, in y (None where no freedom is left).
        freedom: degrees of freedom, n - 2.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    residual_sd: float | None
    freedom: int

    def at(self, x: float) -> tuple[float, float]:
        """Give the line's y at ``x`` and its standard uncertainty (GUM eq. H.15)."""
        finite("x", x)
        variance = self.u_intercept**2 + x**2 * self.u_slope**2 + 2 * x * self.covariance
        u: float = (max(variance, 0 * variance)) ** 0.5
        return finite_result("y", self.intercept + self.slope * x), u


def fit_line(xs: Sequence[float], ys: Sequence[float], u_ys: Sequence[float] | None = None) -> Line:
    """Fit y = intercept + slope x.

    Args:
        xs: at least two different values.
        ys: as many readings.
        u_ys: their standard uncertainties; needed when there are only two points.

    Raises:
        RangeError: too few points, all x alike, lists of different length, a number not finite.

    Source: [1]. Example, GUM H.3 in its first, sixth and last row only:

    >>> line = fit_line([1.521, 3.999, 6.511], [-0.171, -0.165, -0.160])
    >>> round(line.slope, 5)
    0.0022
    """
    n = len(xs)
    if len(ys) != n or (u_ys is not None and len(u_ys) != n):
        raise RangeError("ys", len(ys), f"must have as many values as xs ({n})")
    if n < 2:
        raise RangeError("xs", n, "at least two points are needed for a line")
    if n == 2 and u_ys is None:
        raise RangeError("u_ys", None, "two points say nothing of their own scatter, so give it")
    for x, y in zip(xs, ys, strict=True):
        finite("xs", x)
        finite("ys", y)
    weights: Sequence[float] = [1.0] * n
    if u_ys is not None:
        weights = [1 / positive("u_ys", u) ** 2 for u in u_ys]
    total = sum(weights)
    x_mean = sum(w * x for w, x in zip(weights, xs, strict=True)) / total
    y_mean = sum(w * y for w, y in zip(weights, ys, strict=True)) / total
    s_xx = sum(w * (x - x_mean) ** 2 for w, x in zip(weights, xs, strict=True))
    spread = max(magnitude("xs", x) for x in xs) - min(magnitude("xs", x) for x in xs)
    size = max(abs(magnitude("xs", x)) for x in xs)
    if spread <= 1e-12 * size or magnitude("s_xx", s_xx) <= 0:
        raise RangeError("xs", spread, "all x are alike, so no slope can be told")
    s_xy = sum(w * (x - x_mean) * (y - y_mean) for w, x, y in zip(weights, xs, ys, strict=True))
    slope = s_xy / s_xx
    intercept = y_mean - slope * x_mean
    misses = [y - intercept - slope * x for x, y in zip(xs, ys, strict=True)]
    freedom = n - 2
    residual_sd: float | None = None
    scale = 1.0
    if freedom:
        residual_sd = (sum(miss**2 for miss in misses) / freedom) ** 0.5
        ratio = sum(w * miss**2 for w, miss in zip(weights, misses, strict=True)) / freedom
        scale = ratio if u_ys is None else max(1.0, magnitude("ratio", ratio))
    u_slope: float = (scale / s_xx) ** 0.5
    u_intercept: float = (scale * (1 / total + x_mean**2 / s_xx)) ** 0.5
    return Line(
        intercept=finite_result("intercept", intercept),
        slope=finite_result("slope", slope),
        u_intercept=finite_result("u_intercept", u_intercept),
        u_slope=finite_result("u_slope", u_slope),
        covariance=finite_result("covariance", -scale * x_mean / s_xx),
        residual_sd=residual_sd,
        freedom=freedom,
    )
