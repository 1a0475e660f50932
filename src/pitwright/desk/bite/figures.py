"""The figures of one clutch's bite, and the change between two, with their uncertainties."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from pitwright.desk.clutch.model import ClutchModel, input_u, why
from pitwright.desk.clutch.observed import Observed
from pitwright.desk.clutch.spread import Spread, propagate
from pitwright.mechanics.bite import RPM_PER_TENTH_MM, sensitivities
from pitwright.mechanics.clutch import (
    Clutch,
    bite_speed,
    force_at_bell,
    free_travel_left,
    let_go_speed,
    near_solid,
    preload,
    torque_per_force,
    way_to_solid,
)
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lockup import lock_up_speed

__all__ = ["BiteFigures", "Change", "PerTenth", "change_between", "figures_of", "per_tenth"]

AtIdle = Literal["lets go", "drags", "cannot tell", ""]

_RPM = 30 / math.pi
_MM = 1e-3


@dataclass(frozen=True)
class BiteFigures:
    """One clutch: speeds in rpm with standard uncertainties, lengths in mm, force in N.

    Without a calibration the speeds are the model's own: good for changes, not the car's truth.
    ``at_idle`` says whether it lets go there, empty where the idle is not known.
    ``refused`` says why there are none. ``no_lock_up`` says why that speed is missing.
    """

    label: str
    recess_mm: float | None = None
    free_length_mm: float | None = None
    worn_mm: float | None = None
    bite_rpm: float | None = None
    u_bite_rpm: float | None = None
    let_go_rpm: float | None = None
    u_let_go_rpm: float | None = None
    lock_up_rpm: float | None = None
    u_lock_up_rpm: float | None = None
    no_lock_up: str = ""
    preload_mm: float | None = None
    force_at_bite_n: float | None = None
    free_travel_mm: float | None = None
    u_free_travel_mm: float | None = None
    near_solid: bool = False
    solid_share: float | None = None
    at_idle: AtIdle = ""
    assumed: tuple[str, ...] = ()
    refused: str = ""


@dataclass(frozen=True)
class Change:
    """Speeds of one clutch less those of another [rpm], with standard uncertainties.

    ``torque_percent`` is how much more torque the one passes for the same push on the bell, where
    the two have shoes of different kinds.
    """

    against: str
    bite_rpm: float
    u_bite_rpm: float
    let_go_rpm: float
    lock_up_rpm: float | None
    u_let_go_rpm: float = 0.0
    u_lock_up_rpm: float | None = None
    torque_percent: float | None = None
    u_torque_percent: float | None = None


@dataclass(frozen=True)
class PerTenth:
    """Change of the bite [rpm] per 0.1 mm more recess, more free length, more shoe wear."""

    recess: float
    free_length: float
    worn: float


def _speeds(clutch: Clutch, engine: EngineTorque) -> tuple[float, float, float | None, float]:
    try:
        lock = lock_up_speed(clutch, engine)
    except RangeError:
        lock = None
    return (
        bite_speed(clutch) * _RPM,
        let_go_speed(clutch) * _RPM,
        None if lock is None else lock * _RPM,
        free_travel_left(clutch) / _MM,
    )


def figures_of(
    label: str,
    model: ClutchModel | None,
    unknown: str,
    scales: Observed,
    engine: EngineTorque,
    idle: float | None,
    u_idle: float = 0.0,
) -> BiteFigures:
    """Return every figure of a clutch; ``unknown`` is why there is no model."""
    if model is None:
        return BiteFigures(label, refused=unknown)
    clutch = model.clutch
    figures = BiteFigures(
        label,
        recess_mm=clutch.recess / _MM,
        free_length_mm=clutch.free_length / _MM,
        worn_mm=clutch.worn / _MM,
        preload_mm=preload(clutch) / _MM,
        free_travel_mm=free_travel_left(clutch) / _MM,
        assumed=model.assumed,
    )

    def speeds(moved: Mapping[str, float]) -> tuple[float | None, ...]:
        return _speeds(scales.applied_to(model.moved(moved), moved), engine)

    try:
        bite, let_go, lock_up, travel = propagate(speeds, {**scales.u, **input_u([model])})
        force = force_at_bell(clutch)
    except RangeError as error:
        return replace(figures, refused=why(error))
    assert bite is not None
    assert let_go is not None
    assert travel is not None
    calibrated = scales.applied_to(clutch)
    return replace(
        figures,
        bite_rpm=bite.value,
        u_bite_rpm=bite.u,
        let_go_rpm=let_go.value,
        u_let_go_rpm=let_go.u,
        lock_up_rpm=None if lock_up is None else lock_up.value,
        u_lock_up_rpm=None if lock_up is None else lock_up.u,
        no_lock_up="" if lock_up is not None else _no_lock_up(calibrated, engine),
        force_at_bite_n=force,
        u_free_travel_mm=travel.u,
        near_solid=near_solid(clutch),
        solid_share=way_to_solid(clutch),
        at_idle=_at_idle(let_go, idle, u_idle),
    )


def _at_idle(let_go: Spread, idle: float | None, u_idle: float) -> AtIdle:
    """Say whether the clutch lets go at idle: only where twice the doubt of both leaves none."""
    if idle is None:
        return ""
    margin = let_go.value - idle * _RPM
    if abs(margin) < 2 * math.hypot(let_go.u, u_idle * _RPM):
        return "cannot tell"
    return "lets go" if margin > 0 else "drags"


def _no_lock_up(clutch: Clutch, engine: EngineTorque) -> str:
    try:
        lock_up_speed(clutch, engine)
    except RangeError as error:
        return why(error)
    return "the clutch still slips where the engine's torque curve ends"


def change_between(
    figures: BiteFigures,
    model: ClutchModel | None,
    other: BiteFigures,
    other_model: ClutchModel | None,
    scales: Observed,
    engine: EngineTorque,
    other_engine: EngineTorque,
) -> Change | None:
    """Return one clutch's speeds less another's, None when either has none."""
    if model is None or other_model is None or figures.refused or other.refused:
        return None
    here_pair, there_pair = model.clutch.kinds, other_model.clutch.kinds
    if here_pair != there_pair and not (
        scales.bite_known(model.clutch) and scales.bite_known(other_model.clutch)
    ):
        # A scale that only one of them has would pass for a difference between the kinds.
        scales = scales.without
    alike = model.fitted.shoes_kind.casefold() == other_model.fitted.shoes_kind.casefold()

    def differences(moved: Mapping[str, float]) -> tuple[float | None, ...]:
        here = _speeds(scales.applied_to(model.moved(moved), moved), engine)
        there = _speeds(scales.applied_to(other_model.moved(moved), moved), other_engine)
        less = (
            None if a is None or b is None else a - b
            for a, b in zip(here[:3], there[:3], strict=True)
        )
        return (*less, None if alike else _more_torque(model, other_model, scales, moved))

    # Together, for what both stand on mostly cancels.
    bite, let_go, lock_up, torque = propagate(
        differences, {**scales.u, **input_u([model, other_model])}
    )
    assert bite is not None
    assert let_go is not None
    return Change(
        against=other.label,
        bite_rpm=bite.value,
        u_bite_rpm=bite.u,
        let_go_rpm=let_go.value,
        u_let_go_rpm=let_go.u,
        lock_up_rpm=None if lock_up is None else lock_up.value,
        u_lock_up_rpm=None if lock_up is None else lock_up.u,
        torque_percent=None if torque is None else torque.value,
        u_torque_percent=None if torque is None else torque.u,
    )


def _more_torque(
    model: ClutchModel, other: ClutchModel, scales: Observed, moved: Mapping[str, float]
) -> float:
    here = torque_per_force(scales.applied_to(model.moved(moved), moved))
    return 100 * (here / torque_per_force(scales.applied_to(other.moved(moved), moved)) - 1)


def per_tenth(model: ClutchModel | None, scales: Observed) -> PerTenth | None:
    """Return what a mechanic steers by, None when the clutch cannot bite."""
    if model is None:
        return None
    try:
        found = sensitivities(scales.applied_to(model.clutch))
    except RangeError:
        return None
    return PerTenth(
        found.recess * RPM_PER_TENTH_MM,
        found.free_length * RPM_PER_TENTH_MM,
        found.wear * RPM_PER_TENTH_MM,
    )
