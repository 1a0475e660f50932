"""The two laws a wearing size may follow, fitted to readings of known uncertainty.

linear    L(t) = a - b t
log-time  L(t) = a - b ln(1 + t / t0)

Log-time sag of presetting springs is a fitted model: no coefficients are published for it
(EN 13906-1 shows curves only). So both laws stay in play, each with the weight that the readings
give it, and t0 is one of a few fixed times, averaged over likewise.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

# How far the stated uncertainty of readings is trusted: 12 degrees of freedom is a standard
# deviation known to 20 % (GUM G.4.2). The scatter seen in the readings is pooled with it.
TRUST_DOF = 12.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One check of a wearing part, any one unit.

    `minutes` run time of the part when it was read; `value` the size; `u` the standard uncertainty
    that varies between readings (scatter, resolution, zeroing) and not the tool's permissible
    error, which all readings share; `run_in` False when it was taken before the part was run in
    (a new spring before its few squeezes). Raises ValueError unless all are finite, minutes are
    not negative and u is above zero.
    """

    minutes: float
    value: float
    u: float
    run_in: bool = True

    def __post_init__(self) -> None:
        if not all(math.isfinite(x) for x in (self.minutes, self.value, self.u)):
            raise ValueError(f"a reading needs finite figures, got {self}")
        if self.minutes < 0.0 or self.u <= 0.0:
            raise ValueError(f"a reading needs minutes >= 0 and u > 0, got {self}")


@dataclass(frozen=True, slots=True)
class Law:
    """A law of wear: linear, or log-time with its time constant `t0` in minutes."""

    name: str
    t0: float | None
    share: float  # belief before any reading

    def progress(self, minutes: float) -> float:
        """Return g(t) in L = a - b g(t)."""
        return minutes if self.t0 is None else math.log1p(minutes / self.t0)


LINEAR = "linear"
LOG_TIME = "log-time"
_LOG_T0 = (2.0, 6.0, 20.0, 60.0)
LAWS: tuple[Law, ...] = (
    Law(LINEAR, None, 0.5),
    *(Law(LOG_TIME, t0, 0.5 / len(_LOG_T0)) for t0 in _LOG_T0),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the least squares: start * a - progress * b = target, give or take sd."""

    start: float
    progress: float
    target: float
    sd: float


@dataclass(frozen=True, slots=True)
class LawFit:
    """A weighted straight-line fit in g(t).

    `start` a and `rate` b with `var_start`, `var_rate`, `cov` for readings that scatter exactly as
    stated; `scale2` the factor on these variances with `dof` degrees of freedom; `chi2` the
    weighted squared residuals; `log_evidence` how well the law explains the rows.
    """

    law: Law
    start: float
    rate: float
    var_start: float
    var_rate: float
    cov: float
    chi2: float
    scale2: float
    dof: float
    log_evidence: float

    def at(self, minutes: float) -> float:
        """Return the fitted size after `minutes` of running."""
        return self.start - self.rate * self.law.progress(minutes)


def rows_of(readings: Sequence[Reading], law: Law) -> list[Row]:
    """Return the least-squares rows of run-in readings."""
    return [Row(1.0, law.progress(r.minutes), r.value, r.u) for r in readings]


def fit_law(law: Law, rows: Sequence[Row], span_minutes: float | None) -> LawFit | None:
    """Fit a and b; None when the rows do not determine both.

    Prior knowledge comes as extra rows. Where none speaks of the rate, give `span_minutes`: the
    evidence then takes a flat belief in the wear over that span, so that laws with different units
    of b compare on equal terms. The scatter scale has a scaled-inverse-chi-squared belief around 1
    with TRUST_DOF.
    Source: Gelman et al., Bayesian Data Analysis, 3rd ed., 14.2 and 14.8 (recalled).
    """
    s = sx = sxx = sy = sxy = 0.0
    centre = rows[0].target if rows else 0.0  # keeps digits when sizes are large beside wear
    for row in rows:
        w = 1.0 / row.sd**2
        y = row.target - row.start * centre
        s += w * row.start**2
        sx += w * row.start * row.progress
        sxx += w * row.progress**2
        sy += w * row.start * y
        sxy += w * row.progress * y
    det = s * sxx - sx * sx
    if not det > 1e-12 * max(s * sxx, 1e-300):
        return None
    start = (sxx * sy - sx * sxy) / det
    rate = -(s * sxy - sx * sy) / det
    chi2 = math.fsum(
        ((row.target - row.start * (start + centre) + row.progress * rate) / row.sd) ** 2
        for row in rows
    )
    spare = len(rows) - 2
    dof = TRUST_DOF + spare
    evidence = (
        -math.fsum(math.log(row.sd) for row in rows)
        - 0.5 * math.log(det)
        + (math.log(law.progress(span_minutes)) if span_minutes else 0.0)
        - 0.5 * dof * math.log1p(chi2 / TRUST_DOF)
    )
    return LawFit(
        law=law,
        start=start + centre,
        rate=rate,
        var_start=sxx / det,
        var_rate=s / det,
        cov=sx / det,
        chi2=chi2,
        scale2=(TRUST_DOF + chi2) / dof,
        dof=dof,
        log_evidence=evidence,
    )
