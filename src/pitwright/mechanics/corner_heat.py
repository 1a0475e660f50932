r"""What one corner exit turns to heat in the clutch, and what a heat full of them does.

Out of a slow corner the car rolls with the clutch below lock-up. The engine comes up, the clutch
slips at nearly the engine's torque until the car has caught up, and the difference of speeds is
turned to heat. One launch heats more than one corner; a heat has hundreds of corners.

SI units: speeds [rad/s], inertias [kg m^2], torques [N m], energies [J], times [s].

Sources:
    [1] Khurmi and Gupta, Theory of Machines, ch. 10 (loss of energy while a clutch slips).
    [2] With engine torque: the integral of the clutch torque times the slip (derived).
"""

from __future__ import annotations

from pitwright.mechanics.errors import (
    RangeError,
    finite_result,
    not_negative,
    positive,
)


def reduced_inertia(first: float, second: float) -> float:
    r"""Inertia that two bodies slipping on each other show to the slip, J1 J2 / (J1 + J2).

    Args:
        first, second: J1 and J2 [kg m^2].

    Raises: RangeError. Source: [1].

    >>> reduced_inertia(2.0, 2.0)
    1.0
    """
    both = positive("first", first) * positive("second", second)
    return finite_result("reduced_inertia", both / (first + second))


def slip_energy(
    engine_inertia: float,
    car_inertia: float,
    slip: float,
    engine_torque: float,
    clutch_torque: float,
) -> float:
    r"""Heat of a clutch that slips at constant torque until engine and car turn together [J].

    .. math:: E = \frac{T_c\, \Delta\omega^2}{2 (T_c (1/J_1 + 1/J_2) - T_e / J_1)}

    Args:
        engine_inertia, car_inertia: J1 and J2 [kg m^2], both as felt at the clutch.
        slip: engine speed less car speed at the start [rad/s], not below zero.
        engine_torque: T_e [N m], not below zero. With none it is half the reduced inertia times
            the slip squared [1]; with as much as the clutch passes, half the car's inertia.
        clutch_torque: T_c [N m].

    Range: both torques constant. Raises: RangeError, also where the engine outruns the clutch, so
    that the slip never ends. Source: [1], [2].

    >>> slip_energy(2.0, 2.0, 10.0, 0.0, 5.0)
    50.0
    >>> slip_energy(2.0, 2.0, 10.0, 5.0, 5.0)
    100.0
    """
    positive("engine_inertia", engine_inertia)
    positive("car_inertia", car_inertia)
    not_negative("slip", slip)
    not_negative("engine_torque", engine_torque)
    positive("clutch_torque", clutch_torque)
    closing = clutch_torque / reduced_inertia(engine_inertia, car_inertia)
    closing -= engine_torque / engine_inertia
    if closing <= 0:
        raise RangeError("clutch_torque", clutch_torque, "is too little to end the slip")
    return finite_result("slip_energy", clutch_torque * slip * slip / (2 * closing))


def corner_energy(car_inertia: float, take_up_speed: float, corner_speed: float) -> float:
    r"""Heat of one corner exit [J]: the engine held at take-up until the car has caught up.

    .. math:: E = \tfrac12 J_2 (\omega_p - \omega_c)^2

    This is :func:`slip_energy` with a clutch that passes what the engine gives, as it does at the
    take-up speed. Nothing at or above that speed, where the clutch does not slip.

    Args:
        car_inertia: the car as felt at the clutch [kg m^2].
        take_up_speed: engine speed while it slips [rad/s].
        corner_speed: engine speed that belongs to the road speed in the corner [rad/s].

    Range: full throttle out of the corner; the friction of the wedge, which holds a little longer
    on the way down, is left out, so it is the most such a corner gives. Raises: RangeError.
    Source: [2].

    >>> round(corner_energy(1.6e-4, 1979.0, 1217.0), 1)
    46.5
    >>> corner_energy(1.6e-4, 1979.0, 2000.0)
    0.0
    """
    positive("car_inertia", car_inertia)
    positive("take_up_speed", take_up_speed)
    slip = take_up_speed - not_negative("corner_speed", corner_speed)
    if slip <= 0:
        return 0.0
    return finite_result("corner_energy", 0.5 * car_inertia * slip * slip)
