"""Gears: final drive, road speed, what the shift does, and whether both pairs share a place."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pitwright.mechanics import gears, launch
from pitwright.mechanics.errors import RangeError
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.weekend import Weekend

__all__ = [
    "GearDesk",
    "GearPair",
    "Shift",
    "SpeedAt",
    "gear_desk",
    "gear_lines",
    "grip_torque_now",
    "pair_now",
    "pairs_now",
]

GRAVITY = 9.80665
_MM = 1e-3
_SHIFTED_MM = 0.1
_BAND_MM = 0.1  # of backlash between too tight and too loose, where the card has no limits for it
_ANGLE = math.radians(20)
_PINIONS, _SPURS = range(8, 61), range(20, 121)


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
class Shift:
    """What the shift to second does: engine speed after over before, and the speed [rpm] below
    which it drops the engine under lock-up, so that the clutch slips again; None without one.
    """

    ratio: float
    slips_below_rpm: float | None


@dataclass(frozen=True)
class GearDesk:
    """The gears of the car; ``unknown`` says what is missing.

    ``shift_per_tooth_mm`` is how far the engine moves per pinion tooth, ``backlash_per_tenth_mm``
    the backlash gained per 0.1 mm of moving apart. ``moves_mm`` is how far the gears tried move
    the engine away from the spur against those in the car, None when none are tried.
    ``apart_mm`` is by how much the two pairs' centres differ, ``backlash_apart_mm`` the backlash
    that makes, ``agree`` whether one engine position suits both; ``fits`` are the pairs that would.
    ``per_tyre_mm_percent`` is what a millimetre off the tyres takes of the road speed.
    """

    pairs: tuple[GearPair, ...] = ()
    speeds: tuple[SpeedAt, ...] = ()
    shift_per_tooth_mm: float | None = None
    backlash_per_tenth_mm: float | None = None
    moves_mm: float | None = None
    apart_mm: float | None = None
    backlash_apart_mm: float | None = None
    agree: bool | None = None
    fits: tuple[str, ...] = ()
    shift: Shift | None = None
    tyre_mm: float | None = None
    per_tyre_mm_percent: float | None = None
    unknown: str = ""


Teeth = tuple[int, int]


def pairs_now(weekend: Weekend, card: ClutchCard) -> tuple[Teeth, ...]:
    """Return pinion and spur of each speed: of the last heat that noted them, or the card.

    Nothing when the card says nothing of the car.
    """
    car = card.car
    if car is None:
        return ()
    pairs = [(car.pinion_teeth, car.spur_teeth)]
    if car.second_pinion_teeth is not None and car.second_spur_teeth is not None:
        pairs.append((car.second_pinion_teeth, car.second_spur_teeth))
    for heat in reversed(weekend.heats):
        noted = heat.run.pinion_teeth, heat.run.spur_teeth
        if heat.run.clutch == card.id and any(noted):
            return tuple(
                (
                    noted[0][n] if n < len(noted[0]) else pinion,
                    noted[1][n] if n < len(noted[1]) else spur,
                )
                for n, (pinion, spur) in enumerate(pairs)
            )
    return tuple(pairs)


def pair_now(weekend: Weekend, card: ClutchCard) -> Teeth | None:
    """Return pinion and spur of the first speed, see ``pairs_now``."""
    return next(iter(pairs_now(weekend, card)), None)


def grip_torque_now(weekend: Weekend, card: ClutchCard) -> float | None:
    """Return the clutch torque that the tyres carry [N m]; None where the card does not tell.

    Raises RangeError for figures of the car out of range.
    """
    teeth = pair_now(weekend, card)
    if card.car is None or card.car.grip is None or teeth is None:
        return None
    drive = gears.final_drive(*teeth, card.car.internal_ratio.value)
    load = card.car.mass.si * GRAVITY
    return launch.grip_torque(card.car.grip.value, load, card.car.wheel_diameter.si / 2, drive)


def gear_desk(
    weekend: Weekend,
    *,
    clutch: str | None = None,
    pinion: int | None = None,
    spur: int | None = None,
    second_pinion: int | None = None,
    second_spur: int | None = None,
    tyre_mm: float | None = None,
    bite_rpm: float | None = None,
    lock_up_rpm: float | None = None,
) -> GearDesk:
    """Return the gears; teeth and tyre diameter given stand in for those of the car."""
    card = weekend.card(clutch)
    now, car = pairs_now(weekend, card), card.car
    if car is None or not now:
        return GearDesk(unknown="the card says nothing of the car: fill in [car]")
    tried = [(pinion or now[0][0], spur or now[0][1])]
    if len(now) > 1:
        tried.append((second_pinion or now[1][0], second_spur or now[1][1]))
    elif second_pinion or second_spur:
        return GearDesk(unknown="the card has no second speed: [car] second_pinion_teeth")
    module = car.module.si if car.module is not None else None
    tyre = tyre_mm if tyre_mm is not None else car.wheel_diameter.value
    try:
        pairs = tuple(
            GearPair(
                label,
                z1,
                z2,
                gears.final_drive(z1, z2, car.internal_ratio.value),
                None if module is None else gears.centre_distance(module, z1, z2) / _MM,
            )
            for label, (z1, z2) in zip(("First", "Second"), tried, strict=False)
        )
        speeds = tuple(
            SpeedAt(label, rpm, tuple(_kmh(rpm, pair, tyre) for pair in pairs))
            for label, rpm in (("At the bite", bite_rpm), ("At lock-up", lock_up_rpm))
            if rpm is not None
        )
    except RangeError as error:
        return GearDesk(unknown=f"{error.argument} {error.reason}")
    found = GearDesk(
        pairs,
        speeds,
        backlash_per_tenth_mm=gears.backlash(_SHIFTED_MM * _MM, _ANGLE) / _MM,
        tyre_mm=tyre,
        per_tyre_mm_percent=100 / tyre,
    )
    if len(pairs) > 1:
        first, second = pairs[0].final_drive, pairs[1].final_drive
        below = None if lock_up_rpm is None else gears.lowest_shift(lock_up_rpm, first, second)
        found = replace(found, shift=Shift(second / first, below))
    if module is None:
        return found
    found = replace(found, shift_per_tooth_mm=gears.engine_shift(module, 1) / _MM)
    if tried[0] != now[0]:
        more = sum(tried[0]) - sum(now[0])
        found = replace(found, moves_mm=gears.engine_shift(module, more) / _MM)
    return _shared(found, module, _band(card)) if len(pairs) > 1 else found


def _kmh(rpm: float, pair: GearPair, tyre_mm: float) -> float:
    return gears.road_speed(to_si(rpm, "rpm"), pair.final_drive, tyre_mm * _MM) * 3.6


def _band(card: ClutchCard) -> float:
    """Return the width of the backlash that is good [mm]."""
    mesh = card.quantities.get("gear_mesh")
    if mesh is None or mesh.low is None or mesh.high is None:
        return _BAND_MM
    return mesh.high.value - mesh.low.value


def _shared(found: GearDesk, module: float, band_mm: float) -> GearDesk:
    """Say whether both pairs mesh where the engine stands, and which pairs would."""
    first, second = found.pairs
    teeth = (first.pinion, first.spur), (second.pinion, second.spur)

    def apart(one: Teeth, other: Teeth) -> tuple[float, float]:
        a, b = gears.centre_distance(module, *one), gears.centre_distance(module, *other)
        return abs(a - b) / _MM, gears.backlash_between(a, b, _ANGLE) / _MM

    distance, backlash = apart(*teeth)
    found = replace(found, apart_mm=distance, backlash_apart_mm=backlash, agree=backlash <= band_mm)
    if found.agree:
        return found
    fits = []
    for label, own, other in (("first", teeth[0], teeth[1]), ("second", teeth[1], teeth[0])):
        total = sum(other)
        # Keep one gear of the pair and change the other, so that both pairs add up alike.
        for z1, z2 in ((own[0], total - own[0]), (total - own[1], own[1])):
            if z1 in _PINIONS and z2 in _SPURS and apart((z1, z2), other)[1] <= band_mm:
                fits.append(f"{z1}/{z2} in {label}")
    return replace(found, fits=tuple(fits))


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
    lines += _position_lines(found)
    for speed in found.speeds:
        each = " / ".join(f"{kmh:.0f}" for kmh in speed.kmh)
        lines.append(f"  {speed.label:<16}{each} km/h with no slip, at {_rpm(speed.rpm)} rpm")
    if found.shift is not None:
        lines.append(f"  {'Shift':<16}the engine drops to {found.shift.ratio:.3f} of its speed")
        if found.shift.slips_below_rpm is not None:
            below = _rpm(found.shift.slips_below_rpm, 100)
            lines.append(f"  {'':<16}shifted below {below} rpm the clutch slips again")
    if found.shift_per_tooth_mm is not None:
        lines.append(f"  {'Per tooth':<16}the engine moves {found.shift_per_tooth_mm:.2f} mm;")
        lines.append(f"  {'':<16}what it costs in shoe life: see the warmth")
    if found.backlash_per_tenth_mm is not None:
        lines.append(
            f"  {'Backlash':<16}+{found.backlash_per_tenth_mm:.3f} mm per 0.1 mm moved apart "
            "(20° teeth)"
        )
    if found.tyre_mm is not None and found.per_tyre_mm_percent is not None:
        lines.append(
            f"  {'Tyres':<16}{found.tyre_mm:g} mm; each mm worn off takes "
            f"{found.per_tyre_mm_percent:.1f} % of road speed"
        )
    return lines


def _position_lines(found: GearDesk) -> list[str]:
    lines = []
    if found.moves_mm:
        way = "away from" if found.moves_mm > 0 else "towards"
        lines.append(f"  {'Engine':<16}moves {abs(found.moves_mm):.2f} mm {way} the spur")
    if found.agree is None or found.apart_mm is None or found.backlash_apart_mm is None:
        return lines
    if found.agree:
        return [*lines, f"  {'One position':<16}both pairs mesh where the engine stands"]
    lines.append(
        f"  {'One position':<16}NO: centres differ by {found.apart_mm:.2f} mm, "
        f"{found.backlash_apart_mm:.2f} mm of backlash"
    )
    fits = list(found.fits) or ["none of these gears"]
    return [
        *lines,
        f"  {'':<16}one pair is jammed or loose; would fit:",
        *(f"  {'':<18}{' or '.join(fits[at : at + 2])}" for at in range(0, len(fits), 2)),
    ]


def _rpm(rpm: float, to: int = 10) -> str:
    return f"{round(rpm / to) * to:,.0f}".replace(",", " ")
