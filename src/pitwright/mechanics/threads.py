"""Screws, nuts and tapers: torque, clamp load, and what holds by itself.

SI units: lengths [m], forces [N], torques [N m], stresses [Pa], angles [rad].

Sources:
    [1] Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed., ch. 8.
    [2] ISO 898-1:2013, table 5 (coarse threads; read from a fastener trader's copy).
    [3] ISO 6789-1, type II class A torque drivers (read second hand).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitwright.mechanics.errors import (
    RangeError,
    finite_result,
    not_negative,
    positive,
    within,
)

CAUTION = (
    "The maker's torque figure rules. These numbers are for a steel screw in steel; a screw in the "
    "crankshaft can snap long before them, and then the engine comes apart."
)

# [1] table 8-15.
NUT_FACTORS = {
    "black": 0.30,
    "zinc plated": 0.20,
    "lubricated": 0.18,
    "cadmium plated": 0.16,
}

# [2]: proof load [N] by thread and property class.
PROOF_LOADS = {
    "M3": {"8.8": 2920.0, "10.9": 4180.0, "12.9": 4880.0},
    "M3.5": {"8.8": 3940.0, "10.9": 5630.0, "12.9": 6580.0},
    "M4": {"8.8": 5100.0, "10.9": 7290.0, "12.9": 8520.0},
    "M5": {"8.8": 8230.0, "10.9": 11800.0, "12.9": 13800.0},
    "M6": {"8.8": 11600.0, "10.9": 16700.0, "12.9": 19500.0},
    "M8": {"8.8": 21200.0, "10.9": 30400.0, "12.9": 35500.0},
}

# Pitch of the coarse thread [m], ISO 261 (recalled); stress under proof load [Pa], [2] table 3.
COARSE_PITCHES = {
    "M2": 0.4e-3,
    "M2.5": 0.45e-3,
    "M3": 0.5e-3,
    "M3.5": 0.6e-3,
    "M4": 0.7e-3,
    "M5": 0.8e-3,
    "M6": 1.0e-3,
    "M8": 1.25e-3,
}
PROOF_STRESSES = {"8.8": 580e6, "10.9": 830e6, "12.9": 970e6}

_FINE_DRIVER_UP_TO = 10.0


def driver_error(T: float) -> float:
    """Permissible error of a torque driver, as a share of what it is set to.

    6 % up to 10 N m, 4 % above: what a driver is held to whose own figure is not known.

    Args: torque [N m], not below zero. Raises: RangeError. Source: [3].

    >>> driver_error(1.2), driver_error(12.0)
    (0.06, 0.04)
    """
    return 0.06 if not_negative("T", T) <= _FINE_DRIVER_UP_TO else 0.04


def tightening_torque(K: float, F: float, d: float) -> float:
    """Tightening torque T = K F d [N m].

    Args:
        K: nut factor, 0.05 to 0.5; see ``NUT_FACTORS``. It scatters by a quarter or more.
        F: clamp load [N], not below zero.
        d: nominal thread diameter [m].

    Raises: RangeError. Source: [1] eq. 8-27.

    >>> round(tightening_torque(0.2, 0.75 * 650e6 * 115e-6, 14e-3), 2)
    156.97
    """
    torque = within("K", K, 0.05, 0.5) * not_negative("F", F) * positive("d", d)
    return finite_result("torque", torque)


def clamp_load(T: float, K: float, d: float) -> float:
    """Clamp load F = T / (K d) [N]; the inverse of ``tightening_torque``.

    Args: torque [N m], nut factor, diameter [m]. Raises: RangeError. Source: [1] eq. 8-27.

    >>> round(clamp_load(1.2, 0.2, 3e-3))
    2000
    """
    load = not_negative("T", T) / (within("K", K, 0.05, 0.5) * positive("d", d))
    return finite_result("clamp_load", load)


def stress_area(thread: str) -> float:
    """Nominal stress area As = pi/4 ((d2 + d3)/2)^2 [m^2] of a coarse thread.

    d2 = d - 0.64952 P is the pitch diameter, d3 = d - 1.22687 P the root's.

    Args: "M2" to "M8", see ``COARSE_PITCHES``. Raises: RangeError. Source: [2] clause 9.1.

    >>> round(stress_area("M3") * 1e6, 2)
    5.03
    """
    if thread not in COARSE_PITCHES:
        raise RangeError("thread", thread, "must be one of " + ", ".join(COARSE_PITCHES))
    d, pitch = float(thread[1:]) * 1e-3, COARSE_PITCHES[thread]
    return math.pi / 4 * (d - (0.64952 + 1.22687) / 2 * pitch) ** 2


def proof_load(thread: str, property_class: str) -> float:
    """Proof load [N] of a steel screw, coarse thread.

    As the standard prints it; stress area times proof stress for threads too small for its table.

    Args:
        thread: "M2" to "M8", see ``COARSE_PITCHES``.
        property_class: "8.8", "10.9" or "12.9".

    Raises: RangeError for any other thread or class. Source: [2].

    >>> proof_load("M3", "12.9")
    4880.0
    """
    area = stress_area(thread)
    if property_class not in PROOF_STRESSES:
        raise RangeError(
            "property_class", property_class, "must be one of " + ", ".join(PROOF_STRESSES)
        )
    computed = area * PROOF_STRESSES[property_class]
    return PROOF_LOADS.get(thread, {}).get(property_class, computed)


@dataclass(frozen=True)
class TorqueWindow:
    """Torques [N m] between which the clamp load is worth having and the screw keeps its shape."""

    low: float
    high: float


def torque_window(
    K: float, d: float, proof: float, share_low: float = 0.6, share_high: float = 0.75
) -> TorqueWindow:
    """Torques that load a screw to between two shares of its proof load.

    Args:
        K: nut factor.
        d: nominal diameter [m].
        proof: proof load [N].
        share_low: 0.6, common practice, no source.
        share_high: 0.75, a joint that is taken apart again ([1] eq. 8-31).

    Always shown under ``CAUTION``. Raises: RangeError. Source: [1].

    >>> window = torque_window(0.2, 3e-3, 4880.0)
    >>> round(window.low, 2), round(window.high, 2)
    (1.76, 2.2)
    """
    within("share_high", share_high, 0.0, 1.0)
    within("share_low", share_low, 0.0, share_high)
    positive("proof", proof)
    return TorqueWindow(
        low=tightening_torque(K, share_low * proof, d),
        high=tightening_torque(K, share_high * proof, d),
    )


def taper_half_angle(taper: float) -> float:
    """Half angle [rad] of a taper given as diameter change per length.

    Args:
        taper: e.g. 0.6 in per foot is 0.05; 0 to 2.

    Raises: RangeError. Source: geometry.

    >>> round(math.degrees(taper_half_angle(0.59858 / 12)), 4)
    1.4287
    """
    return math.atan(within("taper", taper, 0.0, 2.0) / 2)


def self_holding(half_angle: float, mu: float) -> bool:
    """Tell whether a taper stays put once pressed home: tan(half angle) < mu.

    Args:
        half_angle: [rad], 0 to 60 degrees.
        mu: friction, 0 to 1. Oil on the collet lowers it.

    Raises: RangeError. Source: friction cone, any statics text ([1] section 16-5).

    >>> self_holding(math.radians(1.43), 0.1)
    True
    """
    within("half_angle", half_angle, 0.0, math.radians(60))
    return math.tan(half_angle) < within("mu", mu, 0.0, 1.0)
