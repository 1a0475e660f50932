r"""One clutch in one state: its bite, its let-go, its torque capacity and its margins.

The nut presses an axial spring on the shoes, which climb a wedge of angle theta (measured from the
radial plane) as they move out. A shoe that has crossed the clearance c has compressed the spring by
a further c tan(theta), so at the bell

.. math:: F_s = k (L_{free} - L_{installed} + c \tan\theta), \qquad
          L_{installed} = L_{solid} + e_{bottomed} - e

with e the recess of the nut; where the spring was squeezed on a scale its own curve stands in for
the straight line (:mod:`pitwright.mechanics.spring_curve`). From there the laws of
:mod:`pitwright.mechanics.centrifugal` apply.
Wear raises c and lowers m; that it also moves the centre of mass a little is left out. Bell height
does not enter, for the bell is a cylinder.

Speeds are in rad/s, lengths in metres, angles in radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitwright.mechanics import centrifugal, springs
from pitwright.mechanics.errors import (
    RangeError,
    finite,
    not_negative,
    positive,
    whole,
)
from pitwright.mechanics.spring_curve import SpringCurve

NEAR_SOLID = 0.2
"""Share of the deflection to solid in which real coils touch one by one and the rate rises."""

_ABOVE_ZERO = (
    "shoe_mass",
    "mass_radius",
    "bell_radius",
    "bell_friction",
    "spring_rate",
    "free_length",
    "solid_length",
)
_NOT_BELOW_ZERO = (
    "recess_bottomed",
    "recess",
    "mass_lost_per_wear",
    "worn",
    "softening",
    "wedge_angle",
    "wedge_friction",
    "face_friction",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Clutch:
    """A clutch as it stands: geometry, spring, setting, wear and calibration.

    ``s_scale`` and ``t_scale`` fold unknown friction into two numbers found from observation, one
    on the opening and closing force and one on T/(mu R). None means that nobody has observed
    anything yet: the figures are then the model's own, fit to show change and not truth.

    Raises:
        RangeError: a field out of range; a wedge that is self-locking or cannot move; a spring that
            is loose or already bound at this setting; shoes worn away.
    """

    shoes: int
    shoe_mass: float  # kg, one shoe, unworn
    mass_radius: float  # m, axis to a shoe's centre of mass, shoes in
    clearance: float  # m, radial, unworn shoe to bell; with ``worn`` it is not below zero
    bell_radius: float  # m, inside
    wedge_angle: float  # rad, from the radial plane
    wedge_friction: float
    face_friction: float
    bell_friction: float
    spring_rate: float  # N/m, cold
    free_length: float  # m
    solid_length: float  # m
    recess_bottomed: float  # m, recess with the spring solid
    recess: float  # m
    mass_lost_per_wear: float = 0.0  # kg/m, one shoe
    worn: float = 0.0  # m, off each shoe
    softening: float = 0.0  # 1/K, share of G lost per kelvin
    spring_temperature_rise: float = 0.0  # K
    s_scale: float | None = None
    t_scale: float | None = None
    curve: SpringCurve | None = None  # the spring's own, None: one rate
    curve_shift: float = 0.0  # m, error of the lengths behind the curve
    kinds: str = ""  # of spring and shoes: no scale found on one pair holds for another

    def __post_init__(self) -> None:
        whole("shoes", self.shoes)
        for name in _ABOVE_ZERO:
            positive(name, getattr(self, name))
        for name in _NOT_BELOW_ZERO:
            not_negative(name, getattr(self, name))
        finite("spring_temperature_rise", self.spring_temperature_rise)
        finite("curve_shift", self.curve_shift)
        if self.curve is not None and not isinstance(self.curve, SpringCurve):
            raise RangeError("curve", self.curve, "is no spring curve")
        if finite("clearance", self.clearance) + self.worn < 0:
            raise RangeError("clearance", self.clearance, "leaves worn shoes no room in the bell")
        for name in ("s_scale", "t_scale"):
            if getattr(self, name) is not None:
                positive(name, getattr(self, name))
        centrifugal.closing_factor(self.wedge_angle, self.wedge_friction, self.face_friction)
        if self.shoe_mass - self.mass_lost_per_wear * self.worn <= 0:
            raise RangeError("worn", self.worn, "leaves nothing of the shoe's mass")
        if self.softening * self.spring_temperature_rise >= 1:
            raise RangeError(
                "spring_temperature_rise", self.spring_temperature_rise, "leaves no stiffness"
            )
        if self.recess > self.recess_bottomed:
            raise RangeError(
                "recess", self.recess, "is deeper than bottomed: the spring would be past solid"
            )
        if preload(self) < 0:
            raise RangeError(
                "recess", self.recess, "leaves this spring loose: the shoes would rattle"
            )


def shoe_mass_now(clutch: Clutch) -> float:
    """Mass of one worn shoe [kg]: unworn mass less the wear times the mass lost per wear."""
    return clutch.shoe_mass - clutch.mass_lost_per_wear * clutch.worn


def clearance_now(clutch: Clutch) -> float:
    """Radial clearance with worn shoes [m]."""
    return clutch.clearance + clutch.worn


def radius_at_bell(clutch: Clutch) -> float:
    """Radius of a shoe's centre of mass when it touches the bell [m], r + c."""
    return clutch.mass_radius + clearance_now(clutch)


def rate_now(clutch: Clutch) -> float:
    """Spring rate at its present temperature [N/m]; k is proportional to G."""
    return clutch.spring_rate * (1 - clutch.softening * clutch.spring_temperature_rise)


def cavity(clutch: Clutch) -> float:
    """Room for the spring with the nut flush [m]: solid length plus bottomed recess."""
    return springs.cavity_from_bottomed(clutch.solid_length, clutch.recess_bottomed)


def preload(clutch: Clutch) -> float:
    """Compression of the spring with the shoes in [m]."""
    return springs.preload(clutch.free_length, cavity(clutch), clutch.recess)


def axial_travel(clutch: Clutch) -> float:
    """How far the spring gives while a shoe crosses the clearance [m], c tan(theta)."""
    return clearance_now(clutch) * math.tan(clutch.wedge_angle)


def free_travel_left(clutch: Clutch) -> float:
    """Spring travel left before coil bind when the shoes are at the bell [m].

    Below zero the coils close before the shoe arrives and the clutch cannot bite.
    """
    return springs.coil_bind_margin(
        cavity(clutch), clutch.recess, clutch.solid_length, axial_travel(clutch)
    )


def way_to_solid(clutch: Clutch) -> float:
    """Share of the deflection to solid that is used up at the bite, 1 where the coils close.

    EN 13906-1 takes a rate as constant over about 30 to 70 % of it (recalled): beyond, coils touch
    one by one and the real bite lies above what one rate gives.
    """
    return way_to_solid_at(clutch, clutch.recess)


def way_to_solid_at(clutch: Clutch, recess: float) -> float:
    """Return :func:`way_to_solid` at another recess [m]; above 1 the coils close before the bite.

    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> round(way_to_solid_at(clutch, 1.35e-3), 3), round(way_to_solid_at(clutch, 1.875e-3), 3)
    (0.761, 1.0)
    """
    room = clutch.free_length - clutch.solid_length
    left = springs.coil_bind_margin(
        cavity(clutch), recess, clutch.solid_length, axial_travel(clutch)
    )
    return 1 - left / room


def near_solid(clutch: Clutch) -> bool:
    """Whether the bite falls in the last fifth of the deflection before solid, and unmeasured.

    There the coils touch one after another, the real rate rises and the linear model bites low. As
    far as a curve was measured it knows.
    """
    return unknown_near_solid(clutch, way_to_solid(clutch))


def unknown_near_solid(clutch: Clutch, share: float) -> bool:
    """Whether a share of the way to solid lies where coils touch and no squeeze was made."""
    known = 0.0 if clutch.curve is None else clutch.curve.reach
    return share > max(1 - NEAR_SOLID, known)


def spring_force(clutch: Clutch, compression: float) -> float:
    """Force of the spring [N] at a compression [m], by its own curve where it has one."""
    if clutch.curve is None:
        return springs.force(rate_now(clutch), compression)
    room = clutch.free_length - clutch.solid_length
    share = (compression + clutch.curve_shift) / room
    return rate_now(clutch) * room * clutch.curve.at(share)


def compression_for(clutch: Clutch, force: float) -> float:
    """Compression [m] at which the spring has a force [N]: :func:`spring_force` turned round."""
    if clutch.curve is None:
        return force / rate_now(clutch)
    room = clutch.free_length - clutch.solid_length
    return room * clutch.curve.share_at(force / (rate_now(clutch) * room)) - clutch.curve_shift


def force_slopes(clutch: Clutch, compression: float) -> tuple[float, float]:
    """Return dF/dx / F and dF/d(room) / F of the spring [1/m], room being free less solid length.

    With one rate they are 1/x and nothing. A spring with more room is less far on its way.
    """
    if clutch.curve is None:
        return 1 / compression, 0.0
    room = clutch.free_length - clutch.solid_length
    share = (compression + clutch.curve_shift) / room
    value, slope = clutch.curve.at(share), clutch.curve.slope(share)
    return slope / (room * value), (value - share * slope) / (room * value)


def force_at_bell(clutch: Clutch) -> float:
    """Axial spring force when the shoes are at the bell [N].

    Raises:
        RangeError: the spring binds first (see :func:`free_travel_left`), or the shoes would snap
            open: where the spring force rises less with travel than the centrifugal force, they
            leave their seat at a higher speed than the bell asks for and this model does not hold.
    """
    if free_travel_left(clutch) < 0:
        raise RangeError(
            "recess",
            clutch.recess,
            "is too deep: the spring binds before the shoes reach the bell",
        )
    compression = preload(clutch) + axial_travel(clutch)
    if compression <= 0:
        raise RangeError("recess", clutch.recess, "leaves the spring without any force")
    force = spring_force(clutch, compression)
    at_rest = spring_force(clutch, preload(clutch)) / clutch.mass_radius
    at_bell = force / radius_at_bell(clutch)
    if at_rest > at_bell:
        raise RangeError(
            "wedge_angle",
            clutch.wedge_angle,
            "is too flat for this preload: the shoes would snap open, which is not modelled",
        )
    return force


def _s_scale(clutch: Clutch) -> float:
    return 1.0 if clutch.s_scale is None else clutch.s_scale


def opening_force(clutch: Clutch) -> float:
    """Radial force, all shoes together, that must be overcome at the bell [N] (S_on)."""
    factor = centrifugal.opening_factor(
        clutch.wedge_angle, clutch.wedge_friction, clutch.face_friction
    )
    return _s_scale(clutch) * force_at_bell(clutch) * factor


def closing_force(clutch: Clutch) -> float:
    """Radial force, all shoes together, that draws the shoes off the bell [N] (S_off)."""
    factor = centrifugal.closing_factor(
        clutch.wedge_angle, clutch.wedge_friction, clutch.face_friction
    )
    return _s_scale(clutch) * force_at_bell(clutch) * factor


def bite_speed(clutch: Clutch) -> float:
    """Engine speed at which the shoes reach the bell and begin to press [rad/s].

    >>> from pitwright.mechanics.clutch import Clutch
    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> round(bite_speed(clutch) * 30 / math.pi, -1)
    12350.0
    >>> round(let_go_speed(clutch) * 30 / math.pi, -2)
    9100.0
    >>> round(free_travel_left(clutch) * 1e3, 3)
    0.525
    """
    return centrifugal.balance_speed(
        opening_force(clutch), clutch.shoes, shoe_mass_now(clutch), radius_at_bell(clutch)
    )


def let_go_speed(clutch: Clutch) -> float:
    """Engine speed at which the shoes, coming down, leave the bell [rad/s]; below the bite."""
    return centrifugal.balance_speed(
        closing_force(clutch), clutch.shoes, shoe_mass_now(clutch), radius_at_bell(clutch)
    )


def drags_at_idle(clutch: Clutch, idle_speed: float) -> bool:
    """Whether the clutch, once engaged, never lets go at this idle speed [rad/s]."""
    return positive("idle_speed", idle_speed) > let_go_speed(clutch)


def inertia_term(clutch: Clutch) -> float:
    """N m (r + c) of the present shoes [kg m]: times speed squared it is their outward force."""
    return clutch.shoes * shoe_mass_now(clutch) * radius_at_bell(clutch)


def _outward_force(clutch: Clutch, speed: float) -> float:
    return centrifugal.centrifugal_force(
        clutch.shoes, shoe_mass_now(clutch), radius_at_bell(clutch), speed
    )


def normal_force_rising(clutch: Clutch, speed: float) -> float:
    """Force of all shoes on the bell at a speed reached from below [N]; zero up to the bite."""
    not_negative("speed", speed)
    return max(0.0, _outward_force(clutch, speed) - opening_force(clutch))


def normal_force_falling(clutch: Clutch, speed: float, peak_speed: float) -> float:
    """Force of all shoes on the bell at a speed reached from above [N].

    Friction in the wedge first holds the force of ``peak_speed``, the highest speed reached; then
    the force follows the closing branch and is gone at let-go.

    Raises:
        RangeError: ``peak_speed`` below ``speed``, or either out of range.
    """
    not_negative("speed", speed)
    if finite("peak_speed", peak_speed) < speed:
        raise RangeError("peak_speed", peak_speed, "is below the speed that came after it")
    held = normal_force_rising(clutch, peak_speed)
    following = _outward_force(clutch, speed) - closing_force(clutch)
    return max(0.0, min(held, following))


def torque_per_force(clutch: Clutch) -> float:
    """Torque passed per newton on the bell [m]: mu R, divided by the calibrated scale on it."""
    return clutch.bell_friction * clutch.bell_radius / _torque_scale(clutch)


def _torque_scale(clutch: Clutch) -> float:
    return 1.0 if clutch.t_scale is None else clutch.t_scale


def capacity_rising(clutch: Clutch, speed: float) -> float:
    """Torque capacity at a speed reached from below [N m]."""
    return _capacity(clutch, normal_force_rising(clutch, speed))


def capacity_falling(clutch: Clutch, speed: float, peak_speed: float) -> float:
    """Torque capacity at a speed reached from above [N m]; see :func:`normal_force_falling`."""
    return _capacity(clutch, normal_force_falling(clutch, speed, peak_speed))


def _capacity(clutch: Clutch, force: float) -> float:
    bare = centrifugal.capacity(clutch.bell_friction, clutch.bell_radius, force)
    return bare / _torque_scale(clutch)


def take_up_speed(clutch: Clutch, torque: float) -> float:
    """Engine speed at which the slipping clutch carries ``torque`` [rad/s], reached from below.

    This is the plateau heard while the clutch slips at that engine torque [N m].
    """
    return centrifugal.take_up_speed(
        opening_force(clutch),
        not_negative("torque", torque) * _torque_scale(clutch),
        clutch.bell_friction,
        clutch.bell_radius,
        clutch.shoes,
        shoe_mass_now(clutch),
        radius_at_bell(clutch),
    )
