"""The track changes over a weekend: what can be taken out, and what cannot be told from it.

A straight trend is taken out. A bend stays in the spread, so the comparison is then slow to call
anything real. A jump (rain, a night) is not slow to fool it: with orders that lean to one side of
the jump a test that knows of trends only calls about three times as many false effects as it
should. A claim must therefore also stand beside the single best-fitting step. What is left can fool
it: a track that comes and goes in step with the states, which no rule can tell from an effect
(tests/benchmarks/pace_honesty.txt, column "wave").
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
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

    At least two heats lie on each side of it. None when there is no such place. By least squares:
    the step with the largest t of all.
    """
    import numpy as np

    n = len(y)
    places = range(_FEWEST_BESIDE_STEP, n - _FEWEST_BESIDE_STEP + 1)
    steps = np.array([[float(i >= place) for i in range(n)] for place in places])
    base = np.column_stack((nuisance, z))
    spare = n - base.shape[1] - 1
    if not len(steps) or spare < 1:
        return None
    q = np.linalg.qr(base)[0]
    rest = y - q @ (q.T @ y)
    own = steps - (steps @ q) @ q.T
    length = np.sqrt(np.einsum("ij,ij->i", own, own))
    told = length > 1e-6
    gain = np.where(told, own @ rest / np.where(told, length, 1.0), 0.0) ** 2
    best = int(np.argmax(gain))
    left = float(rest @ rest) - float(gain[best])
    if gain[best] <= 0.0:
        return None
    t = math.sqrt(float(gain[best]) * spare / left) if left > 0.0 else math.inf
    p = min(1.0, 2.0 * len(steps) * t_cdf(-t, spare)) if math.isfinite(t) else 0.0
    return Step(places[best], steps[best], p)
