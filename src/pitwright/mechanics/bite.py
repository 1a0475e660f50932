r"""Steering the bite: what moves it, and which recess brings it back.

The square of the bite speed is a straight line in the recess, so both directions are closed forms:

.. math:: \omega^2 N m (r + c) = s\, k\, \sigma_{on} (L_{free} - C + e + c \tan\theta), \qquad
          C = L_{solid} + e_{bottomed}

The derivatives are exact, for what carries an uncertainty to first order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pitwright.mechanics import centrifugal
from pitwright.mechanics.clutch import (
    Clutch,
    axial_travel,
    bite_speed,
    cavity,
    clearance_now,
    compression_for,
    force_at_bell,
    force_slopes,
    inertia_term,
    preload,
    radius_at_bell,
    shoe_mass_now,
)
from pitwright.mechanics.errors import RangeError, finite_result, not_negative, positive

RPM_PER_TENTH_MM = 30 / math.pi * 1e-4
"""Turns rad/s per metre into rpm per 0.1 mm, the figure a mechanic steers by."""


@dataclass(frozen=True, slots=True)
class Sensitivities:
    """Change of the bite speed per metre of change, everything else held [rad/s per m]."""

    recess: float
    free_length: float
    wear: float


def bite_slopes(clutch: Clutch) -> dict[str, float]:
    """Derivative of the bite speed by every field that moves it, keyed by field name.

    From the logarithm of the bite equation, so exact; units are rad/s per unit of the field.

    Raises:
        RangeError: the clutch cannot bite.

    References:
        .. [1] JCGM 100:2008 (GUM), 5.1.3, sensitivity coefficients.
    """
    bite = bite_speed(clutch)
    travel = preload(clutch) + axial_travel(clutch)
    slope = math.tan(clutch.wedge_angle)
    phi = math.atan(clutch.wedge_friction)
    factor = centrifugal.opening_factor(
        clutch.wedge_angle, clutch.wedge_friction, clutch.face_friction
    )
    radius, mass = radius_at_bell(clutch), shoe_mass_now(clutch)
    per_travel, per_room = force_slopes(clutch, travel)
    per_clearance = slope * per_travel - 1 / radius
    per_climb = 1 / math.cos(clutch.wedge_angle + phi) ** 2 / factor
    stiffness = 1 - clutch.softening * clutch.spring_temperature_rise
    twice_log = {
        "shoe_mass": -1 / mass,
        "mass_radius": -1 / radius,
        "clearance": per_clearance,
        "wedge_angle": clearance_now(clutch) / math.cos(clutch.wedge_angle) ** 2 * per_travel
        + per_climb,
        "wedge_friction": per_climb / (1 + clutch.wedge_friction**2),
        "face_friction": 1 / factor,
        "spring_rate": 1 / clutch.spring_rate,
        "free_length": per_travel + per_room,
        "solid_length": -per_travel - per_room,
        "recess_bottomed": -per_travel,
        "recess": per_travel,
        "curve_shift": 0.0 if clutch.curve is None else per_travel,
        "mass_lost_per_wear": clutch.worn / mass,
        "worn": per_clearance + clutch.mass_lost_per_wear / mass,
        "softening": -clutch.spring_temperature_rise / stiffness,
        "spring_temperature_rise": -clutch.softening / stiffness,
        "s_scale": 1.0 if clutch.s_scale is None else 1 / clutch.s_scale,
    }
    return {name: finite_result(name, 0.5 * bite * value) for name, value in twice_log.items()}


def sensitivities(clutch: Clutch) -> Sensitivities:
    """What a mechanic steers by: the bite per recess, free length and shoe wear [rad/s per m].

    Wear counts through clearance and mass. Multiply by :data:`RPM_PER_TENTH_MM` for rpm per 0.1 mm.

    Raises:
        RangeError: the clutch cannot bite.

    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3, mass_lost_per_wear=0.28)
    >>> round(sensitivities(clutch).recess * RPM_PER_TENTH_MM)
    369
    """
    slopes = bite_slopes(clutch)
    return Sensitivities(slopes["recess"], slopes["free_length"], slopes["worn"])


def recess_for_bite(clutch: Clutch, bite: float, recess_limit: float | None = None) -> float:
    """Recess [m] at which this clutch bites at a speed [rad/s]; its present recess is ignored.

    Args:
        bite: the wanted bite speed, above zero.
        recess_limit: the most the card allows [m]; None for no limit but coil bind.

    Raises:
        RangeError: naming ``recess`` and carrying the value that would be needed, when that is
            past the card's limit or coil bind, or would leave the spring loose.

    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> sagged = replace(clutch, free_length=10.0e-3)
    >>> round(recess_for_bite(sagged, bite_speed(clutch)) * 1e3, 6)
    1.55
    """
    positive("bite", bite)
    recess = recess_wanted(clutch, bite)
    if recess_limit is not None and recess > not_negative("recess_limit", recess_limit):
        raise RangeError(
            "recess", recess, "is past the most the card allows for this bite: fit a new spring"
        )
    if recess > clutch.recess_bottomed - axial_travel(clutch):
        raise RangeError(
            "recess", recess, "would bind the spring before this bite: fit a new spring"
        )
    if recess < 0:
        raise RangeError("recess", recess, "would stand the nut proud: this bite is too low")
    force_at_bell(replace(clutch, recess=recess))  # refuses a loose spring by its own reason
    return recess


def recess_wanted(clutch: Clutch, bite: float) -> float:
    """Recess [m] that a bite [rad/s] asks for, whether or not the nut and the spring can go there.

    :func:`recess_for_bite` refuses what they cannot; this is for working out where that begins.
    Raises: RangeError.

    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=9.5e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> round(recess_wanted(clutch, 1293.2) * 1e3, 2)
    2.05
    """
    positive("bite", bite)
    factor = centrifugal.opening_factor(
        clutch.wedge_angle, clutch.wedge_friction, clutch.face_friction
    )
    scale = 1.0 if clutch.s_scale is None else clutch.s_scale
    travel = compression_for(clutch, inertia_term(clutch) * bite * bite / (scale * factor))
    return finite_result(
        "recess", travel - axial_travel(clutch) - clutch.free_length + cavity(clutch)
    )
