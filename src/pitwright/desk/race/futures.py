"""The races that may come: heat, friction, the setting made, and what one spring and shoes do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pitwright.inference.race import Windows, shares
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.states import States
from pitwright.mechanics.warmth import LEAST_FRICTION

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["RACES", "BellHeat", "Doubts", "Fate", "Luck", "draw_luck", "fate_of", "moments_of"]

RACES: Final = 1000
"""Possible races drawn for each answer."""

_STREAM: Final = 20260518  # fixed, so that the same weekend always gives the same answer
_MOMENTS: Final = 24


@dataclass(frozen=True)
class BellHeat:
    """How the bell warms while it runs, and what that takes of its friction.

    It comes to ``rise_k`` above the air with the time constant ``pace_min``. ``u_log_power`` and
    ``u_log_loss`` are the standard uncertainties of the logarithms of what it takes up and gives
    away; of ``readings_weigh`` (0 to 1) of the loss only the ratio of the two is known, by a gun.
    Friction is the clutch's own at ``known_at_c``.
    """

    engine: EngineTorque
    air_c: float
    rise_k: float
    pace_min: float
    u_log_power: float
    u_log_loss: float
    readings_weigh: float
    friction_per_kelvin: float
    u_friction_per_kelvin: float
    known_at_c: float
    u_known_at_k: float


@dataclass(frozen=True)
class Doubts:
    """What a race may bring beside wear; ``u_`` are standard uncertainties.

    ``hot_k`` is how much hotter the spring runs than on the bench, known to the share ``u_hot``;
    it gets there with the time constant ``warms_min``, the bell's where that is known, give or
    take a factor of its own: no thermometer reaches the spring. ``u_friction`` is by what share
    friction may change the opening force in a race, ``u_spring`` by what share a spring of one
    kind pulls differently from the one whose bite was seen. Their values here are from memory, no
    source. ``u_recess`` [m] is how far the setting made may miss the one meant, ``u_room`` [m] how
    well the way to solid is known, ``u_common`` [share of the bite speed] what is not known of the
    bite itself: the same whichever spring goes in. ``bell`` is None where its warmth is not known.
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
    bell: BellHeat | None = None


@dataclass(frozen=True)
class Luck:
    """What befalls every set alike in each possible race.

    ``rise`` [K] and ``share`` are (races, moments), the change since the start; ``slip`` [m],
    ``room`` [m], ``common`` and ``spring`` (factors) one for each race. ``bell`` is how warm the
    bell is [degC] and what friction it has (a factor), both (races, moments), with the engine that
    the clutch has to hold; None where that is not known.
    """

    moments: tuple[float, ...]
    rise: Floats
    share: Floats
    slip: Floats
    room: Floats
    common: Floats
    spring: Floats
    bell: tuple[Floats, Floats, EngineTorque] | None = None


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

    def lock_up(self, recess: float) -> Floats | None:
        """Return the lock-up [rad/s] at start and end of each race (races, 2), NaN where none.

        None where the warmth of the bell is not known.
        """
        if self.luck.bell is None:
            return None
        _, friction, engine = self.luck.bell
        ends = [0, -1]
        rise, share = self.luck.rise, self.states.share
        states = States(
            self.states.clutch,
            self.length[:, ends],
            self.worn[:, ends],
            rise[:, ends],
            share[:, ends] if not isinstance(share, float) else share,
        )
        return states.lock_up((recess + self.luck.slip)[:, None], engine, friction[:, ends])

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
    ``warm_up_minutes`` w, which the bell is heated in as it is in the race. Friction changes as
    the spring warms, or steadily, half the doubt each; fade is another matter, see ``BellHeat``.
    """
    import numpy as np

    rng = np.random.default_rng(_STREAM)
    at = np.asarray(moments, dtype=float)
    normal = rng.standard_normal((12, races))
    bell = doubts.bell
    log_power = np.zeros(races) if bell is None else bell.u_log_power * normal[8]
    log_loss = np.zeros(races)
    if bell is not None:
        log_loss = bell.u_log_loss * normal[9] + bell.readings_weigh * log_power
    pace = (doubts.warms_min * np.exp(-log_loss))[:, None]
    hot = np.maximum(doubts.hot_k * (1.0 + doubts.u_hot * normal[0]), 0.0)[:, None]
    tau = pace * (doubts.u_warms_factor ** normal[1])[:, None]
    warmed = np.exp(-warm_up_minutes / tau) - np.exp(-(warm_up_minutes + at) / tau)
    part = doubts.u_friction / 2**0.5
    steadily = at / max(at[-1], 1e-9)
    friction = part * (normal[2][:, None] * warmed + normal[3][:, None] * steadily)
    warm = None
    if bell is not None:
        reached = -np.expm1(-(warm_up_minutes + at) / pace)
        degrees = bell.air_c + bell.rise_k * np.exp(log_power - log_loss)[:, None] * reached
        fade = (bell.friction_per_kelvin + bell.u_friction_per_kelvin * normal[10])[:, None]
        known_at = (bell.known_at_c + bell.u_known_at_k * normal[11])[:, None]
        kept = np.maximum(1.0 + fade * (degrees - known_at), LEAST_FRICTION)
        warm = degrees, kept, bell.engine
    return Luck(
        tuple(moments),
        hot * warmed,
        1.0 + friction,
        doubts.u_recess * normal[4],
        doubts.u_room * normal[5],
        1.0 + doubts.u_common * normal[6],
        1.0 + doubts.u_spring * normal[7],
        warm,
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
