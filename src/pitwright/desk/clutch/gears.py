"""Gears: final drive, road speed at the engine's speeds, and how far the engine moves."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitwright.mechanics import gears
from pitwright.mechanics.errors import RangeError
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.weekend import Weekend

__all__ = ["GearDesk", "GearPair", "SpeedAt", "gear_desk", "gear_lines", "pair_now"]

_MM = 1e-3
_SHIFTED_MM = 0.1


@dataclass(frozen=True)
class GearPair:
    """One speed of the gearbox: teeth, final drive, and centre distance [mm] where known."""

    label: str
    pinion: int
    spur: int
    final_drive: float
    centre_distance_mm: float | None


@dataclass(frozen=True)
class SpeedAt:
    """Road speed [km/h] at an engine speed [rpm], clutch locked up, without tyre slip."""

    label: str
    rpm: float
    kmh: tuple[float, ...]


@dataclass(frozen=True)
class GearDesk:
    """The gears of the car; ``unknown`` says what is missing.

    ``shift_per_tooth_mm`` is how far the engine moves per pinion tooth, ``backlash_per_tenth_mm``
    the backlash gained per 0.1 mm of moving apart.
    """

    pairs: tuple[GearPair, ...] = ()
    speeds: tuple[SpeedAt, ...] = ()
    shift_per_tooth_mm: float | None = None
    backlash_per_tenth_mm: float | None = None
    unknown: str = ""


def pair_now(weekend: Weekend, card: ClutchCard) -> tuple[int, int] | None:
    """Return pinion and spur of the first speed: of the last heat that noted them, or the card."""
    if card.car is None:
        return None
    pinion, spur = card.car.pinion_teeth, card.car.spur_teeth
    for heat in reversed(weekend.heats):
        if heat.run.clutch == card.id and (heat.run.pinion_teeth or heat.run.spur_teeth):
            pinion = heat.run.pinion_teeth[0] if heat.run.pinion_teeth else pinion
            spur = heat.run.spur_teeth[0] if heat.run.spur_teeth else spur
            break
    return pinion, spur


def gear_desk(
    weekend: Weekend,
    *,
    clutch: str | None = None,
    pinion: int | None = None,
    spur: int | None = None,
    engine_speeds: tuple[tuple[str, float], ...] = (),
) -> GearDesk:
    """Return the gears; ``pinion`` and ``spur`` stand in for the first speed's.

    ``engine_speeds`` are labels with rpm, such as the bite and lock-up.
    """
    card = weekend.card(clutch)
    first = pair_now(weekend, card)
    if card.car is None or first is None:
        return GearDesk(unknown="the card says nothing of the car: fill in [car]")
    car = card.car
    module = car.module.si if car.module is not None else None
    teeth = [("First", pinion or first[0], spur or first[1])]
    if car.second_pinion_teeth is not None and car.second_spur_teeth is not None:
        teeth.append(("Second", car.second_pinion_teeth, car.second_spur_teeth))
    try:
        pairs = tuple(
            GearPair(
                label,
                z1,
                z2,
                gears.final_drive(z1, z2, car.internal_ratio.value),
                None if module is None else gears.centre_distance(module, z1, z2) / _MM,
            )
            for label, z1, z2 in teeth
        )
    except RangeError as error:
        return GearDesk(unknown=f"{error.argument} {error.reason}")
    speeds = tuple(
        SpeedAt(
            label,
            rpm,
            tuple(
                gears.road_speed(to_si(rpm, "rpm"), p.final_drive, car.wheel_diameter.si) * 3.6
                for p in pairs
            ),
        )
        for label, rpm in engine_speeds
    )
    return GearDesk(
        pairs,
        speeds,
        None if module is None else gears.engine_shift(module, 1) / _MM,
        gears.backlash(_SHIFTED_MM * _MM, math.radians(20)) / _MM,
    )


def gear_lines(found: GearDesk) -> list[str]:
    """Return the gears as lines of text."""
    if found.unknown:
        return [f"Gears: {found.unknown}"]
    lines = ["Gears"]
    for pair in found.pairs:
        apart = (
            f", centres {pair.centre_distance_mm:.2f} mm apart"
            if pair.centre_distance_mm is not None
            else ""
        )
        lines.append(
            f"  {pair.label:<16}{pair.pinion}/{pair.spur}, "
            f"final drive {pair.final_drive:.2f}{apart}"
        )
    for speed in found.speeds:
        each = " / ".join(f"{kmh:.0f}" for kmh in speed.kmh)
        rpm = f"{round(speed.rpm, -1):,.0f}".replace(",", " ")
        lines.append(f"  {speed.label:<16}{each} km/h with no slip, at {rpm} rpm")
    if found.shift_per_tooth_mm is not None:
        lines.append(f"  {'Per tooth':<16}the engine moves {found.shift_per_tooth_mm:.2f} mm")
    if found.backlash_per_tenth_mm is not None:
        lines.append(
            f"  {'Backlash':<16}+{found.backlash_per_tenth_mm:.3f} mm per 0.1 mm moved apart "
            "(20° teeth)"
        )
    return lines
