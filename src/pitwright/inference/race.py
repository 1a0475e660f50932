"""The bite over a race: the setting at the start that keeps it longest near its target.

What may happen is a fixed set of possible races, drawn elsewhere. Each moment of each of them has
a lowest and a highest setting between which the bite lies inside its window; a setting made before
the start stays as it is, and is off target wherever it lies outside these two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Band", "Windows", "band", "best_setting", "chance", "mean_off", "minutes_off", "shares"]

_AS_GOOD = 0.01
"""Settings whose time off target differs by less than this share of the race count as alike."""


@dataclass(frozen=True)
class Windows:
    """Between which settings the bite is inside its window, in each race and at each moment.

    ``low``, ``aim``, ``high`` are (races, moments): at ``aim`` the bite is the target itself.
    ``minutes`` is what each moment stands for, and ``slip`` by how much the setting made misses
    the one meant, in each race. Lengths in one unit.
    """

    low: Floats
    aim: Floats
    high: Floats
    minutes: Floats
    slip: Floats


@dataclass(frozen=True)
class Band:
    """A median, and the range that holds nine times in ten."""

    low: float
    middle: float
    high: float


def shares(moments: Sequence[float]) -> Floats:
    """Return the minutes each moment of a race stands for, the trapezoidal rule's weights.

    >>> shares([0.0, 1.0, 3.0]).tolist()
    [0.5, 1.5, 1.0]
    """
    import numpy as np

    steps = np.diff(np.asarray(moments, dtype=float))
    weights: Floats = 0.5 * (np.append(steps, 0.0) + np.append(0.0, steps))
    return weights


def minutes_off(windows: Windows, setting: float) -> Floats:
    """Return the minutes off target of each race with a setting meant to be ``setting``.

    >>> import numpy as np
    >>> race = Windows(np.array([[1.0, 1.1, 1.3]]), np.array([[1.1, 1.2, 1.4]]),
    ...     np.array([[1.2, 1.3, 1.5]]), shares([0.0, 1.0, 3.0]), np.zeros(1))
    >>> minutes_off(race, 1.15).tolist()
    [1.0]
    """
    made = (setting + windows.slip)[:, None]
    off: Floats = ((made < windows.low) | (made > windows.high)) @ windows.minutes
    return off


def mean_off(windows: Windows, settings: Sequence[float]) -> Floats:
    """Return the mean minutes off target of each setting, which rise; as ``minutes_off`` counts.

    >>> import numpy as np
    >>> race = Windows(np.array([[1.0, 1.1, 1.3]]), np.array([[1.1, 1.2, 1.4]]),
    ...     np.array([[1.2, 1.3, 1.5]]), shares([0.0, 1.0, 3.0]), np.zeros(1))
    >>> mean_off(race, [1.0, 1.15, 1.3]).tolist()
    [2.5, 1.0, 0.5]
    """
    import numpy as np

    at = np.asarray(settings, dtype=float)
    low, high = (edge - windows.slip[:, None] for edge in (windows.low, windows.high))
    weights = np.where(high < low, 0.0, windows.minutes).ravel()
    # every window is entered at one setting and left at another: count both, sum up
    enters = np.searchsorted(at, low.ravel(), side="left")
    leaves = np.searchsorted(at, high.ravel(), side="right")
    change = np.bincount(enters, weights, at.size + 1) - np.bincount(leaves, weights, at.size + 1)
    off: Floats = windows.minutes.sum() - np.cumsum(change)[:-1] / len(low)
    return off


def best_setting(windows: Windows, settings: Sequence[float]) -> float:
    """Return the setting that is least off target on average, over all the possible races.

    Among those as good, to a hundredth of the race, the one that stays nearest the target counts.
    Raises ValueError without a setting to choose from.
    """

    if not len(settings):
        raise ValueError("there is no setting to choose from")
    off = mean_off(windows, settings)
    weights = windows.minutes / windows.minutes.sum()
    middle = float((windows.aim - windows.slip[:, None]).mean(axis=0) @ weights)
    good = off <= off.min() + _AS_GOOD * windows.minutes.sum()
    alike = (setting for setting, is_good in zip(settings, good, strict=True) if is_good)
    return min(alike, key=lambda setting: abs(setting - middle))


def band(values: Floats) -> Band:
    """Return the median of the possible values and the range that holds nine of ten."""
    import numpy as np

    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Band(float(low), float(middle), float(high))


def chance(happens: NDArray[np.bool_]) -> float:
    """Return how likely something is that happens in some of the possible races.

    Never exactly 0 or 1: the races drawn are many, not all.
    """
    return (float(happens.sum()) + 0.5) / (happens.size + 1.0)
