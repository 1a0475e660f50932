"""Will it last: the size of a wearing part forecast over run time, with honest doubt.

Both laws of wear stay in play, weighted by how well they explain the readings; a part can only
wear, never grow. The forecast is a fixed set of possible futures drawn from the joint belief in
law, start, rate and scatter, so every answer (interval, chance, minutes left) comes from the same
futures and they can never contradict each other. The same readings always give the same answer.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.inference.kinds import (
    Estimate,
    KindPrior,
    distinct_minutes,
    learn_kind,
    mean_before,
    split_run_in,
)
from pitwright.inference.outlook import (
    ChangePlan,
    Forecast,
    Futures,
    Interval,
    change_plan,
    earliest,
)
from pitwright.inference.wear_laws import (
    LAWS,
    LINEAR,
    LOG_TIME,
    LawFit,
    Reading,
    Row,
    fit_law,
    rows_of,
)
from pitwright.student import t_cdf

__all__ = [
    "ChangePlan",
    "Estimate",
    "Forecast",
    "Interval",
    "KindPrior",
    "Reading",
    "Unknown",
    "change_plan",
    "earliest",
    "forecast",
    "learn_kind",
]

_DRAWS = 4000
_DRAW_STREAM = 20260516
_ENOUGH_RUN_TIMES = 3
_HARDLY_WEARS = 0.02


@dataclass(frozen=True, slots=True)
class Unknown:
    """No forecast: why, and after how many more checks there may be one."""

    reason: str
    more_checks: int


def forecast(readings: Sequence[Reading], kind: KindPrior | None = None) -> Forecast | Unknown:
    """Forecast a wearing part from its readings and, when given, from earlier parts of its kind.

    Readings before run-in show the run-in drop and do not bend the law; a reading at zero minutes
    that lies clearly above a later one at zero minutes is taken as such. Without earlier parts it
    takes run-in readings at three run times: fewer cannot tell a law, and an Unknown says so.
    Range: falling sizes; turn the sign of a growing one. Source: conjugate linear model with laws
    averaged by their evidence (Gelman et al., Bayesian Data Analysis, 3rd ed., 7.4 and 14,
    recalled); shrinkage to earlier parts by `kinds.pool`.
    """
    readings, notes = split_run_in(readings)
    after = [r for r in readings if r.run_in]
    before = mean_before(readings)
    missing = _missing(readings, after, before, kind)
    if missing is not None:
        return missing
    last = max((r.minutes for r in after), default=0.0)
    fits: list[LawFit] = []
    logs: list[float] = []
    for i, law in enumerate(LAWS):
        rows = rows_of(after, law)
        log_weight = math.log(law.share)
        if kind is not None:
            rate, drop = kind.rates[i], kind.drops[i]
            rows.append(Row(0.0, 1.0, -rate.value, rate.u))
            log_weight += kind.log_shares[i]
            if drop is not None and before is not None:
                rows.append(Row(1.0, 0.0, before.value - drop.value, math.hypot(before.u, drop.u)))
        fit = fit_law(law, rows, None if kind is not None else last)
        if fit is not None:
            fits.append(fit)
            logs.append(log_weight + fit.log_evidence + math.log(max(_wears(fit), 1e-12)))
    if not fits:
        return Unknown("the readings lie too close together in run time to show any wear", 1)
    top = max(logs)
    raw = [math.exp(x - top) for x in logs]
    weights = [w / math.fsum(raw) for w in raw]
    linear = math.fsum(w for w, f in zip(weights, fits, strict=True) if f.law.name == LINEAR)
    if math.fsum(w * _wears(f) for w, f in zip(weights, fits, strict=True)) < _HARDLY_WEARS:
        notes.append("the readings grow instead of wearing: check the tool's zero")
    if kind is not None:
        plural = "part" if kind.count == 1 else "parts"
        notes.append(f"leans on {kind.count} earlier {plural} of this kind")
    return Forecast(
        law=LINEAR if linear >= 0.5 else LOG_TIME,
        linear_weight=linear,
        n=len(after),
        last_minutes=last,
        u=_typical_u(readings),
        kind_count=0 if kind is None else kind.count,
        kind_weight=_kind_weight(fits, weights, kind),
        run_in_drop=_drop(before, fits, weights) if after else None,
        notes=tuple(notes),
        fits=tuple(fits),
        weights=tuple(weights),
        futures=_draw(fits, weights),
    )


def _missing(
    readings: Sequence[Reading],
    after: Sequence[Reading],
    before: Estimate | None,
    kind: KindPrior | None,
) -> Unknown | None:
    """Say what cannot be known yet, None when a forecast can be made."""
    if not readings:
        return Unknown("no reading yet", 1 if kind is not None else _ENOUGH_RUN_TIMES)
    times = distinct_minutes(after)
    if kind is not None:
        if times or (before is not None and all(d is not None for d in kind.drops)):
            return None
        return Unknown("not yet read after run-in, and its run-in drop is not known", 1)
    more = _ENOUGH_RUN_TIMES - times
    if times == 0:
        return Unknown("not yet read after run-in: nothing is known of its wear", more)
    if times == 1:
        return Unknown("one run time shows where it is, not how fast it wears", more)
    if times == 2:
        return Unknown("two run times cannot tell steady wear from settling that slows down", more)
    return None


def _wears(fit: LawFit) -> float:
    """Return the probability that the fitted rate is a wear, not a growth."""
    return t_cdf(fit.rate / math.sqrt(fit.scale2 * fit.var_rate), fit.dof)


def _typical_u(readings: Sequence[Reading]) -> float:
    return math.sqrt(math.fsum(r.u**2 for r in readings) / len(readings))


def _kind_weight(fits: Sequence[LawFit], weights: Sequence[float], kind: KindPrior | None) -> float:
    """Return the share of earlier parts in what is known of the rate."""
    if kind is None:
        return 0.0
    prior = {law.t0: rate.u**2 for law, rate in zip(LAWS, kind.rates, strict=True)}
    return math.fsum(
        w * min(1.0, f.var_rate / prior[f.law.t0]) for w, f in zip(weights, fits, strict=True)
    )


def _drop(
    before: Estimate | None, fits: Sequence[LawFit], weights: Sequence[float]
) -> Estimate | None:
    if before is None:
        return None
    start = math.fsum(w * f.start for w, f in zip(weights, fits, strict=True))
    var = math.fsum(
        w * (f.scale2 * f.var_start + (f.start - start) ** 2)
        for w, f in zip(weights, fits, strict=True)
    )
    return Estimate(before.value - start, math.sqrt(var + before.u**2))


def _draw(fits: Sequence[LawFit], weights: Sequence[float]) -> tuple[Futures, ...]:
    """Draw possible futures from the belief in every law, as many as its weight earns."""
    import numpy as np

    rng = np.random.default_rng(_DRAW_STREAM)
    futures = []
    for fit, weight in zip(fits, weights, strict=True):
        count = round(weight * _DRAWS)
        if count == 0:
            continue
        width = math.sqrt(fit.var_rate)
        chance = _wears(fit)
        tries = math.ceil(count / max(chance, _HARDLY_WEARS) * 1.3) + 200
        scale = np.sqrt(fit.scale2 * fit.dof / rng.chisquare(fit.dof, tries))
        rate = fit.rate + scale * width * rng.standard_normal(tries)
        kept = np.flatnonzero(rate > 0.0)[:count]
        if kept.size < count:
            # far in the tail a normal falls off exponentially from its cut
            scale, kept = scale[:count], np.arange(count)
            fall = (scale * width) ** 2 / max(abs(fit.rate), width)
            rate = fall * rng.standard_exponential(count)
        scale, rate = scale[kept], rate[kept]
        rest = math.sqrt(max(0.0, fit.var_start - fit.cov**2 / fit.var_rate))
        start = fit.start + fit.cov / fit.var_rate * (rate - fit.rate)
        start = start + scale * rest * rng.standard_normal(count)
        futures.append(Futures(fit, start, rate, scale))
    return tuple(futures)
