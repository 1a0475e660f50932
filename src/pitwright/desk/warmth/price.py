"""What one tooth, or a tenth of recess, costs in shoe life."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from pitwright.desk.bite.bite import Prepared
from pitwright.desk.clutch.gears import pair_now
from pitwright.desk.clutch.model import ClutchModel, input_u
from pitwright.desk.clutch.spread import propagate
from pitwright.desk.warmth.course import WarmthInputs
from pitwright.desk.warmth.shoe_heat import ShoeHeat
from pitwright.desk.wear.forecast import part_forecast
from pitwright.desk.wear.history import WEARS
from pitwright.mechanics import gears
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.errors import RangeError

__all__ = ["ShoePrice", "shoe_prices"]

_TENTH = 1e-4
_NINETY = 1.6448536269514722  # standard deviations to either end of a range nine times in ten

Way = Callable[[WarmthInputs, Clutch], tuple[WarmthInputs, Clutch]]


@dataclass(frozen=True)
class ShoePrice:
    """A change, and what it does to the shoes.

    ``faster_percent`` is how much faster they wear, ``minutes_less`` what that takes off the life
    left, None while that is not known; with standard uncertainties.
    """

    change: str
    faster_percent: float
    u_faster_percent: float
    minutes_less: float | None = None
    u_minutes_less: float | None = None


def shoe_prices(
    prepared: Prepared,
    model: ClutchModel,
    inputs: WarmthInputs,
    shoes: ShoeHeat | None,
    heat_minutes: float,
    now: datetime,
) -> tuple[ShoePrice, ...]:
    """Return the price of a taller and a shorter tooth and of 0.1 mm recess either way.

    Wear goes with slip heat (Archard), so life goes with one over it. The life left is what the
    wear per kilojoule makes of the thickness left, or the wear forecast's where that is not known.
    """
    scales = prepared.scales
    try:
        per_minute = _per_minute(inputs, scales.applied_to(model.clutch), heat_minutes)
    except RangeError:
        return ()
    left = _left(prepared, shoes, per_minute, now)
    found = []
    for change, way in _ways(prepared, inputs):

        def ratio(moved: Mapping[str, float], way: Way = way) -> tuple[float]:
            clutch = scales.applied_to(model.moved(moved), moved)
            before = _per_minute(inputs, clutch, heat_minutes, moved)
            changed, other = way(inputs, clutch)
            return (_per_minute(changed, other, heat_minutes, moved) / before,)

        try:
            (spread,) = propagate(ratio, {**scales.u, **input_u([model]), **inputs.u})
        except RangeError:
            continue  # such a gear or recess cannot be: the spring binds, or it never locks up
        if spread is None:
            continue
        price = ShoePrice(change, (spread.value - 1) * 100, spread.u * 100)
        if left is not None:
            minutes, u_minutes = left
            less = minutes * (1 - 1 / spread.value)
            u = math.hypot(u_minutes * (1 - 1 / spread.value), minutes * spread.u / spread.value**2)
            price = replace(price, minutes_less=less, u_minutes_less=u)
        found.append(price)
    return tuple(found)


def _ways(prepared: Prepared, inputs: WarmthInputs) -> list[tuple[str, Way]]:
    def recess(by: float) -> Way:
        return lambda given, clutch: (given, replace(clutch, recess=clutch.recess + by))

    def geared(drive: float) -> Way:
        return lambda given, clutch: (given.geared(drive), clutch)

    ways: list[tuple[str, Way]] = []
    car = prepared.card.car
    pair = pair_now(prepared.weekend, prepared.card)
    if car is not None and pair is not None:
        for word, teeth in (("taller", 1), ("shorter", -1)):
            pinion = pair[0] + teeth
            try:
                drive = gears.final_drive(pinion, pair[1], car.internal_ratio.value)
            except RangeError:
                continue
            ways.append((f"One tooth {word}, {pinion}/{pair[1]}", geared(drive)))
    ways.append(("0.1 mm more recess", recess(_TENTH)))
    ways.append(("0.1 mm less recess", recess(-_TENTH)))
    return ways


def _per_minute(
    inputs: WarmthInputs,
    clutch: Clutch,
    heat_minutes: float,
    moved: Mapping[str, float] | None = None,
) -> float:
    """Return the slip heat of a minute of a heat with one launch [J]."""
    take_up = inputs.take_up(clutch)
    laps = inputs.lap_energy(take_up, moved or {}) * 60 / inputs.lap_s
    return laps + inputs.launch_energy(take_up) / heat_minutes


def _left(
    prepared: Prepared, shoes: ShoeHeat | None, per_minute: float, now: datetime
) -> tuple[float, float] | None:
    """Return the minutes the fitted shoes have left, and their standard uncertainty."""
    forecast = part_forecast(prepared.weekend, WEARS["shoes"], now, prepared.card.id)
    if forecast is None:
        return None
    span = forecast.minutes_left
    if shoes is not None and forecast.limit is not None and forecast.points:
        last = forecast.points[-1]
        room = (last.value_mm - forecast.limit.value_mm) * 1e3  # micrometres
        if room <= 0:
            return None
        minutes = room / (shoes.um_per_kj * per_minute / 1e3)
        u = math.hypot(shoes.u_um_per_kj / shoes.um_per_kj, last.u_mm * 1e3 / room)
        return minutes, minutes * u
    if span is None or span.middle is None:
        return None
    low, high = span.low or 0.0, span.high
    reach = (high - low) / 2 if high is not None else span.middle - low
    return span.middle, reach / _NINETY
