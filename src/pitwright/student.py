"""Normal and Student-t probabilities without numpy: a leaf that metrology and inference share.

Beside them the sum of a Student-t and a rectangular error, which is what a few readings of a tool
with a stated limit of error leave. They are wanted at every key stroke, long before anything heavy
is imported, and with fractional degrees of freedom (Welch-Satterthwaite gives those), which tables
do not carry.
"""

import math
from functools import lru_cache
from statistics import NormalDist

_NORMAL = NormalDist()
_LARGE_DOF = 1e7  # beyond this t and normal agree to better than 1e-7
_TINY = 1e-300


def normal_cdf(z: float) -> float:
    """Return P(Z <= z) of the standard normal, accurate in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def normal_quantile(p: float) -> float:
    """Return z with P(Z <= z) = p, for 0 < p < 1. Raises ValueError outside that."""
    if not 0.0 < p < 1.0:
        raise ValueError(f"probability must lie between 0 and 1, got {p}")
    return _NORMAL.inv_cdf(p)


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Evaluate the continued fraction of the incomplete beta function (modified Lentz)."""
    c = 1.0
    d = 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    h = d
    for m in range(1, 20_000):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0)),
        ):
            d = 1.0 + numerator * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + numerator / c
            c = c if abs(c) > _TINY else _TINY
            step = c * d
            h *= step
        if abs(step - 1.0) < 1e-15:
            break
    return h


def regularized_beta(a: float, b: float, x: float, rest: float | None = None) -> float:
    """Return I_x(a, b), the regularized incomplete beta function, for a, b > 0 and 0 <= x <= 1.

    ``rest`` is 1 - x, for a caller who knows it to more digits than the difference keeps.
    Source: DLMF 8.17.22 (continued fraction) and 8.17.4 (symmetry).
    """
    if rest is None:
        rest = 1.0 - x
    if x <= 0.0:
        return 0.0
    if rest <= 0.0:
        return 1.0
    # the logarithm of the larger one keeps its digits only by way of the smaller one
    log_x, log_rest = (
        (math.log(x), math.log1p(-x)) if x < rest else (math.log1p(-rest), math.log(rest))
    )
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * log_x + b * log_rest
    )
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _beta_fraction(a, b, x) / a
    return 1.0 - front * _beta_fraction(b, a, rest) / b


def t_cdf(t: float, dof: float) -> float:
    """Return P(T <= t) of Student's t with `dof` > 0 degrees of freedom (may be fractional or inf).

    The lower tail is computed as such, never as a difference, so it holds however far out.

    >>> round(t_cdf(12.706204736, 1), 6)
    0.975
    """
    if not dof > 0.0:
        raise ValueError(f"degrees of freedom must be above zero, got {dof}")
    if dof > _LARGE_DOF:
        return normal_cdf(t)
    square = t * t
    whole = dof + square
    tail = 0.5 * regularized_beta(0.5 * dof, 0.5, dof / whole, square / whole)
    return 1.0 - tail if t > 0.0 else tail


def t_density(t: float, dof: float) -> float:
    """Return the density of Student's t with `dof` > 0 degrees of freedom (may be inf)."""
    if dof > _LARGE_DOF:
        return math.exp(-0.5 * t * t) / math.sqrt(2.0 * math.pi)
    scale = math.lgamma(0.5 * (dof + 1.0)) - math.lgamma(0.5 * dof) - 0.5 * math.log(dof * math.pi)
    return math.exp(scale - 0.5 * (dof + 1.0) * math.log1p(t * t / dof))


def _tail_integral(z: float, dof: float, tail: float) -> float:
    """Return an antiderivative of the upper tail of t, which is `tail` at z."""
    if dof > _LARGE_DOF:
        return z * tail - t_density(z, dof)
    if abs(dof - 1.0) < 1e-6:
        return z * tail + math.log1p(z * z) / (2.0 * math.pi)
    return z * tail - (dof + z * z) / (dof - 1.0) * t_density(z, dof)


def t_rectangular_tail(x: float, scale: float, dof: float, half: float) -> float:
    """Return P(X > x) of X = scale * T + R: T Student's t with `dof`, R rectangular within +- half.

    In closed form, as the mean of the tail of t over the rectangle: the antiderivative of a tail Q
    with density f is z Q - (dof + z^2) f / (dof - 1), or z Q + ln(1 + z^2) / (2 pi) for one degree
    of freedom; differentiate to check. `scale` and `half` are zero or more, not both zero.

    >>> round(t_rectangular_tail(0.9, 0.0, 1, 1.0), 6)
    0.05
    """
    if half <= 1e-4 * scale:
        return t_cdf(-x / scale, dof)
    if scale <= 1e-4 * half:
        return min(1.0, max(0.0, 0.5 * (half - x) / half))
    low, high = (x - half) / scale, (x + half) / scale
    whole = _tail_integral(high, dof, t_cdf(-high, dof)) - _tail_integral(
        low, dof, t_cdf(-low, dof)
    )
    return min(1.0, max(0.0, 0.5 * whole * scale / half))


@lru_cache(maxsize=2048)
def t_rectangular_quantile(p: float, scale: float, dof: float, half: float) -> float:
    """Return x with P(scale * T + R <= x) = p, for 0.5 <= p < 1, as in `t_rectangular_tail`.

    It lies between the quantile of the scaled t and that plus `half`. Raises ValueError otherwise.

    >>> round(t_rectangular_quantile(0.95, 0.0, 1, 1.0), 3)
    0.9
    """
    if not 0.5 <= p < 1.0:
        raise ValueError(f"probability must lie between a half and 1, got {p}")
    low = scale * t_quantile(p, dof)
    high = low + half
    if half <= 1e-4 * scale:
        return low
    if scale <= 1e-4 * half:
        return (2.0 * p - 1.0) * half
    x = math.hypot(low, (2.0 * p - 1.0) * half)
    for _ in range(200):
        gap = t_rectangular_tail(x, scale, dof, half) - (1.0 - p)
        low, high = (x, high) if gap > 0.0 else (low, x)
        inside = t_cdf((x + half) / scale, dof) - t_cdf((x - half) / scale, dof)
        trial = x + 2.0 * half * gap / inside if inside > 0.0 else low
        if abs(trial - x) <= 1e-10 * max(x, half):
            return trial
        x = trial if low < trial < high else 0.5 * (low + high)
    return x


@lru_cache(maxsize=2048)
def t_quantile(p: float, dof: float) -> float:
    """Return t with P(T <= t) = p for 0 < p < 1 and `dof` > 0. Raises ValueError outside that.

    Solved on the lower tail by Newton steps kept inside a bracket, so it holds for one degree of
    freedom as for a million.

    >>> round(t_quantile(0.975, 1), 2)
    12.71
    """
    if not 0.0 < p < 1.0:
        raise ValueError(f"probability must lie between 0 and 1, got {p}")
    if not dof > 0.0:
        raise ValueError(f"degrees of freedom must be above zero, got {dof}")
    if dof > _LARGE_DOF:
        return normal_quantile(p)
    if p == 0.5:
        return 0.0
    if p > 0.5:
        return -t_quantile(1.0 - p, dof)
    z = normal_quantile(p)
    high = 0.0
    low = 2.0 * z - 1.0
    while t_cdf(low, dof) > p:
        high, low = low, 2.0 * low
    t = z + (z**3 + z) / (4.0 * dof)  # Cornish-Fisher, first term
    if not low < t < high:
        t = 0.5 * (low + high)
    for _ in range(200):
        gap = t_cdf(t, dof) - p
        if gap > 0.0:
            high = t
        else:
            low = t
        density = t_density(t, dof)
        trial = t - gap / density if density > 0.0 else low
        if abs(trial - t) <= 1e-11 * max(1.0, abs(t)):
            return trial
        if not low < trial < high:
            trial = 0.5 * (low + high)
        t = trial
    return t
