"""Possible futures of a wearing part, drawn from the belief in everything that is not known.

A path is drawn with its departure from the curve, bent to what was read (conditioning by kriging:
an unconditional path, corrected by the readings less its own; Chiles and Delfiner, Geostatistics,
1999, recalled), and then made to fall only, since a part never grows.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitwright.inference.wear_belief import (
    STEP_SIZE,
    Evidence,
    kernel,
    lean,
    scatter_of,
)
from pitwright.inference.wear_priors import SCATTERS
from pitwright.inference.wear_shapes import curves

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]

DRAWS = 2000
_STREAM = 20260516  # fixed, so that the same readings always give the same answer
_PAST = 6
_AHEAD = 22
_FIRST, _FARTHEST = 0.03, 40.0  # of the reference time


@dataclass(frozen=True)
class Paths:
    """Sizes (draws, knots) at the minutes `knots`, and what made each: wear, scatter, curve."""

    knots: "Floats"
    sizes: "Floats"
    scatter: "Floats"


def draw(found: Evidence, weight: "Floats") -> Paths:
    """Draw DRAWS paths from the belief `weight` (pairs, nodes, scatters) in evidence's cells."""
    import numpy as np

    rng = np.random.default_rng(_STREAM)
    total = np.cumsum(weight.ravel())
    at = (np.arange(DRAWS) + rng.random(DRAWS)) / DRAWS * total[-1]
    cell = np.minimum(np.searchsorted(total, at), total.size - 1)
    pair, node, which = np.unravel_index(cell, weight.shape)
    # anywhere in its cell, which is even in log (wear + offset)
    offset, jitter = found.offset[pair], found.step[pair] * (rng.random(DRAWS) - 0.5)
    wear = np.maximum((found.wear[pair, node] + offset) * np.exp(jitter) - offset, 1e-6)
    grid = np.array(SCATTERS)
    scatter = grid[which] * (grid[1] / grid[0]) ** (rng.random(DRAWS) - 0.5)
    knots = _knots(found)
    model = found.model[pair]
    departure = _departures(found, knots, found.models.kind[model], found.models.level[model], rng)
    return Paths(knots, _bent(found, knots, pair, wear, scatter, departure, rng), scatter)


def _knots(found: Evidence) -> "Floats":
    import numpy as np

    last = float(found.minutes[-1])
    past = np.linspace(0.0, last, _PAST)
    ahead = last + found.reference * np.geomspace(_FIRST, _FARTHEST, _AHEAD)
    return np.unique(np.concatenate((past, found.minutes, ahead)))


def _departures(
    found: Evidence, knots: "Floats", kind: "Ints", level: "Floats", rng: "np.random.Generator"
) -> "Floats":
    """Draw departures (draws, knots) before the readings speak, in scatters."""
    import numpy as np

    gap = np.diff(knots, prepend=0.0) / found.reference
    z = rng.standard_normal((DRAWS, knots.size))
    out = np.zeros((DRAWS, knots.size))
    steps = np.sqrt(gap) * z
    walk = kind == 0
    out[walk] = np.cumsum(steps[walk], axis=1)
    # a walk of the pace: its place by exact steps of pace and place together
    pace = ~walk & (level > 0.0)
    if pace.any():
        own = steps[pace]
        before = np.cumsum(own, axis=1) - own
        other = rng.standard_normal(own.shape)
        moved = gap * before + gap * (0.5 * own + np.sqrt(gap / 12.0) * other)
        out[pace] = math.sqrt(3.0) * np.cumsum(moved, axis=1)
    whole: Floats = level[:, None] * out
    return whole


def _bent(
    found: Evidence,
    knots: "Floats",
    pair: "Ints",
    wear: "Floats",
    scatter: "Floats",
    departure: "Floats",
    rng: "np.random.Generator",
) -> "Floats":
    import numpy as np

    model = found.model[pair]
    read = np.searchsorted(knots, found.minutes)
    curve = curves(knots, found.reference)[found.curve[pair]]
    inverse = found.models.inverse[model]
    noise = (
        rng.standard_normal((DRAWS, found.minutes.size))
        @ np.linalg.cholesky(scatter_of(found.readings, found.unit)).T
    )
    jump = rng.standard_normal(DRAWS) * STEP_SIZE
    hot = np.array([r.hot for r in found.readings])
    leans = [lean(h, found.minutes, hot, knots) for h in found.models.hypotheses]
    after = np.array(leans)[found.models.of[model]]
    wild = found.models.wild[model] * rng.standard_normal((DRAWS, found.minutes.size))
    free = departure + after * jump[:, None]
    # everything in units of the scatter of each draw
    rest = (found.size + wear[:, None] * curve[:, read]) / scatter[:, None]
    rest = rest - free[:, read] - noise - wild
    ones = inverse.sum(axis=2)
    level = np.einsum("di,di->d", ones, rest) / ones.sum(axis=1)
    pull = np.einsum("dij,dj->di", inverse, rest - level[:, None])
    back = np.zeros_like(free)
    for kind in (0, 1):
        mine = found.models.kind[model] == kind
        joint = kernel(kind, knots, found.minutes, found.reference)
        back[mine] = np.einsum("di,ki->dk", pull[mine], joint)  # no threads: see `kinds`
    back *= found.models.level[model][:, None] ** 2
    back += after * (STEP_SIZE**2 * np.einsum("di,di->d", after[:, read], pull))[:, None]
    path = scatter[:, None] * (free + back + level[:, None]) - wear[:, None] * curve
    _fall(path, int(read[-1]))
    out: Floats = found.centre + found.unit * path
    return out


def _fall(path: "Floats", last: int) -> None:
    """Make paths fall only: up to knot `last` by the middle of both ways to do so, then onward."""
    import numpy as np

    past = path[:, : last + 1]
    down = np.minimum.accumulate(past, axis=1)
    up = np.maximum.accumulate(past[:, ::-1], axis=1)[:, ::-1]
    past[:] = 0.5 * (down + up)
    np.minimum.accumulate(path[:, last:], axis=1, out=path[:, last:])
