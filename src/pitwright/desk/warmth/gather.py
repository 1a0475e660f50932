"""From cards, laps and gun readings to what the warmth of a clutch stands on."""

from __future__ import annotations

import statistics
from dataclasses import dataclass, replace
from datetime import timedelta

from pitwright.desk.clutch.fitted import Fitted, fitted
from pitwright.desk.clutch.gears import pair_now
from pitwright.desk.clutch.model import UnknownClutchError, clutch_model, engine_curve
from pitwright.desk.clutch.observed import Observed
from pitwright.desk.warmth.course import (
    CONDUCTANCE,
    FADE,
    HOT_SPRING,
    KNOWN_AT,
    SPEEDS,
    Corner,
    WarmthInputs,
)
from pitwright.mechanics import gears
from pitwright.mechanics.cooling_fit import Cooling, GunReading, fit_cooling
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.thermal import SPECIFIC_HEAT
from pitwright.mechanics.warmth import EFFUSIVITY, heat_share
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure
from pitwright.weekend.priors import figure_u, prior_u
from pitwright.weekend.records import BellTemperature
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["Gunned", "warmth_inputs"]

_LOSS_W_K, _U_LOG_LOSS = 0.12, 0.7  # a bell of this size; from memory, no source
_COOLS_MIN, _U_LOG_COOLS = 5.0, 0.5
_FADE = -0.0008  # 1/K, of an organic lining; from memory, no source
_U_GUN_K = 4.0  # a gun on bare metal; from memory, no source
_LATEST_MIN = 30.0
_LEAST_RISE_K = 5.0
_AIR_C = 20.0


@dataclass(frozen=True)
class Gunned:
    """A bell's temperature as read, ``after_minutes`` after the end of ``heat``.

    ``why_not`` says why it tells nothing of the cooling, empty when it counts.
    """

    record: str
    bell_c: float
    heat: str = ""
    after_minutes: float = 0.0
    reading: GunReading | None = None
    why_not: str = ""


def warmth_inputs(
    weekend: Weekend, card: ClutchCard, scales: Observed, *, air_c: float | None = None
) -> tuple[WarmthInputs, tuple[Gunned, ...]]:
    """Return what the warmth stands on, and the gun readings it was fitted to.

    ``scales`` is the calibration of the clutch. Raises UnknownClutchError naming what is missing;
    RangeError when a figure cannot be.
    """
    track = weekend.event.track
    if card.car is None:
        raise UnknownClutchError("the card says nothing of the car: fill in [car]")
    if track is None or not track.corner:
        raise UnknownClutchError("weekend.toml names no slow corner: fill in [[track.corner]]")
    if card.bell.mass is None:
        raise UnknownClutchError("the card has no mass of the bell: [bell] mass")
    assumed: list[str] = []
    u: dict[str, float] = {}
    corners = []
    for n, slow in enumerate(track.corner):
        corners.append(Corner(slow.label or f"Corner {n + 1}", slow.speed.si, slow.a_lap))
        if slow.speed.u_si:
            u[f"track/{n}"] = slow.speed.u_si
        else:
            # By eye they are all off the same way: errors that would average out are not claimed.
            share = prior_u("corner speed", 1.0, slow.speed.provenance)
            u[SPEEDS] = max(u.get(SPEEDS, 0.0), share)
    lap = _lap(weekend)
    if lap is None:
        if track.lap is None:
            raise UnknownClutchError("no lap time is known: import laps, or fill in [track] lap")
        lap = track.lap.si
    pinion, spur = pair_now(weekend, card) or (card.car.pinion_teeth, card.car.spur_teeth)
    drive = gears.final_drive(pinion, spur, card.car.internal_ratio.value)
    radius = card.car.wheel_diameter.si / 2
    heat = card.bell.specific_heat
    specific = heat.si if heat is not None else SPECIFIC_HEAT[card.bell.material]
    on = fitted(weekend, card, weekend.state(None, card.id))
    fade, known_at = on.shoes.friction_per_kelvin, on.shoes.friction_known_at
    air = air_c if air_c is not None else _air(weekend)
    if air is None:
        air = _AIR_C
        assumed.append(f"no air was read: taken as {air:.0f} °C")
    if fade is None:
        assumed.append("the card has no fade: 0.08 % of friction lost per K, or none")
    u[FADE] = prior_u("fade", _FADE, "invented") if fade is None else figure_u(fade, "fade").si
    u[KNOWN_AT] = (
        prior_u("temperature", air, "invented")
        if known_at is None
        else figure_u(known_at, "temperature").si
    )
    spring = on.spring.hot_above_bench
    if spring is not None:
        u[HOT_SPRING] = figure_u(spring, "rise").si
    taken = Cooling(*_taken(card.bell.heat_loss, _LOSS_W_K, _U_LOG_LOSS),
                    *_taken_rate(card.bell.cools_in), 0.0, 0)  # fmt: skip
    inputs = WarmthInputs(
        engine=engine_curve(card),
        inertia_at_one=card.car.mass.si * radius**2,
        wheel_radius=radius,
        drive=drive,
        corners=tuple(corners),
        lap_s=lap,
        bell_share=_bell_share(card, on),
        capacity=card.bell.mass.si * specific,
        cooling=taken,
        readings_weigh=0.0,
        air_c=air,
        spring_rise=spring.value if spring is not None else 0.0,
        friction_per_kelvin=fade.si if fade is not None else _FADE,
        known_at_c=known_at.value if known_at is not None else air,
        u=u,
        assumed=tuple(assumed),
    )
    gunned = tuple(
        _gunned(weekend, card, record, inputs, scales)
        for record in weekend.log.records
        if isinstance(record, BellTemperature) and record.clutch == card.id
    )
    cooling = fit_cooling(
        [g.reading for g in gunned if g.reading is not None],
        heat_capacity=inputs.capacity,
        conductance=taken.conductance,
        u_log_conductance=taken.u_log_conductance,
        rate=taken.rate,
        u_log_rate=taken.u_log_rate,
    )
    weigh = 1 - (cooling.u_log_conductance / taken.u_log_conductance) ** 2
    u = {**u, CONDUCTANCE: cooling.u_log_conductance}
    return replace(inputs, cooling=cooling, readings_weigh=max(weigh, 0.0), u=u), gunned


def _bell_share(card: ClutchCard, on: Fitted) -> float:
    """Return the bell's share of the heat, by its material and that of the shoes fitted."""
    return heat_share(EFFUSIVITY[card.bell.material], EFFUSIVITY[on.shoes.material])


def _taken(figure: Figure | None, usual: float, u_log: float) -> tuple[float, float]:
    """Return a figure of the card in SI, or the usual, with the u of its logarithm."""
    if figure is None or not figure.value:
        return usual, u_log
    # Without any doubt left, readings could not move it: a thousandth always stays.
    return figure.si, max(figure_u(figure, "cooling").si / figure.si, 1e-3)


def _taken_rate(cools_in: Figure | None) -> tuple[float, float]:
    seconds, u_log = _taken(cools_in, _COOLS_MIN * 60, _U_LOG_COOLS)
    return 1 / seconds, u_log


def _lap(weekend: Weekend) -> float | None:
    """Return the median lap of the last heat that kept laps [s]."""
    for heat in reversed(weekend.heats):
        if heat.laps:
            return statistics.median(heat.laps)
    return None


def _air(weekend: Weekend) -> float | None:
    for heat in reversed(weekend.heats):
        if heat.run.conditions.air_c is not None:
            return heat.run.conditions.air_c
    return None


def _gunned(
    weekend: Weekend,
    card: ClutchCard,
    record: BellTemperature,
    inputs: WarmthInputs,
    scales: Observed,
) -> Gunned:
    found = Gunned(record.id, record.bell_c)
    heat = _heat_of(weekend, record)
    if heat is None:
        return replace(found, why_not="no heat of a known length came before it")
    run = heat.run.run_minutes or 0.0
    after = record.happened_at - heat.run.happened_at - timedelta(minutes=run)
    minutes = after.total_seconds() / 60
    air = heat.run.conditions.air_c
    rise = record.bell_c - (air if air is not None else inputs.air_c)
    found = replace(found, heat=heat.run.heat, after_minutes=minutes)
    if not 0 <= minutes <= _LATEST_MIN:
        return replace(found, why_not=f"not within {_LATEST_MIN:.0f} min after {heat.run.heat}")
    if rise < _LEAST_RISE_K:
        return replace(found, why_not="as cool as the air already")
    try:
        model = clutch_model(weekend, heat.state)
        clutch = scales.applied_to(model.clutch)
        lap = statistics.median(heat.laps) if heat.laps else inputs.lap_s
        # By the shoes of that heat, which may be of another kind than today's.
        power = _bell_share(card, model.fitted) * inputs.lap_energy(inputs.take_up(clutch)) / lap
    except UnknownClutchError as error:
        return replace(found, why_not=str(error))
    except RangeError as error:
        return replace(found, why_not=str(error))
    if power <= 0:
        return replace(found, why_not="no corner is slow enough to slip")
    running = (run + (heat.run.warm_up_minutes or 0.0)) * 60
    u = record.u_k or _U_GUN_K
    return replace(found, reading=GunReading(rise, u, minutes * 60, power, running))


def _heat_of(weekend: Weekend, record: BellTemperature) -> HeatOnClutch | None:
    for heat in reversed(weekend.heats):
        named = record.heat is None or heat.run.heat.lower() == record.heat.lower()
        before = heat.run.happened_at <= record.happened_at and heat.run.clutch == record.clutch
        if named and before and heat.run.run_minutes and heat.run.status != "cancelled":
            return heat
    return None
