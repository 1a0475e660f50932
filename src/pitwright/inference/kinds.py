"""What earlier parts of the same kind teach about a young one (empirical Bayes)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.inference.wear_laws import LAWS, LawFit, Reading, fit_law, rows_of

# Until enough parts are seen, parts of a kind are taken to differ by these fractions of their
# mean: common practice, no source. They count as two parts' worth of knowledge.
_RATE_SPREAD = 0.4
_DROP_SPREAD = 0.5
_SPREAD_DOF = 2.0
_SMALLEST_SPREAD = 0.05
_RUN_IN_SIGMAS = 3.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class KindPrior:
    """What a kind of part does, as expected of the next one of it.

    `count` how many earlier parts spoke; `rates` the rate for each of LAWS; `log_shares` how much
    more likely each law became; `drops` the run-in drop for each law (None: never seen).
    """

    count: int
    rates: tuple[Estimate, ...]
    log_shares: tuple[float, ...]
    drops: tuple[Estimate | None, ...]


def split_run_in(readings: Sequence[Reading]) -> tuple[list[Reading], list[str]]:
    """Order readings and mark those clearly above a later one at zero minutes as before run-in.

    Returns them with a note for each so marked. Readings at the same run time keep their order.
    """
    readings = sorted(readings, key=lambda r: r.minutes)
    out: list[Reading] = []
    notes: list[str] = []
    for i, r in enumerate(readings):
        later = [x for x in readings[i + 1 :] if x.minutes == 0.0 and x.run_in]
        if (
            r.run_in
            and r.minutes == 0.0
            and later
            and all(r.value - x.value > _RUN_IN_SIGMAS * math.hypot(r.u, x.u) for x in later)
        ):
            out.append(Reading(r.minutes, r.value, r.u, run_in=False))
            notes.append(f"{r.value:.5g} at zero minutes is taken as before run-in")
        else:
            out.append(r)
    return out, notes


def distinct_minutes(readings: Sequence[Reading]) -> int:
    """Count the different run times at which a run-in part was read."""
    return len({r.minutes for r in readings if r.run_in})


def mean_before(readings: Sequence[Reading]) -> Estimate | None:
    """Return the weighted mean of the readings before run-in, None without any."""
    before = [r for r in readings if not r.run_in]
    if not before:
        return None
    weight = math.fsum(1.0 / r.u**2 for r in before)
    value = math.fsum(r.value / r.u**2 for r in before) / weight
    return Estimate(value, 1.0 / math.sqrt(weight))


def pool(found: Sequence[Estimate], spread: float) -> Estimate:
    """Return what the next part of a kind is expected to show, from parts already seen.

    Random effects: the spread between parts by the moments of DerSimonian and Laird (1986,
    recalled), drawn towards `spread` times the mean, which counts as two parts.
    """
    k = len(found)
    weights = [1.0 / e.u**2 for e in found]
    total = math.fsum(weights)
    mean = math.fsum(w * e.value for w, e in zip(weights, found, strict=True)) / total
    between = 0.0
    if k > 1:
        q = math.fsum(w * (e.value - mean) ** 2 for w, e in zip(weights, found, strict=True))
        c = total - math.fsum(w * w for w in weights) / total
        between = max(0.0, (q - (k - 1.0)) / c)
    assumed = (spread * mean) ** 2
    between = ((k - 1.0) * between + _SPREAD_DOF * assumed) / (k - 1.0 + _SPREAD_DOF)
    weights = [1.0 / (e.u**2 + between) for e in found]
    total = math.fsum(weights)
    mean = math.fsum(w * e.value for w, e in zip(weights, found, strict=True)) / total
    return Estimate(mean, math.hypot(math.sqrt(between + 1.0 / total), _SMALLEST_SPREAD * mean))


def learn_kind(parts: Sequence[Sequence[Reading]]) -> KindPrior | None:
    """Learn from earlier parts of one kind; None when none was read at two run times or more.

    Each part is a sequence of readings; run times that lie too close together to show any wear
    count as one. Parts of one kind are taken to follow one law, so what they say for or against a
    law adds up; only parts read at three or more run times have a say. Readings before run-in are
    told apart as ``split_run_in`` does.
    """
    read = [split_run_in(part)[0] for part in parts if distinct_minutes(part) >= 2]
    # A part that leaves some law open would speak for the others alone.
    usable = [(part, fits) for part in read if (fits := _fits(part)) is not None]
    if not usable:
        return None
    rates: list[Estimate] = []
    drops: list[Estimate | None] = []
    shares: list[float] = []
    for i in range(len(LAWS)):
        told = [(part, fits[i]) for part, fits in usable]
        slopes = [Estimate(f.rate, math.sqrt(f.scale2 * f.var_rate)) for _, f in told]
        falls = [fall for part, f in told if (fall := _drop(part, f)) is not None]
        rates.append(pool(slopes, _RATE_SPREAD))
        drops.append(pool(falls, _DROP_SPREAD) if falls else None)
        shares.append(math.fsum(f.log_evidence for part, f in told if distinct_minutes(part) >= 3))
    return KindPrior(len(usable), tuple(rates), tuple(shares), tuple(drops))


def _fits(part: Sequence[Reading]) -> list[LawFit] | None:
    """Return the fit of each of LAWS, None when one of them cannot be told from the readings."""
    after = [r for r in part if r.run_in]
    last = max(r.minutes for r in after)
    fits = [fit for law in LAWS if (fit := fit_law(law, rows_of(after, law), last)) is not None]
    return fits if len(fits) == len(LAWS) else None


def _drop(part: Sequence[Reading], fit: LawFit) -> Estimate | None:
    before = mean_before(part)
    if before is None:
        return None
    return Estimate(before.value - fit.start, math.hypot(before.u, math.sqrt(fit.var_start)))
