"""What slip heat does over a heat: bell, friction, lock-up and bite minute by minute."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from pitwright.desk.bite.bite import Prepared
from pitwright.desk.clutch.model import ClutchModel, UnknownClutchError, input_u, why
from pitwright.desk.clutch.spread import Spread, propagate
from pitwright.desk.status import next_main
from pitwright.desk.warmth.course import WarmthInputs
from pitwright.desk.warmth.gather import Gunned, warmth_inputs
from pitwright.desk.warmth.price import ShoePrice, shoe_prices
from pitwright.desk.warmth.shoe_heat import ShoeHeat, shoe_heat
from pitwright.mechanics.clutch import bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lockup import lock_up_speed

__all__ = ["AtMinute", "CornerHeat", "WarmthDesk", "late_minute", "warmth_desk"]

_RPM = 30 / math.pi
_MAIN_MIN = 20.0
_EARLY_MIN = 5.0


@dataclass(frozen=True)
class CornerHeat:
    """A slow corner: how often a lap, and the slip heat of one exit [J]."""

    label: str
    a_lap: int
    joules: float


@dataclass(frozen=True)
class AtMinute:
    """One minute of a heat. ``u_*`` are standard uncertainties.

    ``friction_percent`` is the change of the bell's friction against that of the speeds seen;
    ``lock_up_change_rpm`` and ``bite_change_rpm`` are against the clutch as the Bite screen has it,
    its spring cold. Lock-up is None where it never comes.
    """

    minute: float
    bell_c: float
    u_bell_k: float
    friction_percent: float
    u_friction_percent: float
    bite_rpm: float
    u_bite_rpm: float
    bite_change_rpm: float
    u_bite_change_rpm: float
    lock_up_rpm: float | None = None
    u_lock_up_rpm: float | None = None
    lock_up_change_rpm: float | None = None
    u_lock_up_change_rpm: float | None = None


@dataclass(frozen=True)
class WarmthDesk:
    """The warmth of one clutch over a heat; ``unknown`` says why there is none.

    ``heat`` is the main to come (empty: a main of ``minutes``). ``heat_joules`` is its slip heat,
    launch included. ``loss_w_k`` is what the bell gives away per kelvin while it runs, ``u_loss``
    its standard uncertainty as a share, ``cools_in_minutes`` the time to 37 % of its rise when it
    stands. ``calibrated`` is whether the speeds are this car's own.
    """

    calibrated: bool
    unknown: str = ""
    gears: str = ""
    lap_s: float = 0.0
    air_c: float = 0.0
    corners: tuple[CornerHeat, ...] = ()
    launch_joules: float = 0.0
    heat: str = ""
    minutes: float = 0.0
    heat_joules: float = 0.0
    bell_share: float = 0.0
    at: tuple[AtMinute, ...] = ()
    loss_w_k: float = 0.0
    u_loss: float = 0.0
    cools_in_minutes: float = 0.0
    gunned: tuple[Gunned, ...] = ()
    shoes: ShoeHeat | None = None
    prices: tuple[ShoePrice, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def lap_joules(self) -> float:
        """The slip heat of a lap's corners [J]."""
        return sum(corner.a_lap * corner.joules for corner in self.corners)


def warmth_desk(
    prepared: Prepared, now: datetime, *, minute: float | None = None, air_c: float | None = None
) -> WarmthDesk:
    """Return the warmth of the clutch as it stands; ``minute`` asks for one minute more."""
    scales, card, weekend = prepared.scales, prepared.card, prepared.weekend
    model = prepared.now
    on = None if model is None else model.clutch
    found = WarmthDesk(scales.bite_known(on) and scales.lock_up_known(on))
    if model is None:
        return replace(found, unknown=prepared.unknown)
    main = next_main(weekend, now)
    minutes = main.minutes if main is not None else _MAIN_MIN
    try:
        inputs, gunned = warmth_inputs(weekend, card, scales, air_c=air_c)
        take_up = inputs.take_up(scales.applied_to(model.clutch))
        energies = inputs.corner_energies(take_up)
        launch = inputs.launch_energy(take_up)
        asked = {_EARLY_MIN, min(_MAIN_MIN, minutes), minute or _EARLY_MIN}
        at = tuple(_at(prepared, model, inputs, each) for each in sorted(asked))
    except UnknownClutchError as error:
        return replace(found, unknown=str(error))
    except RangeError as error:
        return replace(found, unknown=why(error))
    corners = tuple(
        CornerHeat(c.label, c.a_lap, e) for c, e in zip(inputs.corners, energies, strict=True)
    )
    lap_joules = sum(c.a_lap * c.joules for c in corners)
    shoes = shoe_heat(prepared, inputs)
    assumed = [*inputs.assumed, *model.assumed]
    return replace(
        found,
        gears=f"final drive {inputs.drive:.2f}",
        lap_s=inputs.lap_s,
        air_c=inputs.air_c,
        corners=corners,
        launch_joules=launch,
        heat=main.name if main is not None else "",
        minutes=minutes,
        heat_joules=launch + lap_joules * minutes * 60 / inputs.lap_s,
        bell_share=inputs.bell_share,
        at=at,
        loss_w_k=inputs.cooling.conductance,
        u_loss=inputs.cooling.u_log_conductance,
        cools_in_minutes=1 / inputs.cooling.rate / 60,
        gunned=gunned,
        shoes=shoes,
        prices=shoe_prices(prepared, model, inputs, shoes, minutes, now),
        assumed=tuple(assumed),
    )


def late_minute(prepared: Prepared, now: datetime) -> AtMinute | None:
    """Return minute 20 of the main to come, or its end; None when that cannot be said."""
    if prepared.now is None:
        return None
    main = next_main(prepared.weekend, now)
    minute = min(_MAIN_MIN, main.minutes) if main is not None else _MAIN_MIN
    try:
        inputs, _ = warmth_inputs(prepared.weekend, prepared.card, prepared.scales)
        return _at(prepared, prepared.now, inputs, minute)
    except (UnknownClutchError, RangeError):
        return None


def _at(prepared: Prepared, model: ClutchModel, inputs: WarmthInputs, minute: float) -> AtMinute:
    scales, engine = prepared.scales, prepared.engine

    def compute(moved: Mapping[str, float]) -> tuple[float | None, ...]:
        clutch = scales.applied_to(model.moved(moved), moved)
        cold_lock = inputs.take_up(clutch)
        warm = inputs.course(cold_lock, moved).at(minute)
        hot = warm.on(clutch)
        lock = lock_up_speed(hot, engine)
        cold_bite, bite = bite_speed(clutch), bite_speed(hot)
        change = None if lock is None else (lock - cold_lock) * _RPM
        return (
            warm.bell_c,
            (warm.friction - 1) * 100,
            bite * _RPM,
            (bite - cold_bite) * _RPM,
            None if lock is None else lock * _RPM,
            change,
        )

    spread = propagate(compute, {**scales.u, **input_u([model]), **inputs.u})
    bell, friction, bite, bite_change, lock, lock_change = spread
    assert isinstance(bell, Spread)
    assert isinstance(friction, Spread)
    assert isinstance(bite, Spread)
    assert isinstance(bite_change, Spread)
    return AtMinute(
        minute,
        bell.value,
        bell.u,
        friction.value,
        friction.u,
        bite.value,
        bite.u,
        bite_change.value,
        bite_change.u,
        *((lock.value, lock.u) if lock is not None else (None, None)),
        *((lock_change.value, lock_change.u) if lock_change is not None else (None, None)),
    )
