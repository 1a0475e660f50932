"""The track changes over a weekend: what can be taken out, and what cannot be told from it.

A straight trend is taken out. Whatever else the track does stays in the spread, and that is not
safe by itself: a jump (rain), a bend or the swing of day and night makes a test that knows of
trends only call false effects three to nine times too often, in orders whose pattern leans on it.
A claim must therefore also stand beside the single step and the single slow swing that fit best,
wherever the order leans on such a change at all. States that go back and forth every heat lean on
none. What is left can fool it: a track that comes and goes as quickly as the states do, which no
rule can tell from an effect (tests/benchmarks/pace_orders.py prints how often).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING

from pitwright.student import t_cdf

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FEWEST_EACH = 4
FEWEST_CHANGES = 4
MOST_OVERLAP = 0.5
EVEN_OVERLAP = 0.05
DRIFT_P = 0.2
STEP_P = 0.01
SHORTEST_SWING = 4.0
"""Heats: about a race day. States that go back and forth do so every two heats."""
_FEWEST_BESIDE_STEP = 2


@dataclass(frozen=True)
class Step:
    """The step of the track that fits best: before which heat, its column, and its p.

    `column` is 0 before the step and 1 from it on; `p` is that of the step itself, allowing for
    the number of places it could have been in (Bonferroni).
    """

    before: int
    column: "NDArray[np.float64]"
    p: float

    @property
    def shows(self) -> bool:
        """Whether the track is said to have changed in this step."""
        return self.p < STEP_P


def changes_needed(fewest: int) -> int:
    """How often two states must change places when one of them has only `fewest` heats."""
    return max(FEWEST_CHANGES, fewest - 1)


def time_overlap(
    z: "Sequence[float] | NDArray[np.float64]",
    places: "Sequence[float] | NDArray[np.float64]",
    *,
    bend: bool = True,
) -> float:
    """Share (R squared) of a setting's pattern that a trend over time explains.

    bend: allow the trend to bend as well as slope. One when the setting never changes.
    """
    import numpy as np

    zs, t = np.asarray(z, dtype=float), np.asarray(places, dtype=float)
    zs = zs - zs.mean()
    whole = float(zs @ zs)
    if whole <= 0.0:
        return 1.0
    t = (t - t.mean()) / (float(np.ptp(t)) or 1.0)
    columns = (np.ones_like(t), t, t * t) if bend else (np.ones_like(t), t)
    q = np.linalg.qr(np.column_stack(columns))[0]
    part = q.T @ zs
    return min(1.0, float(part @ part) / whole)


def leans(z: "NDArray[np.float64]", changes: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Share (R squared) of a setting's pattern that each of several changes of the track explains.

    changes: (change, heat, column).
    """
    import numpy as np

    zs = z - z.mean()
    whole = float(zs @ zs)
    if whole <= 0.0:
        return np.ones(len(changes))
    basis = _bases(changes - changes.mean(axis=1, keepdims=True))
    shares: NDArray[np.float64] = np.square(np.einsum("knc,n->kc", basis, zs)).sum(axis=1) / whole
    return shares


def track_overlap(z: "NDArray[np.float64]", places: "NDArray[np.float64]") -> float:
    """Largest share of a setting's pattern that a slope, a bend or one slow swing explains."""
    return max(time_overlap(z, places), float(leans(z, swings(tuple(places))).max()))


@lru_cache(maxsize=64)
def swings(places: tuple[float, ...]) -> "NDArray[np.float64]":
    """Slow swings of the track over the places of the heats, as (swing, heat, sine and cosine).

    From a quarter of a wave over the weekend, which is a bend, in quarters of a wave to the
    shortest, SHORTEST_SWING heats long.
    """
    import numpy as np

    t, n = np.array(places), len(places)
    waves = 0.25 * np.arange(1, max(1, int(4.0 * n / SHORTEST_SWING + 1e-9)) + 1)
    span = float(np.ptp(t)) * n / max(1, n - 1) or 1.0
    phase = 2.0 * math.pi * np.outer(waves, (t - t.mean()) / span)
    columns = np.stack((np.cos(phase), np.sin(phase)), axis=2)
    columns.setflags(write=False)
    return columns


@lru_cache(maxsize=64)
def steps(n: int) -> "NDArray[np.float64]":
    """Every step of the track with two heats or more on each side, as (step, heat, 1)."""
    import numpy as np

    first = np.arange(_FEWEST_BESIDE_STEP, n - _FEWEST_BESIDE_STEP + 1)
    columns = (np.arange(n)[None, :] >= first[:, None]).astype(float)[:, :, None]
    columns.setflags(write=False)
    return columns


def _bases(columns: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Orthonormal columns for each of a stack (change, heat, column); what is nothing stays nil."""
    import numpy as np

    u, size, _ = np.linalg.svd(columns, full_matrices=False)
    return np.where(size[:, None, :] > 1e-6, u, 0.0)


def gains(
    rows: "NDArray[np.float64]",
    z: "NDArray[np.float64]",
    nuisance: "NDArray[np.float64]",
    changes: "NDArray[np.float64]",
) -> "tuple[NDArray[np.float64], NDArray[np.float64]]":
    """Sum of squares that each change explains of each row, beside z and the nuisance columns.

    rows: figures, one weekend a row. Returns (row, change), and what is left without any change.
    """
    import numpy as np

    q = np.linalg.qr(np.column_stack((nuisance, z)))[0]
    rest = rows - (rows @ q) @ q.T
    basis = _bases(changes - np.einsum("nm,kmc->knc", q @ q.T, changes))
    found = np.square(np.einsum("wn,knc->wkc", rest, basis)).sum(axis=2)
    return found, np.square(rest).sum(axis=1)


def trend_shows(y: "NDArray[np.float64]", t: "NDArray[np.float64]") -> bool:
    """Whether the figures show a trend over t at the level DRIFT_P (Fisher's z of r)."""
    import numpy as np

    ys, ts = y - y.mean(), t - t.mean()
    scale = math.sqrt(float(ys @ ys) * float(ts @ ts))
    if scale == 0.0:
        return False
    r = float(np.clip(float(ys @ ts) / scale, -1.0 + 1e-12, 1.0 - 1e-12))
    return abs(math.atanh(r)) * math.sqrt(len(y) - 3) > NormalDist().inv_cdf(1.0 - DRIFT_P / 2.0)


def confounded(n_a: int, n_b: int, changes: int, overlap: float) -> bool:
    """Whether two states cannot be told from the track changing.

    changes: how often they changed places; overlap: from `time_overlap`. With too few heats for any
    verdict only a plain block counts as confounded, so that the user first hears of the heats.
    """
    fewest = min(n_a, n_b)
    if fewest < FEWEST_EACH:
        return fewest >= 2 and changes == 1
    return changes < changes_needed(fewest) or overlap > MOST_OVERLAP


def track_drift(
    y: "NDArray[np.float64]", z: "NDArray[np.float64]", t: "NDArray[np.float64]"
) -> float:
    """Trend per heat: median slope over all pairs of heats on the same state."""
    import numpy as np

    i, j = np.triu_indices(len(y), 1)
    same = z[i] == z[j]
    i, j = i[same], j[same]
    return float(np.median((y[j] - y[i]) / (t[j] - t[i])))


def best_step(
    y: "NDArray[np.float64]", z: "NDArray[np.float64]", nuisance: "NDArray[np.float64]"
) -> Step | None:
    """Find the one step that, beside the effect of z and the nuisance columns, explains y best.

    None when there is no place for one. By least squares: the step with the largest t of all.
    """
    import numpy as np

    every = steps(len(y))
    spare = len(y) - nuisance.shape[1] - 2
    if not len(every) or spare < 1:
        return None
    found, whole = gains(y[None, :], z, nuisance, every)
    best = int(np.argmax(found))
    gain = float(found[0, best])
    if gain <= 0.0:
        return None
    left = float(whole[0]) - gain
    t = math.sqrt(gain * spare / left) if left > 0.0 else math.inf
    p = min(1.0, 2.0 * len(every) * t_cdf(-t, spare)) if math.isfinite(t) else 0.0
    return Step(best + _FEWEST_BESIDE_STEP, every[best, :, 0], p)


def best_swing(
    y: "NDArray[np.float64]",
    z: "NDArray[np.float64]",
    nuisance: "NDArray[np.float64]",
    places: "NDArray[np.float64]",
) -> "NDArray[np.float64] | None":
    """Find the slow swing that explains y best, as `best_step`; None without figures to spare."""
    import numpy as np

    if len(y) - nuisance.shape[1] - 3 < 1:
        return None
    every = swings(tuple(places))
    found, _ = gains(y[None, :], z, nuisance, every)
    best: NDArray[np.float64] = every[int(np.argmax(found))]
    return best
