"""The races that may come: heat, friction, the setting made, and what one spring and shoes do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pitwright.inference.race import Windows, shares
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.states import States

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["RACES", "Doubts", "Fate", "Luck", "draw_luck", "fate_of", "moments_of"]

RACES: Final = 1000
"""Possible races drawn for each answer."""

_STREAM: Final = 20260518  # fixed, so that the same weekend always gives the same answer
_MOMENTS: Final = 24


@dataclass(frozen=True)
class Doubts:
    """What a race may bring beside wear; ``u_`` are standard uncertainties.

    ``hot_k`` is how much hotter the spring runs than on the bench, known to the share ``u_hot``;
    it gets there with the time constant ``warms_min``, give or take a factor. ``u_friction`` is by
    what share friction may change the opening force in a race, ``u_spring`` by what share a spring
    of one kind pulls differently from the one whose bite was seen. All five are from memory, no
    source. ``u_recess`` [m] is how far the setting made may miss the one meant, ``u_room`` [m] how
    well the way to solid is known, ``u_common`` [share of the bite speed] what is not known of the
    bite itself: the same whichever spring goes in.
    """

    u_recess: float
    u_room: float = 0.0
    u_common: float = 0.0
    hot_k: float = 60.0
    u_hot: float = 0.3
    warms_min: float = 4.0
    u_warms_factor: float = 1.5
    u_friction: float = 0.02
    u_spring: float = 0.01


@dataclass(frozen=True)
class Luck:
    """What befalls every set alike in each possible race.

    ``rise`` [K] and ``share`` are (races, moments), the change since the start; ``slip`` [m],
    ``room`` [m], ``common`` and ``spring`` (factors) one for each race.
    """

    moments: tuple[float, ...]
    rise: Floats
    share: Floats
    slip: Floats
    room: Floats
    common: Floats
    spring: Floats


@dataclass(frozen=True)
class Fate:
    """What one spring and one shoe set do in each possible race.

    ``worn`` [m] is the shoes' wear, and ``length`` [m] the spring's; both (races, moments).
    """

    states: States
    luck: Luck
    length: Floats
    worn: Floats

    def windows(self, target: float, half: float, *, absolute: bool = False) -> Windows:
        """Return the recesses that keep the bite within ``half`` of ``target`` [rad/s].

        ``absolute`` counts what is not known of the bite for every set alike.
        """
        import numpy as np

        by = 1.0 / self.luck.common[:, None] if absolute else 1.0
        most = self.states.most_recess + self.luck.room[:, None]
        return Windows(
            low=self.states.recess_for(max(target - half, 1e-9) * by),
            aim=self.states.recess_for(target * by),
            high=np.minimum(self.states.recess_for((target + half) * by), most),
            minutes=shares(self.luck.moments),
            slip=self.luck.slip,
        )

    def bite(self, recess: float) -> Floats:
        """Return the bite [rad/s] over each race, set to a recess [m], all that is unknown in it.

        What the bite is known to for every set alike is left out; ``luck.common`` has it.
        """
        return self.states.bite((recess + self.luck.slip)[:, None])

    def let_go(self, recess: float) -> Floats:
        """Return the let-go [rad/s] over each race."""
        return self.states.let_go((recess + self.luck.slip)[:, None])

    def room_left(self, recess: float) -> Floats:
        """Return how far the spring is from solid at the bite [m], over each race."""
        set_to = (recess + self.luck.slip - self.luck.room)[:, None]
        return self.states.most_recess - set_to


def moments_of(minutes: float) -> tuple[float, ...]:
    """Return the moments a race of so many minutes is looked at, its start and end among them."""
    return tuple(minutes * i / _MOMENTS for i in range(_MOMENTS + 1))


def draw_luck(
    moments: Sequence[float], doubts: Doubts, warm_up_minutes: float = 0.0, races: int = RACES
) -> Luck:
    """Draw what may befall every set alike. The spring warms on as the heat goes on:

    rise(t) = hot (exp(-w / tau) - exp(-(w + t) / tau)) above its temperature at the start, after
    ``warm_up_minutes`` w. Friction changes as it warms, or steadily, half the doubt each.
    """
    import numpy as np

    rng = np.random.default_rng(_STREAM)
    at = np.asarray(moments, dtype=float)
    normal = rng.standard_normal((8, races))
    hot = np.maximum(doubts.hot_k * (1.0 + doubts.u_hot * normal[0]), 0.0)[:, None]
    tau = (doubts.warms_min * doubts.u_warms_factor ** normal[1])[:, None]
    warmed = np.exp(-warm_up_minutes / tau) - np.exp(-(warm_up_minutes + at) / tau)
    part = doubts.u_friction / 2**0.5
    steadily = at / max(at[-1], 1e-9)
    friction = part * (normal[2][:, None] * warmed + normal[3][:, None] * steadily)
    return Luck(
        tuple(moments),
        hot * warmed,
        1.0 + friction,
        doubts.u_recess * normal[4],
        doubts.u_room * normal[5],
        1.0 + doubts.u_common * normal[6],
        1.0 + doubts.u_spring * normal[7],
    )


def fate_of(
    clutch: Clutch,
    length_mm: Floats,
    worn_mm: Floats,
    luck: Luck,
    *,
    spring_seen: bool,
) -> Fate:
    """Return what a spring and a shoe set do, from their possible sizes (draws, moments) [mm].

    Sizes come from forecasts of their own, whose draws have nothing to do with each other.
    ``spring_seen`` tells that this very spring's bite is what the clutch was calibrated by.
    """
    import numpy as np

    rng = np.random.default_rng(_STREAM + 1)
    races = luck.slip.size
    length = _some(length_mm, races, rng) * 1e-3
    worn = np.maximum(_some(worn_mm, races, rng) * 1e-3, 0.0)
    share = luck.share if spring_seen else luck.share * luck.spring[:, None]
    return Fate(States(clutch, length, worn, luck.rise, share), luck, length, worn)


def _some(draws: Floats, races: int, rng: np.random.Generator) -> Floats:
    """Return so many of the draws, in an order of their own."""
    which = rng.choice(len(draws), races, replace=len(draws) < races)
    return draws[which]
