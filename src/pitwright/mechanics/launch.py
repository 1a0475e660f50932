r"""From standstill to lock-up: the engine against the car, through the slipping clutch.

.. math:: J_e \dot\omega_e = T(\omega_e) - T_c(\omega_e), \qquad J_c \dot\omega_c = T_c(\omega_e)

until the speeds meet. The car is an inertia seen at the clutch; rolling, air and gear losses are
left out, for they are small beside the clutch torque at these speeds.

The engine speed obeys an equation of its own while the clutch slips, so it moves one way only,
toward the take-up speed: it dips only if the throttle is opened from above that speed.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitwright.mechanics.clutch import (
    Clutch,
    capacity_rising,
    closing_force,
    inertia_term,
    opening_force,
    shoe_mass_now,
    take_up_speed,
    torque_per_force,
)
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import (
    RangeError,
    finite_result,
    positive,
    within,
)
from pitwright.mechanics.lockup import lock_up_speed, settling_speed
from pitwright.mechanics.slip import Motion, State, integrate
from pitwright.mechanics.thermal import temperature_rise


@dataclass(frozen=True, slots=True)
class HeatSink:
    """What takes up the slip heat: bell and shoes, and the bell's share of the heat."""

    bell_mass: float  # kg
    bell_heat_capacity: float  # J/(kg K)
    shoe_heat_capacity: float  # J/(kg K)
    bell_share: float = 0.5


@dataclass(frozen=True, slots=True)
class Launch:
    """One launch, from opening the throttle to lock-up.

    Attributes:
        time: from throttle to lock-up [s].
        lock_speed: at which the speeds met [rad/s].
        plateau_speed: the engine's take-up speed while the clutch slips [rad/s], which the engine
            nears and holds until the car has caught up; None when the curve ends before it.
        dips: whether the engine falls to the plateau, having started above it.
        slip_energy: turned to heat in the clutch [J].
        engine_work: done by the engine from throttle to lock-up [J].
        energy_gap: how far the balance of work, motion and heat fails to close, as a share [-].
        peak_torque: the most the clutch passed [N m].
        wheelspin: whether that is more than the tyres carry; None when the grip is unknown. The
            figures then belong to a car whose tyres held.
        bell_rise, shoe_rise: temperature rise of this launch alone [K], adiabatic (nothing flows
            away meanwhile); None without a heat sink.
    """

    time: float
    lock_speed: float
    plateau_speed: float | None
    dips: bool
    slip_energy: float
    engine_work: float
    energy_gap: float
    peak_torque: float
    wheelspin: bool | None
    bell_rise: float | None
    shoe_rise: float | None


def reflected_inertia(car_mass: float, wheel_radius: float, final_drive: float) -> float:
    r"""Inertia of the car as the clutch feels it [kg m^2], :math:`m (r_w / i)^2`.

    Args:
        car_mass: m, ready to run [kg]; add turning parts as mass if they are known.
        wheel_radius: r_w [m].
        final_drive: i, clutch turns per wheel turn [-].

    Raises:
        RangeError: an argument not above zero.

    References:
        .. [1] Equality of kinetic energy, any textbook of dynamics.

    >>> round(reflected_inertia(2.5, 0.0385, 6.0) * 1e6, 1)
    102.9
    """
    positive("car_mass", car_mass)
    positive("wheel_radius", wheel_radius)
    positive("final_drive", final_drive)
    arm = wheel_radius / final_drive
    return finite_result("inertia", car_mass * arm * arm)


def grip_torque(
    tyre_friction: float, driven_load: float, wheel_radius: float, final_drive: float
) -> float:
    r"""Clutch torque at which the driven tyres begin to spin [N m], :math:`\mu F_z r_w / i`.

    Args:
        tyre_friction: mu of tyre on track [-].
        driven_load: F_z on all driven wheels together [N].
        wheel_radius, final_drive: as for :func:`reflected_inertia`.

    Raises:
        RangeError: an argument not above zero.

    References:
        .. [1] Coulomb friction; equality of power through the gears, losses left out.

    >>> round(grip_torque(1.2, 24.5, 0.0385, 6.0), 3)
    0.189
    """
    positive("tyre_friction", tyre_friction)
    positive("driven_load", driven_load)
    positive("wheel_radius", wheel_radius)
    positive("final_drive", final_drive)
    return finite_result("torque", tyre_friction * driven_load * wheel_radius / final_drive)


def launch(
    clutch: Clutch,
    engine: EngineTorque,
    engine_inertia: float,
    car_inertia: float,
    start_speed: float,
    *,
    grip: float | None = None,
    hold_grip: bool = False,
    heat_sink: HeatSink | None = None,
) -> Launch:
    """Run one launch from standstill.

    Args:
        clutch: in its present state.
        engine: full-throttle torque curve; must reach down to ``start_speed``.
        engine_inertia: crank, flywheel and shoes [kg m^2].
        car_inertia: the car as felt at the clutch [kg m^2], see :func:`reflected_inertia`.
        start_speed: engine speed when the throttle opens [rad/s]; idle as a rule.
        grip: most clutch torque the tyres carry [N m], see :func:`grip_torque`.
        hold_grip: False for full throttle all the way; True for a driver who opens it until the
            tyres are at their limit and then holds the engine there. A start above that engine
            speed is taken from that speed.
        heat_sink: for the temperature rises.

    Raises:
        RangeError: an argument out of range; a clutch that cannot bite; an engine that runs off the
            end of its curve before lock-up, or has no torque to get there.

    References:
        .. [1] E. Hairer, S. P. Norsett and G. Wanner, Solving Ordinary Differential Equations I,
               II.5 (Dormand-Prince 5(4)).

    >>> import math
    >>> from pitwright.mechanics.engine import constant_torque
    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> run = launch(clutch, constant_torque(0.4), 4e-6, 1.03e-4, 800.0)
    >>> round(run.time, 2), round(run.slip_energy), run.energy_gap < 1e-6
    (0.52, 198, True)
    """
    positive("engine_inertia", engine_inertia)
    positive("car_inertia", car_inertia)
    positive("start_speed", start_speed)
    engine.at(start_speed)
    if grip is not None:
        positive("grip", grip)
    elif hold_grip:
        raise RangeError("grip", grip, "must be known for a driver to hold it")
    at_grip = None
    if hold_grip and grip is not None:
        at_grip = take_up_speed(clutch, grip)
        start_speed = min(start_speed, at_grip)
    held = capacity_rising(clutch, start_speed)
    falling = held > engine.at(start_speed)
    plateau = (
        settling_speed(clutch, engine, start_speed) if falling else lock_up_speed(clutch, engine)
    )
    per_force, term = torque_per_force(clutch), inertia_term(clutch)
    force = closing_force(clutch) if falling else opening_force(clutch)
    square, offset = per_force * term, per_force * force

    def torque(speed: float) -> float:
        following = square * speed * speed - offset
        if falling and following > held:
            return held
        return following if following > 0.0 else 0.0

    motion = Motion(engine.clamped, torque, engine_inertia, car_inertia)
    kinks = [(offset / square) ** 0.5]
    if falling:
        kinks.append(((offset + held) / square) ** 0.5)
    state, reached = integrate(
        motion,
        State(0.0, start_speed, 0.0, 0.0, 0.0),
        engine.low,
        engine.high,
        kinks,
        None if falling else at_grip,
    )
    peak = torque(state.engine_speed)
    if reached:
        state = _at_held_speed(state, car_inertia, peak)
    peak = max(peak, held)
    gap = _energy_gap(state, engine_inertia, car_inertia, start_speed)
    bell_rise, shoe_rise = _rises(clutch, state.heat, heat_sink)
    return Launch(
        time=finite_result("time", state.time),
        lock_speed=state.car_speed,
        plateau_speed=at_grip if reached else plateau,
        dips=falling,
        slip_energy=finite_result("slip_energy", state.heat),
        engine_work=finite_result("engine_work", state.work),
        energy_gap=gap,
        peak_torque=peak,
        wheelspin=None if grip is None else peak > grip * (1 + 1e-9),
        bell_rise=bell_rise,
        shoe_rise=shoe_rise,
    )


def _at_held_speed(state: State, car_inertia: float, torque: float) -> State:
    """Let the car catch up while the driver holds engine speed and clutch torque."""
    slip = state.engine_speed - state.car_speed
    duration = slip * car_inertia / torque
    return State(
        state.time + duration,
        state.engine_speed,
        state.engine_speed,
        state.work + torque * state.engine_speed * duration,
        state.heat + 0.5 * torque * slip * duration,
    )


def _energy_gap(
    state: State, engine_inertia: float, car_inertia: float, start_speed: float
) -> float:
    engine_gain = 0.5 * engine_inertia * (state.engine_speed**2 - start_speed**2)
    car_gain = 0.5 * car_inertia * state.car_speed**2
    turned_over = state.work + 0.5 * engine_inertia * start_speed**2
    gap = abs(state.work - engine_gain - car_gain - state.heat) / turned_over
    return finite_result("energy_gap", gap)


def _rises(clutch: Clutch, heat: float, sink: HeatSink | None) -> tuple[float | None, float | None]:
    if sink is None:
        return None, None
    within("bell_share", sink.bell_share, 0.0, 1.0)
    shoes = clutch.shoes * shoe_mass_now(clutch)
    return (
        temperature_rise(sink.bell_share * heat, sink.bell_mass, sink.bell_heat_capacity),
        temperature_rise((1 - sink.bell_share) * heat, shoes, sink.shoe_heat_capacity),
    )
