"""The track changes over a weekend: what can be taken out, and what cannot be told from it.

Only a straight trend is taken out. A track that changes in a bend or a jump stays in the spread, so
the comparison is then slow to call anything real, not quick. The one change that can fool it is one
that comes and goes in step with the states, which no rule can tell from an effect: with ABBAABBA
and a swing of the track every five heats or so it calls about twice as many false effects as it
should (tests/benchmarks/pace_honesty.txt, column "wave").
"""

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FEWEST_EACH = 4
FEWEST_CHANGES = 4
MOST_OVERLAP = 0.5
EVEN_OVERLAP = 0.05
DRIFT_P = 0.2


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
