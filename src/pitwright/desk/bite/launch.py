"""One launch on the clutch as it stands: full throttle, and a driver who holds the grip."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pitwright.desk.bite.bite import Prepared
from pitwright.desk.bite.words import rpm_words
from pitwright.desk.clutch.gears import pair_now
from pitwright.desk.clutch.model import why
from pitwright.mechanics import gears, launch
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.thermal import SPECIFIC_HEAT
from pitwright.mechanics.warmth import EFFUSIVITY, heat_share
from pitwright.weekend.card import Car

__all__ = ["LaunchDesk", "LaunchFigures", "launch_desk", "launch_lines"]

_RPM = 30 / math.pi
_GRAVITY = 9.80665


@dataclass(frozen=True)
class LaunchFigures:
    """One launch. Temperatures are rises of this launch alone, with no heat lost meanwhile [K]."""

    time_s: float
    plateau_rpm: float | None
    dips: bool
    lock_rpm: float
    slip_energy_j: float
    peak_torque_nm: float
    wheelspin: bool | None
    bell_rise_k: float | None
    shoe_rise_k: float | None


@dataclass(frozen=True)
class LaunchDesk:
    """Full throttle, and holding the grip limit; ``unknown`` or ``*_refused`` say why not."""

    calibrated: bool
    full: LaunchFigures | None = None
    full_refused: str = ""
    held: LaunchFigures | None = None
    held_refused: str = ""
    start_rpm: float | None = None
    grip_torque_nm: float | None = None
    final_drive: float | None = None
    assumed: tuple[str, ...] = ()
    unknown: str = ""


def launch_desk(prepared: Prepared, start_rpm: float | None = None) -> LaunchDesk:
    """Return the launch of the clutch as it stands, from idle or from ``start_rpm``."""
    scales, card = prepared.scales, prepared.card
    sure = scales.bite_known and scales.calibration.t is not None
    found = LaunchDesk(sure)
    if prepared.now is None:
        return replace(found, unknown=prepared.unknown)
    if card.car is None:
        return replace(found, unknown="the card says nothing of the car: fill in [car]")
    if card.engine.inertia is None:
        return replace(found, unknown="the card has no engine inertia: [engine] inertia")
    start = start_rpm
    if start is None and card.engine.idle is not None:
        start = card.engine.idle.value
    if start is None:
        return replace(found, unknown="the card has no idle speed: [engine] idle")
    car = card.car
    pinion, spur = pair_now(prepared.weekend, card) or (car.pinion_teeth, car.spur_teeth)
    try:
        drive = gears.final_drive(pinion, spur, car.internal_ratio.value)
        inertia = launch.reflected_inertia(car.mass.si, car.wheel_diameter.si / 2, drive)
        grip = _grip(car, drive)
    except RangeError as error:
        return replace(found, unknown=why(error))
    assumed = ["all wheels driven, first speed, no losses on the way"]
    sink = None
    if card.bell.mass is not None:
        share = heat_share(EFFUSIVITY[card.bell.material], EFFUSIVITY[card.shoes.material])
        heat = card.bell.specific_heat
        sink = launch.HeatSink(
            card.bell.mass.si,
            heat.si if heat is not None else SPECIFIC_HEAT[card.bell.material],
            SPECIFIC_HEAT[card.shoes.material],
            share,
        )
        materials = f"{card.bell.material} against {card.shoes.material}"
        assumed.append(f"{share * 100:.0f} % of the heat goes into the bell: {materials}")
    clutch = scales.applied_to(prepared.now.clutch)
    # A constant torque is known everywhere; a curve may begin above the start.
    speed = max(start / _RPM, prepared.engine.low)

    def run(hold: bool) -> tuple[LaunchFigures | None, str]:
        return _run(prepared, clutch, inertia, speed, grip, sink, hold=hold)

    full, full_refused = run(False)
    held, held_refused = (None, "the card has no grip figure") if grip is None else run(True)
    return replace(
        found,
        full=full,
        full_refused=full_refused,
        held=held,
        held_refused=held_refused,
        start_rpm=speed * _RPM,
        grip_torque_nm=grip,
        final_drive=drive,
        assumed=tuple(assumed),
    )


def _grip(car: Car, drive: float) -> float | None:
    if car.grip is None:
        return None
    load = car.mass.si * _GRAVITY
    return launch.grip_torque(car.grip.value, load, car.wheel_diameter.si / 2, drive)


def _run(
    prepared: Prepared,
    clutch: Clutch,
    inertia: float,
    speed: float,
    grip: float | None,
    sink: launch.HeatSink | None,
    *,
    hold: bool,
) -> tuple[LaunchFigures | None, str]:
    engine_inertia = prepared.card.engine.inertia
    assert engine_inertia is not None
    try:
        done = launch.launch(
            clutch,
            prepared.engine,
            engine_inertia=engine_inertia.si,
            car_inertia=inertia,
            start_speed=speed,
            grip=grip,
            heat_sink=sink,
            hold_grip=hold,
        )
    except RangeError as error:
        return None, why(error)
    return LaunchFigures(
        time_s=done.time,
        plateau_rpm=None if done.plateau_speed is None else done.plateau_speed * _RPM,
        dips=done.dips,
        lock_rpm=done.lock_speed * _RPM,
        slip_energy_j=done.slip_energy,
        peak_torque_nm=done.peak_torque,
        wheelspin=done.wheelspin,
        bell_rise_k=done.bell_rise,
        shoe_rise_k=done.shoe_rise,
    ), ""


def launch_lines(found: LaunchDesk) -> list[str]:
    """Return the launch as lines of text."""
    if found.unknown:
        return [f"Launch: cannot say yet, {found.unknown}"]
    lines = [f"Launch from {rpm_words(found.start_rpm or 0.0)} rpm, first speed"]
    if not found.calibrated:
        lines.append("  Not calibrated on both creep and take-up speeds: good for comparing only")
    for title, figures, refused in (
        ("Full throttle", found.full, found.full_refused),
        ("Held at the grip", found.held, found.held_refused),
    ):
        lines.append(f"  {title}")
        if figures is None:
            lines.append(f"    Cannot say: {refused}")
            continue
        line = f"    {figures.time_s:.2f} s to lock-up"
        if figures.plateau_rpm is not None:
            line += f", engine at {rpm_words(figures.plateau_rpm)} rpm while it slips"
        lines.append(line)
        if figures.wheelspin:
            lines.append("    The tyres would spin: the clutch passes more than they carry")
        lines.append(f"    {figures.slip_energy_j:.0f} J turned to heat in the clutch")
        if figures.bell_rise_k is not None and figures.shoe_rise_k is not None:
            lines.append(
                f"    Bell +{figures.bell_rise_k:.0f} K, shoes +{figures.shoe_rise_k:.0f} K "
                "in this one launch, no heat lost meanwhile"
            )
    if found.grip_torque_nm is not None:
        lines.append(f"  The tyres carry {found.grip_torque_nm:.2f} N m at the clutch")
    lines += [f"  Taken: {each}" for each in found.assumed]
    return [*lines, "  A bell that has just run burns; let it cool before you touch it"]
