"""What is believed of wear, departure and scatter before a part is read."""

import math
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.intp]

TRUST_DOF = 4.0
"""The card's scatter counts as much as four readings would."""

# Departure at the reference time, in multiples of the scatter s. The first stands for none.
_RATIO = 2.2
LEVELS = tuple(0.5 * _RATIO**i for i in range(7))
WALK, PACE = 0, 1
# Typical departures as a share of the wear itself, the first next to none, and the belief in each:
# as often plain as next to none, so that readings can tell which; seldom too small to be seen.
HYPER = (0.0001, 0.08, 0.3)
HYPER_BELIEF = (0.4, 0.2, 0.4)
SCATTERS = tuple(0.4 * 1.5**i for i in range(7))
_USUAL_WEAR = 10.0


def usual_departures() -> "Floats":
    """The belief in each of HYPER, by kind, before any part is seen."""
    import numpy as np

    return np.array([HYPER_BELIEF, HYPER_BELIEF])


@lru_cache(maxsize=1)
def usual_table() -> "Floats":
    """`departure_table` before any part is seen."""
    return departure_table(usual_departures())


@lru_cache(maxsize=1)
def alone_tables() -> "Floats":
    """`departure_table` for each of HYPER taken alone: (typical, rows, columns)."""
    import numpy as np

    return np.array([departure_table(np.array([row, row])) for row in np.eye(len(HYPER))])


def departure_table(hyper: "Floats") -> "Floats":
    """Prior mass of a departure by row (none, then walk and pace, then both at the top level).

    Columns are its share of the wear, in steps of the logarithm from _TABLE_LOW. The share's odds
    of lying below x are (x / typical)^2; `hyper` is the belief in each typical share of HYPER, by
    kind.
    """
    import numpy as np

    x = np.exp(_TABLE_LOW + _TABLE_STEP * np.arange(_TABLE_CELLS))
    edge = math.sqrt(_RATIO)
    out = np.zeros((5, x.size))
    for i, typical in enumerate(HYPER):
        above_high = 1.0 / (1.0 + (x * edge / typical) ** 2)
        above_low = 1.0 / (1.0 + (x / edge / typical) ** 2)
        for kind in (WALK, PACE):
            own = 0.5 * hyper[kind, i]
            out[0] += own * (1.0 - above_low)
            out[1 + kind] += own * (above_low - above_high)
            out[3 + kind] += own * above_low
    return out


_TABLE_LOW, _TABLE_STEP, _TABLE_CELLS = -16.0, 0.04, 650


def departure_cells(level: "Floats", kind: "Ints", log_per_wear: "Floats") -> "NDArray[np.int32]":
    """Return where in a raveled `departure_table` departures of `level` scatters stand.

    `log_per_wear` is the logarithm of scatter over wear at the reference time, so that level times
    it is the departure as a share of the wear.
    """
    import numpy as np

    none = level == 0.0
    row = np.where(none, 0, np.where(level == LEVELS[-1], 3 + kind, 1 + kind)).astype(np.int32)
    log_level = np.log(np.where(none, LEVELS[0], level))
    at = (log_per_wear + (log_level - _TABLE_LOW + 0.5 * _TABLE_STEP)) / _TABLE_STEP
    cell: NDArray[np.int32] = np.clip(at, 0.0, _TABLE_CELLS - 1.0).astype(np.int32)
    return cell + row * np.int32(_TABLE_CELLS)


def scatter_belief() -> "Floats":
    """Log of the belief in each multiple of the stated scatter (scaled inverse chi-squared)."""
    import numpy as np

    s = np.array(SCATTERS)
    log = -TRUST_DOF * np.log(s) - 0.5 * TRUST_DOF / s**2
    out: Floats = log - np.log(np.exp(log).sum())
    return out


def wear_belief(wear: "Floats") -> "Floats":
    """Log density in log b of the wear of a part whose kind is not known: flat, then falling."""
    import numpy as np

    x = wear / _USUAL_WEAR
    out: Floats = np.log(x) - np.log1p(x * x)
    return out
