"""Pinion, spur and what is left to the wheel.

SI units: lengths [m], angular speeds [rad/s], road speed [m/s], angles [rad].

Sources:
    [1] Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed., ch. 13.
    [2] Backlash from a change of centre distance, 2 da tan(alpha): any gear text (recalled).
"""

from __future__ import annotations

import math

from pitwright.mechanics.errors import (
    finite,
    finite_result,
    not_negative,
    positive,
    whole,
    within,
)


def final_drive(pinion: int, spur: int, further: float = 1.0) -> float:
    """Engine turns per wheel turn: spur / pinion times the further reduction.

    Args:
        pinion, spur: teeth, whole, at least 6.
        further: reduction behind the spur (belts, diff), above zero.

    Raises: RangeError. Source: [1] eq. 13-5.

    >>> final_drive(16, 48, 2.0)
    6.0
    """
    ratio = whole("spur", spur, 6) / whole("pinion", pinion, 6)
    return finite_result("final_drive", ratio * positive("further", further))


def road_speed(engine_speed: float, drive: float, tyre_diameter: float, slip: float = 0.0) -> float:
    """Road speed [m/s]: engine_speed tyre_diameter (1 - slip) / (2 drive).

    Args:
        engine_speed: [rad/s], not below zero.
        drive: engine turns per wheel turn, see ``final_drive``.
        tyre_diameter: rolling diameter [m]; foam tyres grow at speed and shrink with wear.
        slip: share of the wheel's speed lost to slip, 0 up to 1.

    Range: clutch locked up. Raises: RangeError. Source: kinematics of rolling.

    >>> round(road_speed(4000 * math.pi / 30, 3.9, 0.6) * 3.6, 2)
    116.0
    """
    rim = not_negative("engine_speed", engine_speed) * positive("tyre_diameter", tyre_diameter)
    grip = 1 - within("slip", slip, 0.0, 1.0)
    return finite_result("road_speed", rim * grip / (2 * positive("drive", drive)))


def engine_speed(speed: float, drive: float, tyre_diameter: float) -> float:
    """Engine speed [rad/s] at a road speed [m/s], clutch locked up and no slip.

    Args: drive and tyre diameter [m] as in ``road_speed``. Raises: RangeError.
    Source: kinematics of rolling.

    >>> round(engine_speed(20.0, 6.0, 0.08) * 30 / math.pi)
    28648
    """
    turns = 2 * not_negative("speed", speed) / positive("tyre_diameter", tyre_diameter)
    return finite_result("engine_speed", turns * positive("drive", drive))


def pitch_diameter(m: float, teeth: int) -> float:
    """Pitch diameter m z [m] of a gear with module m [m].

    Raises: RangeError. Source: [1] eq. 13-2.

    >>> round(pitch_diameter(5e-3, 25), 6)
    0.125
    """
    return finite_result("pitch_diameter", positive("m", m) * whole("teeth", teeth, 6))


def centre_distance(m: float, pinion: int, spur: int) -> float:
    """Centre distance m (z1 + z2) / 2 [m], standard gears, no backlash.

    Args: module [m], teeth. Raises: RangeError. Source: [1] section 13-1.

    >>> round(centre_distance(5e-3, 25, 60), 6)
    0.2125
    """
    whole("pinion", pinion, 6)
    whole("spur", spur, 6)
    return finite_result(
        "centre_distance", (pitch_diameter(m, pinion) + pitch_diameter(m, spur)) / 2
    )


def engine_shift(m: float, more_teeth: int) -> float:
    """How far the engine moves from the spur for more pinion (or spur) teeth: m dz / 2 [m].

    Args:
        m: module [m].
        more_teeth: change of the sum of teeth; fewer is below zero and moves the engine closer.

    Raises: RangeError. Source: [1] section 13-1.

    >>> round(engine_shift(1e-3, 1), 6)
    0.0005
    """
    return finite_result(
        "engine_shift", positive("m", m) * whole("more_teeth", more_teeth, -200) / 2
    )


def backlash(da: float, alpha: float = math.radians(20)) -> float:
    """Backlash at the pitch circle gained by opening the centre distance: 2 da tan(alpha) [m].

    Args:
        da: centre distance beyond the tight mesh [m]; closing it is below zero.
        alpha: pressure angle [rad], 14 to 30 degrees.

    Range: da small beside the centre distance (1 % low where da is 0.2 % of it).
    Raises: RangeError. Source: [2].

    >>> round(backlash(0.1e-3) * 1e3, 4)
    0.0728
    """
    within("alpha", alpha, math.radians(14), math.radians(30))
    return finite_result("backlash", 2 * finite("da", da) * math.tan(alpha))


def backlash_between(first: float, second: float, alpha: float = math.radians(20)) -> float:
    """Backlash by which two gear pairs on one engine position differ [m], not below zero.

    Both pinions of a two-speed sit on one bell: where the engine stands right for one pair, the
    other is open, or jammed, by 2 |a1 - a2| tan(alpha).

    Args:
        first, second: centre distances a1 and a2 [m], see ``centre_distance``.
        alpha: pressure angle [rad], as in ``backlash``.

    Raises: RangeError. Source: [2].

    >>> round(backlash_between(31.5e-3, 32.0e-3) * 1e3, 2)
    0.36
    """
    return backlash(abs(positive("first", first) - positive("second", second)), alpha)


def speed_after_shift(speed: float, first_drive: float, second_drive: float) -> float:
    """Engine speed [rad/s] the moment the second speed is in, the car as quick as before.

    Args:
        speed: engine speed before [rad/s].
        first_drive, second_drive: engine turns per wheel turn, see ``final_drive``.

    Range: clutch locked up, no tyre slip. Raises: RangeError. Source: kinematics of rolling.

    >>> round(speed_after_shift(25600.0, 46 / 17, 42 / 21), -1)
    18920.0
    """
    ratio = positive("second_drive", second_drive) / positive("first_drive", first_drive)
    return finite_result("speed_after_shift", not_negative("speed", speed) * ratio)


def lowest_shift(lock_up: float, first_drive: float, second_drive: float) -> float:
    """Engine speed [rad/s] below which a shift drops the engine under lock-up: it slips again.

    Args: lock-up speed [rad/s]; drives as in ``speed_after_shift``, whose inverse this is.

    Range: capacity on the way up; the friction of the wedge holds somewhat longer on the way down.
    Raises: RangeError. Source: kinematics of rolling.

    >>> round(lowest_shift(18920.0, 46 / 17, 42 / 21), -2)
    25600.0
    """
    ratio = positive("first_drive", first_drive) / positive("second_drive", second_drive)
    return finite_result("lowest_shift", not_negative("lock_up", lock_up) * ratio)
