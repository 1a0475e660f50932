"""The laws of a centrifugal clutch whose shoes climb a wedge against an axial spring.

One law per function, on bare quantities: SI floats, or quantities that carry their unit. What a
particular clutch is made of stands in :mod:`pitwright.mechanics.clutch`.

References:
    [1] R. S. Khurmi and J. K. Gupta, Theory of Machines, ch. 10: centrifugal clutch (10.35),
        square-threaded screw and inclined plane (effort W tan(alpha + phi)).
    [2] V. B. Bhandari, Design of Machine Elements, ch. 11: centrifugal clutch.
"""

from __future__ import annotations

import math

from pitwright.mechanics.errors import (
    RangeError,
    finite,
    finite_result,
    magnitude,
    not_negative,
    positive,
    whole,
)

RIGHT_ANGLE = math.pi / 2


def opening_factor(wedge_angle: float, wedge_friction: float, face_friction: float) -> float:
    r"""Radial force that starts a shoe outward, per unit of axial spring force [-].

    .. math:: \sigma_{on} = \tan(\theta + \phi) + \mu_f, \qquad \phi = \arctan \mu_w

    The shoe climbs the wedge as a load climbs an inclined plane [1]_, and rubs on the faces beside
    it as it goes.

    Args:
        wedge_angle: theta, from the radial plane [rad]; 0 means no axial travel.
        wedge_friction: mu_w, between shoe and wedge [-].
        face_friction: mu_f, between shoe and the faces that guide it [-].

    Valid for theta >= 0 and theta + phi < 90 degrees; beyond it no force moves the shoe.

    Raises:
        RangeError: an angle or friction outside that range.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10, motion up an inclined plane.

    >>> round(opening_factor(math.radians(45), 0.1, 0.1), 5)
    1.32222
    """
    theta = magnitude("wedge_angle", not_negative("wedge_angle", wedge_angle))
    phi = math.atan(magnitude("wedge_friction", not_negative("wedge_friction", wedge_friction)))
    mu_f = magnitude("face_friction", not_negative("face_friction", face_friction))
    if theta + phi >= RIGHT_ANGLE:
        raise RangeError(
            "wedge_angle",
            wedge_angle,
            "and its friction together reach 90 degrees: no shoe can move",
        )
    return finite_result("opening factor", math.tan(theta + phi) + mu_f)


def closing_factor(wedge_angle: float, wedge_friction: float, face_friction: float) -> float:
    r"""Radial force with which the spring draws a shoe home, per unit of axial force [-].

    .. math:: \sigma_{off} = \tan(\theta - \phi) - \mu_f, \qquad \phi = \arctan \mu_w

    Arguments as for :func:`opening_factor`. At zero or below the wedge holds itself (self-locking)
    and the clutch would never let go, so that is refused.

    Raises:
        RangeError: an angle or friction out of range, or a self-locking wedge.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10, motion down an inclined plane;
               self-locking and overhauling screws.

    >>> round(closing_factor(math.radians(45), 0.1, 0.1), 5)
    0.71818
    >>> closing_factor(math.radians(8), 0.1, 0.1)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    pitwright.mechanics.errors.RangeError: wedge_angle = 0.13962634015954636: is self-locking ...
    """
    opening_factor(wedge_angle, wedge_friction, face_friction)
    theta = magnitude("wedge_angle", wedge_angle)
    phi = math.atan(magnitude("wedge_friction", wedge_friction))
    factor = math.tan(theta - phi) - magnitude("face_friction", face_friction)
    if factor <= 0:
        raise RangeError(
            "wedge_angle",
            wedge_angle,
            "is self-locking with this friction: the clutch would never let go",
        )
    return factor


def centrifugal_force(shoes: int, mass: float, radius: float, speed: float) -> float:
    r"""Radial force of all shoes together [N], :math:`N m r \omega^2`.

    Args:
        shoes: N, a whole number.
        mass: m of one shoe [kg].
        radius: r of its centre of mass from the axis [m].
        speed: omega [rad/s].

    Raises:
        RangeError: a negative or non-finite argument.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10.35.

    >>> round(centrifugal_force(4, 8.0, 0.165, 52.36) / 4, 0)
    3619.0
    """
    whole("shoes", shoes)
    positive("mass", mass)
    positive("radius", radius)
    finite("speed", speed)
    return finite_result("centrifugal force", shoes * mass * radius * speed * speed)


def balance_speed(force: float, shoes: int, mass: float, radius: float) -> float:
    r"""Speed at which the shoes' centrifugal force equals a radial force [rad/s].

    .. math:: \omega = \sqrt{\frac{F}{N m r}}

    With the opening force this is the bite speed, with the closing force the let-go speed.

    Args:
        force: F, radial, all shoes together [N].
        shoes, mass, radius: as for :func:`centrifugal_force`.

    Raises:
        RangeError: a negative or non-finite argument.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10.35 (speed of engagement).

    >>> round(balance_speed(3 * 200.0, 3, 5.0, 0.2), 2)
    14.14
    """
    not_negative("force", force)
    whole("shoes", shoes)
    positive("mass", mass)
    positive("radius", radius)
    speed: float = (force / (shoes * mass * radius)) ** 0.5  # works with units, math.sqrt does not
    return finite_result("speed", speed)


def take_up_speed(
    opening_force: float,
    torque: float,
    friction: float,
    bell_radius: float,
    shoes: int,
    mass: float,
    radius: float,
) -> float:
    r"""Engine speed at which the slipping clutch carries a torque [rad/s].

    .. math:: \omega = \sqrt{\frac{S + T / (\mu R)}{N m r}}

    Args:
        opening_force: S, radial force that opens the shoes [N].
        torque: T [N m].
        friction: mu between shoe and bell [-].
        bell_radius: R, inside the bell [m].
        shoes, mass, radius: as for :func:`centrifugal_force`.

    Raises:
        RangeError: a negative or non-finite argument.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10.35, solved for the speed.

    >>> round(take_up_speed(67.78, 0.4, 0.3, 0.015, 3, 1.2e-3, 11.25e-3) * 30 / math.pi, -1)
    18780.0
    """
    not_negative("opening_force", opening_force)
    not_negative("torque", torque)
    positive("friction", friction)
    positive("bell_radius", bell_radius)
    return balance_speed(opening_force + torque / (friction * bell_radius), shoes, mass, radius)


def capacity(friction: float, bell_radius: float, normal_force: float) -> float:
    r"""Torque that the shoes can pass to the bell before they slip [N m].

    .. math:: T = \mu R F_n

    Args:
        friction: mu between shoe and bell [-].
        bell_radius: R, inside the bell [m].
        normal_force: F_n, all shoes together [N].

    Raises:
        RangeError: a negative or non-finite argument.

    References:
        .. [1] Khurmi and Gupta, Theory of Machines, ch. 10.35.

    >>> round(capacity(0.3, 0.2, 4 * (3619.0 - 750.0)), 1)
    688.6
    """
    positive("friction", friction)
    positive("bell_radius", bell_radius)
    not_negative("normal_force", normal_force)
    return finite_result("capacity", friction * bell_radius * normal_force)
