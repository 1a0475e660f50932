"""The curves a wearing size may follow: none of them is the truth, all of them may come near.

A curve h(t) rises from 0 at t = 0; wear is its multiple. The family holds a power of the running
minutes from concave to convex, exponential settling with a rate of its own, each alone and added
to a steady part, and creep with the logarithm of time. What no curve of it follows is left to the
departure process of `wear_belief`.
Sources: settling and power-law sag of springs are fitted models without published coefficients
(EN 13906-1 shows curves only); power and exponential paths are the usual families of degradation
models (Meeker and Escobar, Statistical Methods for Reliability Data, 1998, ch. 13, recalled).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shape:
    """One curve: a power of time, settling or creep with time constant `tau`, and steady wear.

    `tau` is in units of the reference time; None for a power. Settling ends, creep goes on with the
    logarithm of time. `steady` is the share of a straight line in the wear up to the reference
    time; `belief` the weight before any reading.
    """

    power: float
    tau: float | None
    steady: float
    belief: float
    creeps: bool = False


# The fewer constants of its own a law has, the larger its share: steady wear, which Archard's law
# (J. Appl. Phys. 24, 1953, recalled) and most records show; then creep with the logarithm of time,
# the textbook law of relaxation, with one constant. Wear that speeds up is the rarer side.
_LINE = 0.42
_POWERS = {0.3: 0.02, 0.45: 0.02, 0.6: 0.03, 0.8: 0.04, 1.25: 0.04, 1.5: 0.03, 1.8: 0.02}
_SETTLING, _CREEP, _MIXED = 0.07, 0.14, 0.14
_NEAR, _STRAY = 0.05, 0.03
_TAUS = (0.08, 0.16, 0.32, 0.64, 1.28)
_CREEP_TAUS = (0.03, 0.1, 0.3, 1.0)
_BENT = {(0.3, 0.35): 0.01, (0.3, 0.7): 0.01, (1.8, 0.5): 0.01}


def _family() -> tuple[Shape, ...]:
    shapes = [Shape(1.0, None, 0.0, _LINE)]
    shapes += [Shape(p, None, 0.0, belief) for p, belief in _POWERS.items()]
    shapes += [Shape(1.0, tau, 0.0, _SETTLING / len(_TAUS)) for tau in _TAUS]
    shapes += [Shape(1.0, tau, 0.0, _CREEP / len(_CREEP_TAUS), True) for tau in _CREEP_TAUS]
    mixed = [(tau, s) for tau in _TAUS[:4] for s in (0.25, 0.6)]
    shapes += [Shape(1.0, tau, s, _MIXED / len(mixed)) for tau, s in mixed]
    shapes += [Shape(p, None, s, belief) for (p, s), belief in _BENT.items()]
    return tuple(shapes)


SHAPES = _family()


def curves(minutes: "Sequence[float] | Floats", reference: float) -> "Floats":
    """Return every curve of SHAPES at the given minutes, scaled to 1 at `reference` minutes.

    Shape (curves, minutes). Minutes are not negative, reference is above zero.

    >>> float(curves([15.0], 60.0)[0, 0])  # the straight line
    0.25
    """
    import numpy as np

    power, tau, settles, creeps, steady = _parameters()
    x = np.maximum(np.asarray(minutes, dtype=float), 0.0) / reference
    bent = x[None, :] ** power[:, None]
    settled = -np.expm1(-x[None, :] / tau[:, None]) / -np.expm1(-1.0 / tau[:, None])
    crept = np.log1p(x[None, :] / tau[:, None]) / np.log1p(1.0 / tau[:, None])
    own = np.where(creeps[:, None], crept, np.where(settles[:, None], settled, bent))
    out: Floats = (1.0 - steady[:, None]) * own + steady[:, None] * x[None, :]
    return out


@lru_cache(maxsize=1)
def _parameters() -> "tuple[Floats, Floats, NDArray[np.bool_], NDArray[np.bool_], Floats]":
    import numpy as np

    return (
        np.array([s.power for s in SHAPES]),
        np.array([1.0 if s.tau is None else s.tau for s in SHAPES]),
        np.array([s.tau is not None for s in SHAPES]),
        np.array([s.creeps for s in SHAPES]),
        np.array([s.steady for s in SHAPES]),
    )


@lru_cache(maxsize=1)
def beliefs() -> "Floats":
    """Return the belief in each of SHAPES before any reading."""
    import numpy as np

    return np.array([s.belief for s in SHAPES])


@lru_cache(maxsize=1)
def likeness() -> "Floats":
    """Return how likely a part follows each curve (columns) when its kind's home is a row.

    Near ones by how little they differ up to twice the reference time; a few parts in a hundred may
    follow any curve of the family.
    """
    import numpy as np

    grid = np.linspace(0.05, 2.0, 40)
    every = curves(grid, 1.0)
    apart = np.sqrt(((every[:, None, :] - every[None, :, :]) ** 2).mean(axis=2))
    near = np.exp(-0.5 * (apart / _NEAR) ** 2)
    near = near * beliefs()[None, :]
    near /= near.sum(axis=1, keepdims=True)
    out: Floats = (1.0 - _STRAY) * near + _STRAY * beliefs()[None, :]
    return out
