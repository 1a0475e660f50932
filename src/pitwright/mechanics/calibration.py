r"""Calibrating the clutch model from what was heard and seen on the track.

Two numbers fold all unknown friction: s scales the opening force S, t scales T/(mu R).

* creep: the engine speed at which the wheels just begin to turn is the bite,
  :math:`N m (r + c) \omega^2 = s S`;
* plateau: the steady engine speed while the clutch slips at engine torque T,
  :math:`N m (r + c) \omega^2 = s S + t\, T / (\mu R)`.

Both are linear in s and t, so any number of either, from any clutch states, is one weighted least
squares fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitwright.mechanics.clutch import Clutch, inertia_term, opening_force
from pitwright.mechanics.errors import RangeError, finite_result, positive


@dataclass(frozen=True, slots=True)
class Creep:
    """A bite that was observed: the clutch as it stood, engine speed and its u [rad/s]."""

    clutch: Clutch
    speed: float
    u_speed: float


@dataclass(frozen=True, slots=True)
class Plateau:
    """A take-up plateau that was observed, with the engine torque taken for it [N m].

    The torque has no uncertainty of its own: the same curve serves in prediction, so that its
    error goes into t and comes out again.
    """

    clutch: Clutch
    speed: float
    u_speed: float
    torque: float


@dataclass(frozen=True, slots=True)
class Scale:
    """A fitted scale, its standard uncertainty and the count of observations behind it."""

    value: float
    u: float
    observations: int


@dataclass(frozen=True, slots=True)
class Calibration:
    """What the observations say; a scale that none of them bears on is None (uncalibrated).

    Attributes:
        s, t: the scales on S and on T/(mu R). With plateaus alone, s is None and t holds for s = 1.
        covariance: of s and t; zero unless both are fitted.
        scatter: by how much the observations scatter more than their own u explains (Birge ratio);
            1 when they agree or when there is none to spare. It is already in the u of the scales.
    """

    s: Scale | None
    t: Scale | None
    covariance: float
    scatter: float

    def applied_to(self, clutch: Clutch) -> Clutch:
        """Give the clutch with these scales; None leaves it uncalibrated in that respect."""
        return replace(
            clutch,
            s_scale=None if self.s is None else self.s.value,
            t_scale=None if self.t is None else self.t.value,
        )


UNCALIBRATED = Calibration(None, None, 0.0, 1.0)
"""Nobody has observed anything yet."""


def calibrate(creeps: Sequence[Creep], plateaus: Sequence[Plateau]) -> Calibration:
    r"""Fit the scales by weighted least squares; scales already on the clutches are set aside.

    Each observation weighs by :math:`u(\omega^2) = 2 \omega u(\omega)`. When observations outnumber
    the scales and scatter more than their u explains, the u of the scales grows by the Birge ratio
    :math:`\sqrt{\chi^2 / (n - p)}`; it never shrinks.

    Raises:
        RangeError: a speed, uncertainty or torque not above zero; a clutch that cannot bite; a
            scale that comes out at zero or below, so that the observations contradict the model.

    References:
        .. [1] P. R. Bevington and D. K. Robinson, Data Reduction and Error Analysis, ch. 6-7.
        .. [2] R. T. Birge, The calculation of errors by the method of least squares, Phys. Rev. 40
               (1932) 207-227.

    >>> clutch = Clutch(shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3,
    ...     bell_radius=15e-3, wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1,
    ...     bell_friction=0.3, spring_rate=30.6e3, free_length=10.2e-3, solid_length=8.0e-3,
    ...     recess_bottomed=2.125e-3, recess=1.35e-3)
    >>> result = calibrate([Creep(clutch, 1360.0, 15.0)], [])
    >>> round(result.s.value, 3), round(result.s.u, 3), result.t
    (1.105, 0.024, None)
    """
    if not creeps and not plateaus:
        return UNCALIBRATED
    rows = [_row(seen, 0.0) for seen in creeps]
    for seen in plateaus:
        positive("torque", seen.torque)
        bare = replace(seen.clutch, t_scale=None)
        rows.append(_row(seen, seen.torque / (bare.bell_friction * bare.bell_radius)))
    if not plateaus:
        s, var_s, t, var_t, covariance = *_one(rows, 0), None, 0.0, 0.0
    elif not creeps:
        lifted = [(0.0, q, y - a) for a, q, y in rows]
        s, var_s, (t, var_t), covariance = None, 0.0, _one(lifted, 1), 0.0
    else:
        s, var_s, t, var_t, covariance = _two(rows)
    for name, scale in (("s_scale", s), ("t_scale", t)):
        if scale is not None and scale <= 0:
            raise RangeError(
                name, scale, "the observed speeds contradict the clutch they are said to be from"
            )
    chi_squared = sum(
        (y - a * (1.0 if s is None else s) - q * (1.0 if t is None else t)) ** 2 for a, q, y in rows
    )
    spare = len(rows) - (s is not None) - (t is not None)
    scatter = max(1.0, math.sqrt(chi_squared / spare)) if spare > 0 else 1.0

    def scale_of(value: float | None, variance: float, count: int) -> Scale | None:
        if value is None:
            return None
        return Scale(value, finite_result("u", scatter * math.sqrt(variance)), count)

    return Calibration(
        scale_of(s, var_s, len(rows)),
        scale_of(t, var_t, len(plateaus)),
        covariance * scatter**2,
        scatter,
    )


Row = tuple[float, float, float]
"""S, T/(mu R) and the observed N m (r + c) omega^2, each divided by the u of the last."""


def _row(seen: Creep | Plateau, torque_force: float) -> Row:
    positive("speed", seen.speed)
    positive("u_speed", seen.u_speed)
    bare = replace(seen.clutch, s_scale=None)
    term = inertia_term(bare)
    weight = 1 / (2 * term * seen.speed * seen.u_speed)
    return (
        finite_result("weight", opening_force(bare) * weight),
        torque_force * weight,
        term * seen.speed**2 * weight,
    )


def _one(rows: Sequence[Row], column: int) -> tuple[float, float]:
    squares = sum(row[column] ** 2 for row in rows)
    return sum(row[column] * row[2] for row in rows) / squares, 1 / squares


def _two(rows: Sequence[Row]) -> tuple[float, float, float, float, float]:
    aa = sum(a * a for a, _, _ in rows)
    aq = sum(a * q for a, q, _ in rows)
    qq = sum(q * q for _, q, _ in rows)
    ay = sum(a * y for a, _, y in rows)
    qy = sum(q * y for _, q, y in rows)
    # Never singular here: a creep has q = 0 and a plateau has q > 0, so the columns differ.
    determinant = aa * qq - aq * aq
    if determinant <= 0:
        raise RangeError("u_speed", determinant, "differs too much between observations to fit")
    s, t = (qq * ay - aq * qy) / determinant, (aa * qy - aq * ay) / determinant
    return s, qq / determinant, t, aa / determinant, -aq / determinant
