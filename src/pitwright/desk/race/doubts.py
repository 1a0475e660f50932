"""What a race may bring beside wear, taken from card, readings and the warmth of the clutch."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from pitwright.desk.clutch.model import ClutchModel, UnknownClutchError, input_u, why
from pitwright.desk.clutch.observed import Observed
from pitwright.desk.clutch.spread import propagate
from pitwright.desk.race.futures import BellHeat, Doubts
from pitwright.desk.warmth.course import FADE, KNOWN_AT, WarmthInputs
from pitwright.desk.warmth.gather import warmth_inputs
from pitwright.mechanics.clutch import bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.priors import figure_u
from pitwright.weekend.weekend import Weekend

__all__ = ["doubts_of"]

_U_SET_MM: Final = 0.015
"""How far a recess set and read misses the one meant, with the tool's own error the same each
time; from memory, no source."""


def doubts_of(
    weekend: Weekend, card: ClutchCard, scales: Observed, model: ClutchModel
) -> tuple[Doubts, str]:
    """Return what may befall every set alike, and why the bell's warmth is not in it (or empty).

    ``model`` is the clutch as it is fitted, set to bite near where it is wanted. Raises RangeError
    where it cannot bite.
    """
    inputs, missing = _warmth(weekend, card, scales, model)
    bite, power = _bite_and_power(model, scales, inputs)
    room = math.hypot(
        model.u.get("recess_bottomed", 0.0),
        model.u.get("clearance", 0.0) * math.tan(model.clutch.wedge_angle),
    )
    doubts = Doubts(_U_SET_MM * 1e-3, room, bite[1] / bite[0])
    hot = model.fitted.spring.hot_above_bench
    if hot is not None:
        doubts = replace(doubts, hot_k=hot.value,
                         u_hot=figure_u(hot, "rise").si / max(hot.value, 1e-9))  # fmt: skip
    if inputs is None:
        return doubts, missing
    bell = _bell(inputs, *power)
    return replace(doubts, warms_min=bell.pace_min, bell=bell), ""


def _warmth(
    weekend: Weekend, card: ClutchCard, scales: Observed, model: ClutchModel
) -> tuple[WarmthInputs | None, str]:
    """Return what the warmth of this clutch stands on, or why that is not known."""
    try:
        inputs, _ = warmth_inputs(weekend, card, scales)
        inputs.take_up(scales.applied_to(model.clutch))
    except UnknownClutchError as error:
        return None, str(error)
    except RangeError as error:
        return None, why(error)
    return inputs, ""


def _bite_and_power(
    model: ClutchModel, scales: Observed, inputs: WarmthInputs | None
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return bite [rad/s] and mean slip power [W], each with its standard uncertainty.

    The bite's is what is not known but for the sizes that are looked ahead.
    """

    def compute(moved: Mapping[str, float]) -> tuple[float, float | None]:
        clutch = scales.applied_to(model.moved(moved), moved)
        power = None
        if inputs is not None:
            power = inputs.lap_energy(inputs.take_up(clutch), moved) / inputs.lap_s
        return bite_speed(clutch), power

    u = {**scales.u, **input_u([model]), **({} if inputs is None else inputs.u)}
    bite, power = propagate(compute, u)
    assert bite is not None
    own = {key for key, doubt in model.doubts.items() if doubt.own}
    u_bite = math.hypot(*(part for key, part in bite.contributions.items() if key not in own))
    return (bite.value, u_bite), (0.0, 0.0) if power is None else (power.value, power.u)


def _bell(inputs: WarmthInputs, power: float, u_power: float) -> BellHeat:
    cooling = inputs.cooling
    return BellHeat(
        engine=inputs.engine,
        air_c=inputs.air_c,
        rise_k=inputs.bell_share * power / cooling.conductance,
        pace_min=inputs.capacity / cooling.conductance / 60,
        u_log_power=math.sqrt(math.log1p((u_power / power) ** 2)) if power > 0 else 0.0,
        u_log_loss=cooling.u_log_conductance,
        readings_weigh=inputs.readings_weigh,
        friction_per_kelvin=inputs.friction_per_kelvin,
        u_friction_per_kelvin=inputs.u[FADE],
        known_at_c=inputs.known_at_c,
        u_known_at_k=inputs.u[KNOWN_AT],
    )
