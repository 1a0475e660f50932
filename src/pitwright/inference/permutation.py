"""Permutation tests of an effect on heats, and the interval that inverts them.

One kernel serves two questions: does state B differ from state A (the labels are rearranged among
the heats), and does pace follow a setting such as the recess (the settings are rearranged).
Whatever is linear in the nuisance columns (a constant, the running order) is taken out first.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from pitwright.inference.track import (
    EVEN_OVERLAP,
    Step,
    best_step,
    best_swing,
    leans,
    steps,
    swings,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_ENUMERATED = 20_000
SAMPLES = 9_999
SEED = 20_260_516


@dataclass(frozen=True)
class Effect:
    """An effect with its permutation p and interval.

    estimate: by least squares. low, high: infinite where too few arrangements exist to bound it.
    p: two-sided, twice the smaller tail. arrangements: how many were looked at, the one that
    happened included. exact: all there are, rather than a seeded sample.
    residual: standard deviation left after the effect and the nuisance, None with none to spare.
    """

    estimate: float
    low: float
    high: float
    confidence: float
    p: float
    arrangements: int
    exact: bool
    residual: float | None


def smallest_p(n: int, m: int) -> float:
    """Smallest two-sided p that n heats against m can reach: a clean sweep either way."""
    return min(1.0, 2.0 / math.comb(n + m, n))


def permutation_effect(
    y: "Sequence[float] | NDArray[np.float64]",
    z: "Sequence[float] | NDArray[np.float64]",
    arrangements: "NDArray[np.float64]",
    *,
    nuisance: "NDArray[np.float64] | None" = None,
    exact: bool = True,
    confidence: float = 0.95,
) -> Effect | None:
    """Test the effect of z on y against rearrangements of z, and invert the test.

    y: one figure per heat. z: the state (0 or 1) or setting of each. arrangements: one row per
    arrangement that could have been, that of z among them. nuisance: columns taken out of y and of
    every arrangement, so the statistic is the partial correlation.

    Exact, whatever the track does, when the order of the states was drawn by lot from these
    arrangements; also without nuisance for figures that are independent and alike under no effect.
    For an order chosen otherwise with the nuisance taken out it is approximate, and its honesty is
    measured in tests/benchmarks/pace_honesty.py.

    Source: the randomization test of R. A. Fisher, The Design of Experiments (1935); the interval
    holds every effect the two one-sided tests do not refuse (E. S. Edgington, Randomization Tests).
    Returns None when z cannot be told from the nuisance at all. Raises ValueError when a value is
    not finite.
    """
    import numpy as np

    ys, zs = np.asarray(y, dtype=float), np.asarray(z, dtype=float)
    if not (np.isfinite(ys).all() and np.isfinite(zs).all()):
        raise ValueError("values must be finite")
    spare = int(ys.size) - 1
    stack = arrangements
    if nuisance is not None:
        q = np.linalg.qr(nuisance)[0]
        ys = ys - q @ (q.T @ ys)
        zs = zs - q @ (q.T @ zs)
        stack = stack - (stack @ q) @ q.T
        spare -= nuisance.shape[1]
    length = float(np.sqrt(zs @ zs))
    if length <= 1e-9 * max(1.0, float(np.abs(z).max())) * math.sqrt(len(ys)):
        return None
    norms = np.sqrt(np.einsum("ij,ij->i", stack, stack))
    flat = norms < 1e-9 * length  # an arrangement the nuisance swallows says nothing: counts always
    norms[flat] = 1.0
    score = (stack @ ys) / norms
    lean = (stack @ zs) / norms
    own = float(zs @ ys) / length
    estimate = own / length
    slack = 1e-9 * (abs(own) + float(np.sqrt(ys @ ys)))
    count = int(stack.shape[0])
    above = int(np.count_nonzero((score >= own - slack) | flat))
    below = int(np.count_nonzero((score <= own + slack) | flat))
    p = min(1.0, 2.0 * min(above, below) / count)

    # Moving the supposed effect by h from the estimate, an arrangement ties with what happened at
    # h = -e / (length - lean); the limits are order statistics of those values.
    gap = length - lean
    never = (gap <= 1e-9 * length) | flat
    ties = np.sort(-(score - estimate * lean)[~never] / gap[~never])
    drop = math.floor((1.0 - confidence) / 2.0 * count + 1e-9) - (count - int(ties.size))
    low, high = -math.inf, math.inf
    if 0 <= drop < ties.size:
        low, high = estimate + float(ties[drop]), estimate + float(ties[-1 - drop])
    rest = ys - estimate * zs
    residual = math.sqrt(float(rest @ rest) / spare) if spare > 0 else None
    return Effect(estimate, low, high, confidence, p, count, exact, residual)


@lru_cache(maxsize=64)
def labelings(n: int, m: int) -> "tuple[NDArray[np.float64], bool]":
    """Rows of 0 and 1 with m ones among n + m places, and whether these are all there are.

    All of them up to MOST_ENUMERATED; beyond that a seeded sample of SAMPLES, to which the caller
    adds what happened.
    """
    import numpy as np

    total = math.comb(n + m, m)
    if total <= MOST_ENUMERATED:
        from itertools import combinations

        picks = np.array(list(combinations(range(n + m), m)), dtype=np.intp)
        rows = np.zeros((total, n + m))
        rows[np.arange(total)[:, None], picks] = 1.0
    else:
        start = np.concatenate((np.zeros(n), np.ones(m)))
        rows = np.random.default_rng(SEED).permuted(np.tile(start, (SAMPLES, 1)), axis=1)
    rows.setflags(write=False)
    return rows, total <= MOST_ENUMERATED


@lru_cache(maxsize=32)
def _orders(n: int) -> "tuple[NDArray[np.intp], bool]":
    import numpy as np

    if math.factorial(n) <= MOST_ENUMERATED:
        from itertools import permutations

        return np.array(list(permutations(range(n))), dtype=np.intp), True
    base = np.tile(np.arange(n), (SAMPLES, 1))
    return np.random.default_rng(SEED).permuted(base, axis=1), False


def rearrangements(z: "NDArray[np.float64]") -> "tuple[NDArray[np.float64], bool]":
    """Return the rearrangements of z as rows (z itself among them), and whether they are all."""
    import numpy as np

    places = np.unique(z)
    if places.size == 2:
        ones = int(np.count_nonzero(z == places[1]))
        labels, exact = labelings(int(z.size) - ones, ones)
        rows = np.where(labels > 0.0, places[1], places[0])
    else:
        orders, exact = _orders(int(z.size))
        rows = z[orders]
    return (rows, exact) if exact else (np.vstack((z, rows)), exact)


def beside_track(
    y: "NDArray[np.float64]",
    z: "NDArray[np.float64]",
    arrangements: "NDArray[np.float64]",
    nuisance: "NDArray[np.float64]",
    places: "NDArray[np.float64]",
    *,
    exact: bool,
) -> "tuple[float, Step | None]":
    """Return p of the effect beside the track's best-fitting change, and its best-fitting step.

    The larger p counts of that with the step and that with the slow swing taken out too, each only
    where the pattern of z leans on such a change (by more than EVEN_OVERLAP): what an order does
    not lean on cannot look like its effect. One when the effect cannot be told from the change;
    zero when there is none to stand beside, so that the test without one decides.
    """
    step = best_step(y, z, nuisance)
    p = 0.0
    if step is not None and leans(z, steps(len(y))).max() > EVEN_OVERLAP:
        p = _beside(y, z, arrangements, nuisance, step.column[:, None], exact=exact)
    if leans(z, swings(tuple(places))).max() > EVEN_OVERLAP:
        swing = best_swing(y, z, nuisance, places)
        if swing is not None:
            p = max(p, _beside(y, z, arrangements, nuisance, swing, exact=exact))
    return p, step


def _beside(
    y: "NDArray[np.float64]",
    z: "NDArray[np.float64]",
    arrangements: "NDArray[np.float64]",
    nuisance: "NDArray[np.float64]",
    change: "NDArray[np.float64]",
    *,
    exact: bool,
) -> float:
    """Return p with one change of the track taken out too, one where nothing is left of z.

    Arrangements that are that change themselves are left out: had they happened, nothing would
    have been claimed.
    """
    import numpy as np

    told = apart_from(arrangements, change)
    effect = permutation_effect(
        y, z, arrangements[told], nuisance=np.column_stack((nuisance, change)), exact=exact
    )
    return 1.0 if effect is None else effect.p


def apart_from(
    arrangements: "NDArray[np.float64]", change: "NDArray[np.float64]"
) -> "NDArray[np.bool_]":
    """Tell which arrangements are more than a change of the track (heat, column) and a constant."""
    import numpy as np

    q = np.linalg.qr(np.column_stack((np.ones(len(change)), change)))[0]
    centred = arrangements - arrangements.mean(axis=1, keepdims=True)
    whole = np.einsum("ij,ij->i", centred, centred)
    rest = centred - (centred @ q) @ q.T
    apart: NDArray[np.bool_] = np.einsum("ij,ij->i", rest, rest) > 1e-9 * whole
    return apart
