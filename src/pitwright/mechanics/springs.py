"""The helical compression spring of round wire.

SI units throughout: lengths [m], forces [N], stiffness [N/m], stresses and moduli [Pa].

Sources:
    [1] Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed., ch. 10.
    [2] EN 13906-1, cylindrical compression springs of round wire (recalled).
"""

from __future__ import annotations

import math
from enum import StrEnum

from pitwright.mechanics.errors import (
    RangeError,
    finite,
    finite_result,
    magnitude,
    not_negative,
    positive,
    within,
)

INCH = 0.0254
# Shigley table 10-4: Sut = A / d^m, A in MPa mm^m.
MUSIC_WIRE_A_MPA_MM = 2211.0
MUSIC_WIRE_M = 0.145
# Shigley table 10-5: largest wire [m] for which the shear modulus [Pa] holds. The table's classes
# leave gaps of a thousandth of an inch; each class is taken to reach up to its own printed end.
_MUSIC_WIRE_G = ((0.032 * INCH, 82.7e9), (0.063 * INCH, 81.7e9), (0.125 * INCH, 81.0e9))
_MUSIC_WIRE_G_THICK = 80.0e9


class EndType(StrEnum):
    """How the spring's ends are made."""

    PLAIN = "plain"
    PLAIN_GROUND = "plain ground"
    SQUARED = "squared"
    SQUARED_GROUND = "squared ground"


_DEAD_COILS = {
    EndType.PLAIN: 0.0,
    EndType.PLAIN_GROUND: 1.0,
    EndType.SQUARED: 2.0,
    EndType.SQUARED_GROUND: 2.0,
}
_GROUND = {EndType.PLAIN_GROUND, EndType.SQUARED_GROUND}


def rate(G: float, d: float, D: float, Na: float) -> float:
    """Spring rate k = G d^4 / (8 D^3 Na) [N/m].

    Args:
        G: shear modulus [Pa], above zero.
        d: wire diameter [m], above zero and below D.
        D: mean coil diameter [m].
        Na: active coils, above zero.

    Range: small pitch angle, index D/d of about 4 to 12; the bare formula holds above 1.
    Raises: RangeError. Source: [1] eq. 10-9.

    >>> round(rate(81e9, 2.5e-3, 28.5e-3, 13.0), 1)
    1314.2
    """
    index(d, D)
    return finite_result("rate", positive("G", G) * d**4 / (8 * D**3 * positive("Na", Na)))


def index(d: float, D: float) -> float:
    """Spring index C = D / d.

    Args:
        d: wire diameter [m].
        D: mean coil diameter [m], larger than d (the coil would close on itself).

    Raises: RangeError. Source: [1] eq. 10-1.

    >>> index(2.5e-3, 28.5e-3)
    11.4
    """
    C = positive("D", D) / positive("d", d)
    if magnitude("C", C) <= 1:
        raise RangeError("D", D, f"must be larger than the wire, d = {d}")
    return C


def active_coils(Nt: float, end: EndType) -> float:
    """Active coils Na of Nt total coils: Nt less 0, 1, 2, 2 dead coils by end type.

    Raises: RangeError when no coil is left. Source: [1] table 10-1.

    >>> active_coils(14.0, EndType.PLAIN_GROUND)
    13.0
    """
    Na = positive("Nt", Nt) - _DEAD_COILS[EndType(end)]
    if magnitude("Na", Na) <= 0:
        raise RangeError("Nt", Nt, f"leaves no active coil with {EndType(end).value} ends")
    return Na


def solid_length(d: float, Nt: float, end: EndType) -> float:
    """Solid length [m]: d Nt with ground ends, d (Nt + 1) without.

    Args:
        d: wire diameter [m].
        Nt: total coils.
        end: how the ends are made.

    Range: ends ground flat over the full wire; real springs come out up to half a wire off, which
    is why a bottomed-out reading is better than this figure.
    Raises: RangeError. Source: [1] table 10-1.

    >>> round(solid_length(2.5e-3, 14.0, EndType.PLAIN_GROUND), 6)
    0.035
    """
    active_coils(Nt, end)
    coils = Nt if EndType(end) in _GROUND else Nt + 1
    return finite_result("solid_length", positive("d", d) * coils)


def wahl_factor(C: float) -> float:
    """Wahl's curvature factor (4C - 1)/(4C - 4) + 0.615/C.

    Range: index C above 1 up to 100; made for 3 to 20.
    Raises: RangeError. Source: [1] eq. 10-4 (Wahl).

    >>> round(wahl_factor(6.0), 4)
    1.2525
    """
    _index_in_range(C)
    return finite_result("wahl_factor", (4 * C - 1) / (4 * C - 4) + 0.615 / C)


def bergstraesser_factor(C: float) -> float:
    """Bergstraesser's curvature factor (4C + 2)/(4C - 3).

    Range: index C above 1 up to 100; made for 3 to 20.
    Raises: RangeError. Source: [1] eq. 10-5.

    >>> round(bergstraesser_factor(11.4), 3)
    1.117
    """
    _index_in_range(C)
    return finite_result("bergstraesser_factor", (4 * C + 2) / (4 * C - 3))


def _index_in_range(C: float) -> None:
    if magnitude("C", within("C", C, 1.0, 100.0)) < 1 + 1e-9:
        raise RangeError("C", C, "must be above 1")


def shear_stress(F: float, d: float, D: float, factor: float = 1.0) -> float:
    """Shear stress in the wire, factor 8 F D / (pi d^3) [Pa].

    Args:
        F: force [N], not below zero.
        d: wire diameter [m].
        D: mean coil diameter [m].
        factor: ``wahl_factor`` or ``bergstraesser_factor``; 1 gives torsion alone.

    Raises: RangeError. Source: [1] eq. 10-7.

    >>> round(shear_stress(40.0, 3e-3, 18e-3, wahl_factor(6.0)) / 1e6, 2)
    85.05
    """
    index(d, D)
    load = positive("factor", factor) * 8 * not_negative("F", F) * D
    return finite_result("shear_stress", load / (math.pi * d**3))


def stress_at_solid(
    k: float, L_free: float, L_solid: float, d: float, D: float, factor: float = 1.0
) -> float:
    """Shear stress with the coils closed [Pa]: ``shear_stress`` at F = k (L_free - L_solid).

    Args:
        k: rate [N/m].
        L_free, L_solid: free and solid length [m], the free one longer.
        d, D, factor: as in ``shear_stress``.

    Raises: RangeError. Source: [1] section 10-1 and eq. 10-7.

    >>> round(stress_at_solid(1314.3, 0.1628, 0.035, 2.5e-3, 28.5e-3, 1.117) / 1e6)
    871
    """
    travel = positive("L_free", L_free) - positive("L_solid", L_solid)
    if magnitude("L_free", travel) <= 0:
        raise RangeError("L_free", L_free, f"must exceed the solid length, {L_solid}")
    return shear_stress(positive("k", k) * travel, d, D, factor)


def strength_coefficient(A_mpa_mm: float, m: float) -> float:
    """Convert a wire table's A from MPa mm^m to SI, Pa m^m.

    Range: m from 0 to 1. Raises: RangeError. Source: [1] table 10-4 for the printed values.

    >>> round(strength_coefficient(2211.0, 0.145) / 1e6, 1)
    812.1
    """
    factor: float = 1e-3 ** within("m", m, 0.0, 1.0)
    return finite_result("A", positive("A_mpa_mm", A_mpa_mm) * 1e6 * factor)


def tensile_strength(A: float, m: float, d: float) -> float:
    """Tensile strength of spring wire Sut = A / d^m [Pa].

    Args:
        A: intercept [Pa m^m], see ``strength_coefficient``.
        m: exponent, 0 to 1.
        d: wire diameter [m]; the table behind A states the wires it holds for
            (music wire 0.10 to 6.5 mm).

    Raises: RangeError. Source: [1] eq. 10-14.

    >>> A = strength_coefficient(MUSIC_WIRE_A_MPA_MM, MUSIC_WIRE_M)
    >>> round(tensile_strength(A, MUSIC_WIRE_M, 2.5e-3) / 1e6)
    1936
    """
    strength: float = positive("A", A) / positive("d", d) ** within("m", m, 0.0, 1.0)
    return finite_result("tensile_strength", strength)


def music_wire_shear_modulus(d: float) -> float:
    """Shear modulus of music wire [Pa] by wire diameter.

    Range: d [m] from 0.1 to 6.5 mm. Raises: RangeError. Source: [1] table 10-5.

    >>> music_wire_shear_modulus(1.5e-3)
    81700000000.0
    """
    diameter = magnitude("d", within("d", d, 0.1e-3, 6.5e-3))
    for largest, G in _MUSIC_WIRE_G:
        # A hair of slack, so that a wire given as exactly the class's end stays in its class.
        if diameter <= largest * (1 + 1e-9):
            return G
    return _MUSIC_WIRE_G_THICK


def cavity_from_bottomed(L_solid: float, recess_bottomed: float) -> float:
    """Cavity C = L_solid + recess_bottomed [m], from one reading with the spring bottomed out.

    C is the length the spring would have with the nut flush. Args: solid length [m], recess [m]
    with the coils closed. Raises: RangeError. Source: geometry, no outside source.

    >>> round(cavity_from_bottomed(7.5e-3, 2.125e-3), 6)
    0.009625
    """
    total = positive("L_solid", L_solid) + not_negative("recess_bottomed", recess_bottomed)
    return finite_result("cavity", total)


def installed_length(C: float, recess: float) -> float:
    """Installed length C - recess [m]: a deeper nut leaves the spring less room.

    Raises: RangeError when nothing is left. Source: geometry, no outside source.

    >>> round(installed_length(9.625e-3, 1.35e-3), 6)
    0.008275
    """
    length = positive("C", C) - finite("recess", recess)
    if magnitude("recess", length) <= 0:
        raise RangeError("recess", recess, f"leaves the spring no room in a cavity of {C}")
    return length


def preload(L_free: float, C: float, recess: float) -> float:
    """Preload compression x = L_free - (C - recess) [m]; below zero the spring lies loose.

    Args:
        L_free: free length [m].
        C: cavity [m], see ``cavity_from_bottomed``.
        recess: nut below the flywheel nut's face [m].

    A deeper recess gives more preload, and free length lost is made good by as much recess.
    Raises: RangeError. Source: geometry, no outside source.

    >>> round(preload(10.2e-3, 9.625e-3, 1.35e-3), 6)
    0.001925
    """
    return finite_result("preload", positive("L_free", L_free) - installed_length(C, recess))


def force(k: float, x: float) -> float:
    """Spring force k x [N] at compression x [m], not below zero.

    Range: short of solid; the last fifth before it is stiffer than this says.
    Raises: RangeError. Source: [1] eq. 10-9; [2] for the rise before solid.

    >>> round(force(30.6e3, 1.925e-3), 1)
    58.9
    """
    return finite_result("force", positive("k", k) * not_negative("x", x))


def coil_bind_margin(C: float, recess: float, L_solid: float, travel: float = 0.0) -> float:
    """Length left before the coils close [m]: C - recess - travel - L_solid.

    Args:
        C, recess: as in ``preload`` [m].
        L_solid: solid length [m].
        travel: how much further the clutch squeezes the spring by then [m] (clearance times the
            tangent of the wedge angle at the bite).

    Below zero the coils close first and the clutch cannot bite.
    Raises: RangeError. Source: geometry, no outside source.

    >>> round(coil_bind_margin(9.625e-3, 1.35e-3, 7.5e-3, 0.25e-3), 6)
    0.000525
    """
    room = installed_length(C, recess) - positive("L_solid", L_solid)
    return finite_result("margin", room - not_negative("travel", travel))
