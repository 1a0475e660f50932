r"""What slip heat costs in shoe: Archard's law written for energy.

Archard: worn volume :math:`V = K F s / H`. Friction turns :math:`E = \mu F s` to heat, so that the
thickness lost is :math:`h = \frac{K}{\mu H}\frac{E}{A}`: in proportion to the heat, whatever force
and distance it came from. What stands before E is found from the shoes' own record.

SI units: forces [N], distances and thicknesses [m], hardness [Pa], energies [J], areas [m^2].

Sources:
    [1] J. F. Archard, Contact and rubbing of flat surfaces, J. Appl. Phys. 24 (1953) 981.
    [2] Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed., section 12-15
        (linear sliding wear of a bushing).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import RangeError, finite_result, not_negative, positive


def worn_volume(coefficient: float, force: float, distance: float, hardness: float) -> float:
    """Volume worn off the softer body, K F s / H [m^3].

    Args:
        coefficient: K [-], about 1e-8 (mild) to 1e-2 (severe).
        force: F [N], not below zero.
        distance: s slid [m], not below zero.
        hardness: H of the softer body [Pa]; 1 when K / H is known as one figure [m^2/N].

    Raises: RangeError. Source: [1].

    >>> worn_volume(1e-4, 100.0, 1000.0, 1e9)
    1e-08
    """
    rubbed = not_negative("force", force) * not_negative("distance", distance)
    lost = positive("coefficient", coefficient) * rubbed / positive("hardness", hardness)
    return finite_result("worn_volume", lost)


def wear_per_energy(coefficient: float, hardness: float, friction: float, area: float) -> float:
    """Thickness lost per joule of friction heat, K / (H mu A) [m/J].

    Args:
        coefficient, hardness: as in :func:`worn_volume`.
        friction: mu [-].
        area: rubbing area of all shoes together [m^2].

    Raises: RangeError. Source: [1], with E = mu F s.

    >>> lost = worn_volume(1e-4, 100.0, 1000.0, 1e9) / 2e-4
    >>> math.isclose(wear_per_energy(1e-4, 1e9, 0.3, 2e-4) * (0.3 * 100.0 * 1000.0), lost)
    True
    """
    per = positive("coefficient", coefficient) / positive("hardness", hardness)
    return finite_result("wear", per / (positive("friction", friction) * positive("area", area)))


@dataclass(frozen=True, slots=True)
class WornReading:
    """A shoe set's thickness [m] with its standard uncertainty, after so much slip heat [J]."""

    shoes: str
    energy: float
    thickness: float
    u_thickness: float


@dataclass(frozen=True, slots=True)
class WearRate:
    """Thickness lost per joule [m/J] with its standard uncertainty, from ``readings``."""

    per_joule: float
    u_per_joule: float
    readings: int


def wear_rate(readings: Sequence[WornReading]) -> WearRate:
    """Fit the thickness lost per joule: one slope for all, each set with a thickness of its own.

    Weighted least squares; the uncertainty is that of the readings, or their scatter about the
    lines where that is more.

    Raises: RangeError when no set was read before and after some heat, or none wore.
    Source: [1]; least squares as in JCGM 100:2008 (GUM), H.3.

    >>> read = [WornReading("H1", e, 5e-3 - 2e-9 * e, 0.02e-3) for e in (0.0, 50e3, 100e3)]
    >>> found = wear_rate(read)
    >>> round(found.per_joule * 1e9, 3), round(found.u_per_joule * 1e9, 2)
    (2.0, 0.28)
    """
    sets: dict[str, list[WornReading]] = {}
    for each in readings:
        not_negative("energy", each.energy)
        positive("thickness", each.thickness)
        positive("u_thickness", each.u_thickness)
        sets.setdefault(each.shoes, []).append(each)
    xx = xy = yy = 0.0
    for own in sets.values():
        weights = [each.u_thickness**-2 for each in own]
        all_weight = sum(weights)
        mean_x = sum(w * r.energy for w, r in zip(weights, own, strict=True)) / all_weight
        mean_y = sum(w * r.thickness for w, r in zip(weights, own, strict=True)) / all_weight
        for w, r in zip(weights, own, strict=True):
            x, y = r.energy - mean_x, mean_y - r.thickness
            xx, xy, yy = xx + w * x * x, xy + w * x * y, yy + w * y * y
    if xx <= 0:
        raise RangeError("readings", len(readings), "have no slip heat between them")
    slope, u = xy / xx, xx**-0.5
    if slope <= 0:
        raise RangeError("readings", len(readings), "show no wear yet")
    free = len(readings) - len(sets) - 1
    if free > 0:
        u *= max(1.0, math.sqrt(max(yy - slope * xy, 0.0) / free))
    return WearRate(finite_result("wear_rate", slope), u, len(readings))
