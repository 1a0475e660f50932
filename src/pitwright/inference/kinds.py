"""What earlier parts of the same kind teach about a young one, by a hierarchy.

Parts of a kind share a home curve, which each follows or strays from; the logarithms of their wear
scatter about the kind's own by a spread that is learnt too, from the parts themselves. How far a
part of the kind departs from every curve, and how far readings scatter, are learnt with it.
Source: hierarchical models in Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 5 (recalled).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from pitwright.inference.readings import (
    Estimate,
    Reading,
    distinct_minutes,
    mean_before,
    split_run_in,
)
from pitwright.inference.wear_belief import Evidence, cells_of, log_odds, weigh
from pitwright.inference.wear_priors import (
    HYPER,
    HYPER_BELIEF,
    alone_tables,
    scatter_belief,
    wear_belief,
)
from pitwright.inference.wear_shapes import SHAPES, beliefs, curves, likeness

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Until parts are seen, the run-in drops of a kind are taken to differ by this fraction, the sizes
# of new ones by that: common practice, no source. They count as two parts' worth of knowledge.
_DROP_SPREAD = 0.5
_START_SPREAD = 0.005
_SPREAD_DOF = 2.0
_SMALLEST_SPREAD = 0.05
# Spreads of the wear of a kind [in log wear] that are thought of, and the belief in each.
_SPREADS = (0.1, 0.2, 0.35, 0.6, 1.0)
_SPREAD_BELIEF = (0.2, 0.3, 0.3, 0.15, 0.05)
# No more cells than keep products of matrices so small that they are not shared out to threads,
# whose waiting takes longer than the sum.
_STEP = 0.1
_CELLS = 120


@dataclass(frozen=True)
class KindPrior:
    """What a kind of part does, as expected of the next one of it.

    `count` how many earlier parts spoke; `minutes` their reference time; `start` the size after
    run-in and `drop` the run-in drop (None: never seen). `log_wear` (curves, cells) is the log
    density in log wear up to the reference time, whose first cell is at `least`; `departures` the
    belief in each typical departure by kind of it; `scatter` what is learnt of the scatter.
    """

    count: int
    minutes: float
    start: Estimate
    drop: Estimate | None
    least: float
    log_wear: "Floats" = field(repr=False, compare=False)
    departures: "Floats" = field(repr=False, compare=False)
    scatter: "Floats" = field(repr=False, compare=False)

    def wear_belief(self, curve: "NDArray[np.intp]", wear: "Floats") -> "Floats":
        """Log density in log wear of curves (pairs) at wears (pairs, nodes)."""
        import numpy as np

        at = np.clip((np.log(wear) - math.log(self.least)) / _STEP, 0.0, _CELLS - 1.000001)
        cell = at.astype(np.intp)
        part = at - cell
        rows = curve[:, None]
        out: Floats = (1.0 - part) * self.log_wear[rows, cell] + part * self.log_wear[
            rows, cell + 1
        ]
        return out

    @property
    def wear_spread(self) -> float:
        """Standard deviation of the log of the wear expected of the next part."""
        import numpy as np

        mass = np.exp(self.log_wear).sum(axis=0)
        mass = mass / mass.sum()
        x = _STEP * np.arange(_CELLS)
        mean = float(mass @ x)
        return math.sqrt(float(mass @ (x - mean) ** 2))


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
    least = _SMALLEST_SPREAD * spread * mean
    return Estimate(mean, math.hypot(math.sqrt(between + 1.0 / total), least))


def learn_kind(parts: Sequence[Sequence[Reading]], until: float = 0.0) -> KindPrior | None:
    """Learn from earlier parts of one kind; None when none was read at two run times or more.

    Each part is a sequence of readings. Readings before run-in are told apart as ``split_run_in``
    does. `until`: minutes to which the part has run that is to be forecast; without it, curves
    told apart only up to the last reading of its kin would be drawn out far beyond.
    """
    read = [split_run_in(part)[0] for part in parts if distinct_minutes(part) >= 2]
    if not read:
        return None
    reference = max(until, *(r.minutes for part in read for r in part if r.run_in))
    afters = [tuple(r for r in part if r.run_in) for part in read]
    told = [_told(after, reference) for after in afters]
    least = min(t.unit for t in told) * 0.01
    starts = [t.start for t in told]
    drops = [
        Estimate(before.value - t.start.value, math.hypot(before.u, t.start.u))
        for part, t in zip(read, told, strict=True)
        if (before := mean_before(part)) is not None
    ]
    return KindPrior(
        count=len(told),
        minutes=reference,
        start=pool(starts, _START_SPREAD),
        drop=pool(drops, _DROP_SPREAD) if drops else None,
        least=least,
        log_wear=_next_wear([t.on_cells(least) for t in told], least / told[0].unit),
        departures=_next_departures([t.departures for t in told]),
        scatter=_next_scatter([t.scatter for t in told]),
    )


@dataclass(frozen=True)
class _Told:
    """What one part says: likelihoods of wear by curve, of departures, of scatter; its start."""

    unit: float
    start: Estimate
    curve: "NDArray[np.intp]"
    log_wear: "Floats"
    mass: "Floats"
    departures: "Floats"
    scatter: "Floats"

    def on_cells(self, least: float) -> "Floats":
        """Likelihood mass by curve and cell of log wear."""
        import numpy as np

        at = np.clip((self.log_wear - math.log(least)) / _STEP, 0.0, _CELLS - 1.000001)
        cell = at.astype(np.intp)
        part = at - cell
        place = self.curve[:, None] * _CELLS + cell
        size = len(SHAPES) * _CELLS
        near = ((1.0 - part) * self.mass).ravel()
        out: Floats = np.bincount(place.ravel(), near, size).astype(float)
        out += np.bincount(place.ravel() + 1, (part * self.mass).ravel(), size)
        return out.reshape(len(SHAPES), _CELLS)


@lru_cache(maxsize=256)
def _told(after: tuple[Reading, ...], reference: float) -> _Told:
    """Weigh one part: cached, since every other part of the kind asks for the same."""
    import numpy as np

    found = weigh(after, reference)
    odds = np.array([log_odds(h) for h in found.models.hypotheses])[found.models.of]
    log = (
        found.log
        + (np.log(found.width) + odds[found.model][:, None])[:, :, None]
        + scatter_belief()
    )
    each = np.exp(log - log.max())
    cells = cells_of(found)
    none = found.models.level[found.model] == 0.0
    kind = found.models.kind[found.model]
    departures = np.zeros((2, len(HYPER)))
    both = np.zeros_like(each)
    for i, (belief, table) in enumerate(zip(HYPER_BELIEF, alone_tables(), strict=True)):
        part = each * table.ravel()[cells]
        by_pair = part.sum(axis=(1, 2))
        without = 0.5 * by_pair[none].sum()
        departures[:, i] = [without + by_pair[~none & (kind == k)].sum() for k in (0, 1)]
        both += belief * part
    prior = beliefs()[found.curve][:, None, None]
    mass = both.sum(axis=2)
    scatter = (both * prior).sum(axis=(0, 1)) / np.exp(scatter_belief())
    return _Told(
        found.unit,
        _start_of(found, both * prior),
        found.curve,
        np.log(found.wear * found.unit),
        mass / mass.max(),
        departures / departures.max(),
        scatter / scatter.max(),
    )


def _start_of(found: Evidence, weight: "Floats") -> Estimate:
    """Return the size at zero minutes that one part's readings speak for."""
    import numpy as np

    v = found.models.inverse[found.model]
    ones = v.sum(axis=2)
    total = ones.sum(axis=1)
    h = curves(found.minutes, found.reference)[found.curve]
    level = (ones @ found.size) / total
    slope = np.einsum("pi,pi->p", ones, h) / total
    a = level[:, None] + found.wear * slope[:, None]
    mass = weight.sum(axis=2)
    mass = mass / mass.sum()
    mean = float((mass * a).sum())
    var = float((mass * ((a - mean) ** 2 + 1.0 / total[:, None])).sum())
    return Estimate(found.centre + mean * found.unit, math.sqrt(var) * found.unit)


def _next_wear(parts: Sequence["Floats"], least: float) -> "Floats":
    """Log density in log wear of the next part, by curve: home curve, wear and spread summed.

    `least` is the wear of the first cell in scatters.
    """
    import numpy as np

    like = likeness()
    x = _STEP * np.arange(_CELLS)
    post = []
    for near in _nearness():
        log = np.zeros((len(SHAPES), _CELLS))
        for part in parts:
            log += np.log(like @ (part @ near) + 1e-12 * part.max())
        post.append(log)
    every = np.array(post) + np.log(np.array(_SPREAD_BELIEF))[:, None, None]
    every += np.log(beliefs())[None, :, None] + wear_belief(least * np.exp(x))
    every = np.exp(every - every.max())
    every /= every.sum()
    out = np.zeros((len(SHAPES), _CELLS))
    for weight, near in zip(every, _nearness(), strict=True):
        out += like.T @ (weight @ near.T)
    log_out: Floats = np.log(np.maximum(out / _STEP, 1e-30))
    return log_out


@lru_cache(maxsize=1)
def _nearness() -> "Floats":
    """Share of parts (rows) in each cell of log wear when their kind's own is a column, by spread.

    Shape (spreads, cells, cells).
    """
    import numpy as np

    x = _STEP * np.arange(_CELLS)
    apart = x[:, None] - x[None, :]
    near = np.array([np.exp(-0.5 * (apart / spread) ** 2) + 1e-6 for spread in _SPREADS])
    out: Floats = near / near.sum(axis=1, keepdims=True)
    return out


def _next_departures(parts: Sequence["Floats"]) -> "Floats":
    """Belief in each typical departure (kinds, typical), the two kinds learnt together."""
    import numpy as np

    log = np.log(np.outer(HYPER_BELIEF, HYPER_BELIEF))
    for part in parts:
        log += np.log(0.5 * part[0][:, None] + 0.5 * part[1][None, :] + 1e-9)
    both = np.exp(log - log.max())
    both /= both.sum()
    return np.array([both.sum(axis=1), both.sum(axis=0)])


def _next_scatter(parts: Sequence["Floats"]) -> "Floats":
    """Log belief in each multiple of the stated scatter: one tool and one hand for all parts."""
    import numpy as np

    log = scatter_belief()
    for part in parts:
        log = log + np.log(part + 1e-6)
    mass = np.exp(log - log.max())
    out: Floats = np.log(0.9 * mass / mass.sum() + 0.1 * np.exp(scatter_belief()))
    return out
