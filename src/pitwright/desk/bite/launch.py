"""One launch on the clutch as it stands: full throttle, and a driver who holds the grip."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from pitwright.desk.bite.bite import Prepared
from pitwright.desk.bite.words import rpm_words
from pitwright.desk.clutch.gears import pair_now
from pitwright.desk.clutch.model import input_u, why
from pitwright.desk.clutch.spread import propagate
from pitwright.mechanics import gears, launch
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.engine import EngineTorque, corrected_for_air
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.thermal import SPECIFIC_HEAT
from pitwright.mechanics.warmth import EFFUSIVITY, heat_share
from pitwright.weekend.figures import Figure
from pitwright.weekend.priors import FigureKind, figure_u

__all__ = ["LaunchDesk", "LaunchFigures", "launch_desk", "launch_lines"]

Spins = Literal["spin", "hold", "cannot tell", ""]

_RPM = 30 / math.pi
_GRAVITY = 9.80665


@dataclass(frozen=True)
class LaunchFigures:
    """One launch. Temperatures are rises of this launch alone, with no heat lost meanwhile [K].

    ``u_`` are standard uncertainties. ``spins`` says whether the tyres would, only where twice the
    doubt of clutch and grip leaves none; empty where the grip is not known.
    """

    time_s: float
    plateau_rpm: float | None
    dips: bool
    lock_rpm: float
    slip_energy_j: float
    peak_torque_nm: float
    wheelspin: bool | None
    bell_rise_k: float | None
    shoe_rise_k: float | None
    u_time_s: float = 0.0
    u_plateau_rpm: float = 0.0
    u_slip_energy_j: float = 0.0
    spins: Spins = ""


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
    on = None if prepared.now is None else prepared.now.clutch
    found = LaunchDesk(scales.bite_known(on) and scales.lock_up_known(on))
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
    try:
        ride = _ride(prepared, {})
    except RangeError as error:
        return replace(found, unknown=why(error))
    assumed = ["all wheels driven, first speed, no losses on the way"]
    sink = None
    if card.bell.mass is not None:
        shoes = prepared.now.fitted.shoes
        share = heat_share(EFFUSIVITY[card.bell.material], EFFUSIVITY[shoes.material])
        heat = card.bell.specific_heat
        sink = launch.HeatSink(
            card.bell.mass.si,
            heat.si if heat is not None else SPECIFIC_HEAT[card.bell.material],
            SPECIFIC_HEAT[shoes.material],
            share,
        )
        materials = f"{card.bell.material} against {shoes.material}"
        assumed.append(f"{share * 100:.0f} % of the heat goes into the bell: {materials}")
    # A constant torque is known everywhere; a curve may begin above the start.
    speed = max(start / _RPM, prepared.engine.low)

    def run(hold: bool) -> tuple[LaunchFigures | None, str]:
        return _run(prepared, speed, sink, hold=hold)

    full, full_refused = run(False)
    held, held_refused = (None, "the card has no grip figure") if ride.grip is None else run(True)
    return replace(
        found,
        full=full,
        full_refused=full_refused,
        held=held,
        held_refused=held_refused,
        start_rpm=speed * _RPM,
        grip_torque_nm=ride.grip,
        final_drive=ride.drive,
        assumed=tuple(assumed),
    )


@dataclass(frozen=True)
class _Ride:
    """What the clutch has to move and with what: SI."""

    clutch: Clutch
    engine: EngineTorque
    engine_inertia: float
    car_inertia: float
    drive: float
    grip: float | None


def _doubts(prepared: Prepared) -> dict[str, float]:
    """Return the doubt of each figure of engine and car by key, as a share of it."""
    card, car = prepared.card, prepared.card.car
    found = {"card/engine_torque": prepared.scales.engine_share}
    figures: list[tuple[str, Figure | None, FigureKind]] = [
        ("engine_inertia", card.engine.inertia, "inertia")
    ]
    if car is not None:
        figures += [
            ("car_mass", car.mass, "mass"),
            ("wheel_diameter", car.wheel_diameter, "length"),
            ("internal_ratio", car.internal_ratio, "ratio"),
            ("grip", car.grip, "grip"),
        ]
    for name, figure, kind in figures:
        if figure is not None and figure.si:
            found[f"card/{name}"] = figure_u(figure, kind).si / figure.si
    return found


def _ride(prepared: Prepared, moved: Mapping[str, float]) -> _Ride:
    """Return engine, clutch and car with their errors moved by key; raises RangeError."""
    card, scales, now = prepared.card, prepared.scales, prepared.now
    assert now is not None
    assert card.car is not None
    assert card.engine.inertia is not None
    car = card.car

    def times(name: str) -> float:
        return 1 + moved.get(f"card/{name}", 0.0)

    pinion, spur = pair_now(prepared.weekend, card) or (car.pinion_teeth, car.spur_teeth)
    drive = gears.final_drive(pinion, spur, car.internal_ratio.value * times("internal_ratio"))
    mass = car.mass.si * times("car_mass")
    radius = car.wheel_diameter.si / 2 * times("wheel_diameter")
    grip = None
    if car.grip is not None:
        carried = car.grip.value * times("grip")
        grip = launch.grip_torque(carried, mass * _GRAVITY, radius, drive)
    clutch = scales.applied_to(now.moved(moved), moved)
    torque = times("engine_torque")
    if scales.lock_up_known(clutch) and clutch.t_scale is not None:
        # What the engine is stronger went into t when the take-up was seen, and comes out again.
        clutch = replace(clutch, t_scale=clutch.t_scale / torque)
    return _Ride(
        clutch,
        corrected_for_air(prepared.engine, 1 / torque),
        card.engine.inertia.si * times("engine_inertia"),
        launch.reflected_inertia(mass, radius, drive),
        drive,
        grip,
    )


def _run(
    prepared: Prepared, speed: float, sink: launch.HeatSink | None, *, hold: bool
) -> tuple[LaunchFigures | None, str]:
    now = prepared.now
    assert now is not None

    def done(moved: Mapping[str, float]) -> tuple[launch.Launch, _Ride]:
        ride = _ride(prepared, moved)
        return launch.launch(
            ride.clutch,
            ride.engine,
            engine_inertia=ride.engine_inertia,
            car_inertia=ride.car_inertia,
            start_speed=speed,
            grip=ride.grip,
            heat_sink=sink,
            hold_grip=hold,
        ), ride

    def outputs(moved: Mapping[str, float]) -> tuple[float | None, ...]:
        one, ride = done(moved)
        over = None if ride.grip is None else one.peak_torque - ride.grip
        return one.time, one.plateau_speed, one.slip_energy, over

    try:
        as_is, _ = done({})
        u = {**prepared.scales.u, **input_u([now]), **_doubts(prepared)}
        time, plateau, heat, over = propagate(outputs, u)
    except RangeError as error:
        return None, why(error)
    spins: Spins = ""
    if over is not None and not hold:
        spins = "spin" if over.value > 0 else "hold"
        spins = "cannot tell" if abs(over.value) < 2 * over.u else spins
    return LaunchFigures(
        time_s=as_is.time,
        plateau_rpm=None if as_is.plateau_speed is None else as_is.plateau_speed * _RPM,
        dips=as_is.dips,
        lock_rpm=as_is.lock_speed * _RPM,
        slip_energy_j=as_is.slip_energy,
        peak_torque_nm=as_is.peak_torque,
        wheelspin=as_is.wheelspin,
        bell_rise_k=as_is.bell_rise,
        shoe_rise_k=as_is.shoe_rise,
        u_time_s=0.0 if time is None else time.u,
        u_plateau_rpm=0.0 if plateau is None else plateau.u * _RPM,
        u_slip_energy_j=0.0 if heat is None else heat.u,
        spins=spins,
    ), ""


_SPINS: Mapping[Spins, str] = {
    "spin": "The tyres would spin: the clutch passes more than they carry",
    "cannot tell": "Cannot tell whether the tyres would spin",
}


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
        line = f"    {figures.time_s:.2f} ± {2 * figures.u_time_s:.2f} s to lock-up"
        if figures.plateau_rpm is not None:
            plateau = rpm_words(figures.plateau_rpm, figures.u_plateau_rpm)
            line += f", engine at {plateau} rpm while it slips"
        lines.append(line)
        if figures.spins in _SPINS:
            lines.append(f"    {_SPINS[figures.spins]}")
        heat = f"{figures.slip_energy_j:.0f} ± {2 * figures.u_slip_energy_j:.0f} J"
        lines.append(f"    {heat} turned to heat in the clutch")
        if figures.bell_rise_k is not None and figures.shoe_rise_k is not None:
            lines.append(
                f"    Bell +{figures.bell_rise_k:.0f} K, shoes +{figures.shoe_rise_k:.0f} K "
                "in this one launch, no heat lost meanwhile"
            )
    if found.grip_torque_nm is not None:
        lines.append(f"  The tyres carry {found.grip_torque_nm:.2f} N m at the clutch")
    lines += [f"  Taken: {each}" for each in found.assumed]
    return [*lines, "  A bell that has just run burns; let it cool before you touch it"]
