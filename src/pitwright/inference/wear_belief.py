"""What readings say about a wearing part: a belief over curve, wear, departure and scatter.

    reading = a - b h(t) - departure(t) + s (scatter)

h is any curve of `wear_shapes`, b the wear it makes, a flat; s multiplies the stated scatter. The
departure is what no curve follows: a random walk in the running minutes, or a walk of the pace of
wear (integrated), of any size. Beside this, one or two readings may be wild, or a single run may
have taken a step. Given curve, b, s and the size of the departure all is Gaussian and in closed
form; over these it is summed on a grid, so nothing is chosen and nothing is left to chance.
Sources: Wiener degradation with measurement error (Whitmore, Lifetime Data Analysis 1, 1995);
averaging of models (Gelman et al., Bayesian Data Analysis, 3rd ed., 7.4); outliers as shifts of
unknown size (Box and Tiao, Biometrika 55, 1968). All recalled.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitwright.inference.readings import Reading
from pitwright.inference.wear_priors import (
    LEVELS,
    PACE,
    SCATTERS,
    TRUST_DOF,
    WALK,
    departure_cells,
    usual_table,
)
from pitwright.inference.wear_shapes import curves

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]

_NODES = 15
_REACH = 5.0  # of the nodes, in spreads
_LEAST, _MOST = 0.02, 3000.0  # wear up to the reference time, in scatters
_WILD_ODDS, _STEP_ODDS, _HOT_ODDS = 0.02, 0.02, 0.3
_WILD_SIZE, STEP_SIZE = 15.0, 8.0  # in scatters
_TELLING = (0, 3, 10)  # places of no departure, and of a middling one of each kind
_KEEP = 0.99
_KEEP_HYPOTHESIS = 1e-2


@dataclass(frozen=True)
class Hypothesis:
    """What else may have happened: readings `wild`, a `step` before a place, or `hot` running
    that takes more or less than usual running does.
    """

    wild: tuple[int, ...] = ()
    step: int | None = None
    hot: bool = False


@dataclass(frozen=True)
class Models:
    """The Gaussian models: for each, its hypothesis, kind and level of departure.

    `inverse` is the inverse covariance of the readings [in scatters], `logdet` its determinant's
    logarithm.
    """

    hypotheses: tuple[Hypothesis, ...]
    of: "Ints"
    kind: "Ints"
    level: "Floats"
    inverse: "Floats"
    logdet: "Floats"

    @property
    def wild(self) -> "Floats":
        """How far off each model (row) takes each reading to be, beyond its scatter."""
        import numpy as np

        count = self.inverse.shape[1]
        rows = [[_WILD_SIZE * (i in h.wild) for i in range(count)] for h in self.hypotheses]
        out: Floats = np.array(rows)[self.of]
        return out


@dataclass(frozen=True)
class Evidence:
    """The likelihood of pairs of curve and model over a grid of wear and scatter.

    `unit` the typical u; `reference` the minutes at which curves are 1; `size` the readings from
    `centre` in units. `curve`, `model` name each pair; `wear` (pairs, nodes) and `width` are the
    nodes of b and their spacing in log b; `offset` makes them even in log (b + offset), `step`
    apart; `log` (pairs, nodes, scatters) the log likelihood.
    """

    readings: tuple[Reading, ...]
    unit: float
    centre: float
    reference: float
    minutes: "Floats"
    size: "Floats"
    models: Models
    curve: "Ints"
    model: "Ints"
    wear: "Floats"
    width: "Floats"
    offset: "Floats"
    step: "Floats"
    log: "Floats"


def kernel(kind: int, one: "Floats", other: "Floats", reference: float) -> "Floats":
    """Covariance of a departure whose variance at the reference time is one."""
    import numpy as np

    a, b = np.maximum(one, 0.0) / reference, np.maximum(other, 0.0) / reference
    low, high = np.minimum(a[:, None], b[None, :]), np.maximum(a[:, None], b[None, :])
    if kind == WALK:
        return low
    out: Floats = 0.5 * low**2 * (3.0 * high - low)
    return out


def scatter_of(readings: Sequence[Reading], unit: float) -> "Floats":
    """Covariance of the readings' own scatter, seating shared within an occasion, in units."""
    import numpy as np

    u = np.array([r.u for r in readings])
    seat = np.array([r.seat for r in readings])
    names = np.array([r.occasion or f"\0{i}" for i, r in enumerate(readings)])
    same = names[:, None] == names[None, :]
    out: Floats = (np.diag(u**2) + same * np.outer(seat, seat)) / unit**2
    return out


def weigh(readings: Sequence[Reading], reference: float | None = None) -> Evidence:
    """Return what run-in readings (at least one, ordered) say, prior beliefs apart.

    `reference`: minutes at which the curves' time constants are stated; None: the last reading.
    """
    import numpy as np

    minutes = np.array([r.minutes for r in readings])
    unit = math.sqrt(math.fsum(r.whole_u**2 for r in readings) / len(readings))
    values = np.array([r.value for r in readings])
    centre = float(np.median(values))
    size = (values - centre) / unit
    told = reference if reference is not None else float(minutes[-1]) or 1.0
    shape = curves(minutes, told)
    models, first = _models(readings, minutes, unit, told, shape, size)
    curve, model = np.nonzero(first)
    return _on_grid(readings, unit, centre, told, minutes, size, shape, models, curve, model)


def _on_grid(
    readings: Sequence[Reading],
    unit: float,
    centre: float,
    reference: float,
    minutes: "Floats",
    size: "Floats",
    shape: "Floats",
    models: Models,
    curve: "Ints",
    model: "Ints",
) -> Evidence:
    import numpy as np

    a, c, d, det = _quadratics(models, shape, size)
    a, c, d, det = a[model], c[curve, model], d[curve, model], det[model]
    spread = 1.2 / np.sqrt(np.maximum(d, 1e-8))
    middle = c / np.maximum(d, 1e-8)
    low = np.clip(middle - _REACH * spread, _LEAST, 0.5 * _MOST)
    high = np.clip(np.maximum(middle, 0.0) + _REACH * spread, 4.0 * low, _MOST)
    high = np.where(middle - _REACH * spread > _LEAST, middle + _REACH * spread, high)
    high = np.minimum(np.maximum(high, low * 1.01), 2.0 * _MOST)
    offset = np.minimum(spread, 3.0)
    ends = np.log(low + offset), np.log(high + offset)
    share = np.linspace(0.0, 1.0, _NODES)
    wear = np.exp(ends[0][:, None] + (ends[1] - ends[0])[:, None] * share) - offset[:, None]
    step = (ends[1] - ends[0]) / (_NODES - 1)
    width = step[:, None] * (wear + offset[:, None]) / wear
    chi2 = a[:, None] - 2.0 * wear * c[:, None] + wear**2 * d[:, None]
    s = np.array(SCATTERS)
    log = (
        -0.5 * det[:, None, None] - (len(readings) - 1) * np.log(s) - 0.5 * chi2[:, :, None] / s**2
    )
    return Evidence(
        tuple(readings), unit, centre, reference, minutes, size, models, curve, model, wear, width,
        offset, step, log,
    )  # fmt: skip


def _quadratics(
    models: Models, shape: "Floats", size: "Floats"
) -> "tuple[Floats, Floats, Floats, Floats]":
    """Squares of size and curve with the flat start taken out, and the determinant's logarithm.

    The residual size + b h has the square a - 2 b c + b^2 d.
    """
    import numpy as np

    v = models.inverse
    ones = v.sum(axis=2)
    total = ones.sum(axis=1)
    vh = v @ shape.T
    a = (v @ size) @ size - (ones @ size) ** 2 / total
    h1 = ones @ shape.T
    c = -((v @ size) @ shape.T - h1 * ((ones @ size) / total)[:, None]).T
    d = ((vh * shape.T).sum(axis=1) - h1**2 / total[:, None]).T
    return a, c, np.maximum(d, 0.0), models.logdet + np.log(total)


def _models(
    readings: Sequence[Reading],
    minutes: "Floats",
    unit: float,
    reference: float,
    shape: "Floats",
    size: "Floats",
) -> "tuple[Models, NDArray[np.bool_]]":
    """Return the models worth summing, and which curves (rows) are worth it in each."""
    import numpy as np

    hot = np.array([r.hot for r in readings])
    every = _hypotheses(minutes, bool(hot.any()))
    base = scatter_of(readings, unit) + np.array([_shift(h, minutes, hot) for h in every])
    span, count = minutes[-1] / reference, len(readings)
    departed = _departed(minutes, reference)

    def weights(hypotheses: "Ints", departures: "Ints") -> "tuple[Models, Floats]":
        models = _gaussians(every, base, departed, hypotheses, departures)
        rough = _rough(models, shape, size, count, span)
        return models, np.exp(rough - rough.max())

    # a few departures tell which hypotheses are worth all of them
    few, weight = weights(np.arange(len(every)), np.array(_TELLING))
    mass = np.bincount(few.of, weight.sum(axis=0), len(every))
    likely = mass > _KEEP_HYPOTHESIS * mass.sum()
    likely[0] = True
    models, weight = weights(np.flatnonzero(likely), np.arange(len(departed.levels)))
    return models, _weightiest(weight)


@dataclass(frozen=True)
class _Departed:
    """Every departure thought of: its kind, level and covariance at the readings."""

    kinds: "Ints"
    levels: "Floats"
    cov: "Floats"


def _departed(minutes: "Floats", reference: float) -> _Departed:
    import numpy as np

    kinds = np.array([WALK] + [WALK] * len(LEVELS) + [PACE] * len(LEVELS))
    levels = np.array([0.0, *LEVELS, *LEVELS])
    whole = np.array([kernel(k, minutes, minutes, reference) for k in (WALK, PACE)])
    return _Departed(kinds, levels, levels[:, None, None] ** 2 * whole[kinds])


def _gaussians(
    every: tuple[Hypothesis, ...],
    base: "Floats",
    departed: _Departed,
    hypotheses: "Ints",
    departures: "Ints",
) -> Models:
    """Return the models of these hypotheses, each with all of these departures."""
    import numpy as np

    n = base.shape[1]
    whole = (base[hypotheses][:, None] + departed.cov[departures][None]).reshape(-1, n, n)
    inverse: Floats = np.asarray(np.linalg.inv(whole), dtype=float)
    logdet: Floats = np.asarray(np.linalg.slogdet(whole)[1], dtype=float)
    return Models(
        every,
        np.repeat(hypotheses, len(departures)),
        np.tile(departed.kinds[departures], len(hypotheses)),
        np.tile(departed.levels[departures], len(hypotheses)),
        inverse,
        logdet,
    )


def _weightiest(weight: "Floats") -> "NDArray[np.bool_]":
    """Mark the fewest cells that together hold all but next to nothing of the weight."""
    import numpy as np

    falling = np.sort(weight, axis=None)[::-1]
    mass = np.cumsum(falling)
    least = falling[np.searchsorted(mass, _KEEP * mass[-1])]
    out: NDArray[np.bool_] = weight >= least
    return out


def _hypotheses(minutes: "Floats", hot: bool) -> tuple[Hypothesis, ...]:
    """Nothing else; hot runs; one reading wild, or two of many; a step between two readings."""
    n = len(minutes)
    found = [Hypothesis()]
    if n >= 4 and hot:
        found.append(Hypothesis(hot=True))
    if n >= 4:
        found += [Hypothesis(wild=(i,)) for i in range(n)]
        runs = [i for i in range(1, n) if minutes[i] > minutes[i - 1]]
        found += [Hypothesis(step=i) for i in runs]
    if n >= 7:
        found += [Hypothesis(wild=(i, j)) for i in range(n) for j in range(i)]
    return tuple(found)


def log_odds(found: Hypothesis) -> float:
    """Logarithm of the odds of a hypothesis against nothing else having happened."""
    return (
        len(found.wild) * math.log(_WILD_ODDS)
        + (found.step is not None) * math.log(_STEP_ODDS)
        + found.hot * math.log(_HOT_ODDS)
    )


def lean(found: Hypothesis, minutes: "Floats", hot: "Floats", at: "Floats") -> "Floats":
    """Return the direction in which a step or hot running moves the size at the minutes `at`.

    The hot running to come is taken as usual. Zeros for a hypothesis of neither.
    """
    import numpy as np

    out: Floats = np.zeros(len(at))
    if found.step is not None:
        out = (at >= minutes[found.step]).astype(float)
    elif found.hot:
        out = np.interp(at, minutes, hot) / max(float(np.abs(hot).max()), 1e-12)
    return out


def _shift(found: Hypothesis, minutes: "Floats", hot: "Floats") -> "Floats":
    import numpy as np

    moved = STEP_SIZE * lean(found, minutes, hot, minutes)
    out: Floats = np.outer(moved, moved)
    for i in found.wild:
        out[i, i] = _WILD_SIZE**2
    return out


def _rough(models: Models, shape: "Floats", size: "Floats", count: int, span: float) -> "Floats":
    """Return an approximate log posterior of (curve, model): peak of b, scatter integrated."""
    import numpy as np

    a, c, d, det = _quadratics(models, shape, size)
    solid = np.maximum(d, 1e-8)
    wear = np.clip(c / solid, _LEAST, _MOST)
    chi2 = np.maximum(a[None] - 2.0 * wear * c + wear**2 * d, 0.0)
    spare = max(count - 2, 0)
    s2 = (TRUST_DOF + chi2) / (TRUST_DOF + spare)
    odds = np.array([log_odds(h) for h in models.hypotheses])[models.of]
    cells = departure_cells(models.level[None], models.kind[None], np.log(np.sqrt(s2) / wear))
    share = usual_table().ravel()[cells]
    out: Floats = (
        -0.5 * det[None]
        - 0.5 * (TRUST_DOF + spare) * np.log1p(chi2 / TRUST_DOF)
        - 0.5 * np.log(solid + 1e-3)
        + odds[None]
        + np.log(np.maximum(share, 1e-30))
    )
    return out


def cells_of(found: Evidence) -> "NDArray[np.int32]":
    """Return `departure_cells` of all evidence: (pairs, nodes, scatters)."""
    import numpy as np

    log = np.log(np.array(SCATTERS)) - np.log(found.wear)[:, :, None]
    level = found.models.level[found.model][:, None, None]
    return departure_cells(level, found.models.kind[found.model][:, None, None], log)
