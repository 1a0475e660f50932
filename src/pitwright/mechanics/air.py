"""The air today: its density, and what it does to the engine's torque.

SI units: pressure [Pa], temperature [K], relative humidity as a share from 0 to 1.

The empirical constants carry units, so they stand together in ``MoistAir`` and every function takes
them; with constants and arguments that carry their units the formulas prove their dimensions.

Sources:
    [1] A. Picard, R. S. Davis, M. Glaser, K. Fujii, Revised formula for the density of moist air
        (CIPM-2007), Metrologia 45 (2008), 149-155.
    [2] ISO 1585 and SAE J1349, correction of engine output (both forms recalled).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitwright.mechanics.errors import (
    finite_result,
    magnitude,
    not_negative,
    positive,
    within,
)


@dataclass(frozen=True)
class MoistAir:
    """The constants of [1], appendix A.1. Units in brackets; T in kelvin, t in degrees Celsius."""

    # Saturation vapour pressure, p_sv = 1 Pa exp(A T^2 + B T + C + D/T).
    A: float = 1.2378847e-5  # [1/K2]
    B: float = -1.9121316e-2  # [1/K]
    C: float = 33.93711047
    D: float = -6.3431645e3  # [K]
    pascal: float = 1.0  # [Pa]
    # Enhancement factor, f = alpha + beta p + gamma t^2.
    alpha: float = 1.00062
    beta: float = 3.14e-8  # [1/Pa]
    gamma: float = 5.6e-7  # [1/K2]
    # Compressibility factor.
    a0: float = 1.58123e-6  # [K/Pa]
    a1: float = -2.9331e-8  # [1/Pa]
    a2: float = 1.1043e-10  # [1/(K Pa)]
    b0: float = 5.707e-6  # [K/Pa]
    b1: float = -2.051e-8  # [1/Pa]
    c0: float = 1.9898e-4  # [K/Pa]
    c1: float = -2.376e-6  # [1/Pa]
    d: float = 1.83e-11  # [K2/Pa2]
    e: float = -0.765e-8  # [K2/Pa2]
    ice_point: float = 273.15  # [K]
    R: float = 8.314472  # [J/(mol K)]
    M_v: float = 18.01528e-3  # [kg/mol] water
    M_a: float = 28.96546e-3  # [kg/mol] dry air with 400 ppm of carbon dioxide
    M_c: float = 12.011e-3  # [kg/mol] carbon
    x_reference: float = 0.0004  # carbon dioxide in M_a


CIPM_2007 = MoistAir()

# Outside these the formula is refused. [1] recommends 600 to 1100 hPa and 15 to 27 C; beyond those
# temperatures it was compared with the ASHRAE RP-1485 properties: 1 part in 10 000 from 0 to 45 C,
# 2 parts in 10 000 to the ends (below 0 C they reckon humidity over ice, this over water).
PRESSURE_RANGE = (60e3, 110e3)
TEMPERATURE_RANGE = (263.15, 323.15)

# Both standards hold their formula good only where the factor lies between these [2].
CORRECTION_RANGE = (0.93, 1.07)


def _air(p: float, T: float) -> None:
    within("p", p, *PRESSURE_RANGE)
    within("T", T, *TEMPERATURE_RANGE)


def saturation_pressure(T: float, constants: MoistAir = CIPM_2007) -> float:
    """Saturation vapour pressure of water exp(A T^2 + B T + C + D/T) [Pa].

    Args:
        T: air temperature [K], 263.15 to 323.15.
        constants: of the formula.

    Raises: RangeError. Source: [1] eq. A1.1.

    >>> round(saturation_pressure(293.15), 1)
    2339.2
    """
    within("T", T, *TEMPERATURE_RANGE)
    c = constants
    exponent = c.A * T**2 + c.B * T + c.C + c.D / T
    return finite_result("saturation_pressure", c.pascal * math.exp(exponent))


def enhancement_factor(p: float, T: float, constants: MoistAir = CIPM_2007) -> float:
    """Enhancement factor alpha + beta p + gamma t^2, air being no ideal gas.

    Args: pressure [Pa], 60 to 110 kPa; temperature [K], 263.15 to 323.15.
    Raises: RangeError. Source: [1] eq. A1.2.

    >>> round(enhancement_factor(101325.0, 293.15), 5)
    1.00403
    """
    _air(p, T)
    c = constants
    t = T - c.ice_point
    return finite_result("enhancement_factor", c.alpha + c.beta * p + c.gamma * t**2)


def vapour_fraction(p: float, T: float, h: float, constants: MoistAir = CIPM_2007) -> float:
    """Mole fraction of water vapour h f p_sv / p.

    Args:
        p: pressure [Pa], 60 to 110 kPa.
        T: temperature [K], 263.15 to 323.15.
        h: relative humidity, 0 to 1.

    Raises: RangeError. Source: [1] eq. A1.3.

    >>> round(vapour_fraction(101325.0, 293.15, 0.5), 5)
    0.01159
    """
    within("h", h, 0.0, 1.0)
    f = enhancement_factor(p, T, constants)
    return finite_result("vapour_fraction", h * f * saturation_pressure(T, constants) / p)


def compressibility(p: float, T: float, h: float, constants: MoistAir = CIPM_2007) -> float:
    """Compressibility factor Z of moist air.

    Args: as ``vapour_fraction``. Raises: RangeError. Source: [1] eq. A1.4.

    >>> round(compressibility(101325.0, 293.15, 0.5), 5)
    0.99961
    """
    x = vapour_fraction(p, T, h, constants)
    c = constants
    t = T - c.ice_point
    first = c.a0 + c.a1 * t + c.a2 * t**2 + (c.b0 + c.b1 * t) * x + (c.c0 + c.c1 * t) * x**2
    ratio = p / T
    return finite_result("compressibility", 1 - ratio * first + ratio**2 * (c.d + c.e * x**2))


def density(
    p: float, T: float, h: float, x_co2: float = 0.0004, constants: MoistAir = CIPM_2007
) -> float:
    """Density of moist air p M_a / (Z R T) (1 - x_v (1 - M_v/M_a)) [kg/m3].

    Args:
        p: pressure where the car runs, not reduced to sea level [Pa], 60 to 110 kPa.
        T: temperature [K], 263.15 to 323.15; recommended range 288.15 to 300.15.
        h: relative humidity, 0 to 1.
        x_co2: carbon dioxide, mole fraction, 0 to 0.01.

    Raises: RangeError. Source: [1] eq. 1 and 4.

    >>> round(density(101325.0, 293.15, 0.5), 6)
    1.199314
    """
    within("x_co2", x_co2, 0.0, 0.01)
    c = constants
    x = vapour_fraction(p, T, h, c)
    Z = compressibility(p, T, h, c)
    M = c.M_a + c.M_c * (x_co2 - c.x_reference)
    return finite_result("density", p * M / (Z * c.R * T) * (1 - x * (1 - c.M_v / M)))


def dry_pressure(p: float, T: float, h: float, constants: MoistAir = CIPM_2007) -> float:
    """Pressure less that of the water vapour [Pa], what the engine corrections ask for.

    Args: as ``vapour_fraction``. Raises: RangeError. Source: [1] eq. A1.3.

    >>> round(dry_pressure(101325.0, 293.15, 0.5))
    100151
    """
    return finite_result("dry_pressure", p * (1 - vapour_fraction(p, T, h, constants)))


def correction_iso1585(
    p_dry: float, T: float, p_reference: float = 99e3, T_reference: float = 298.0
) -> float:
    """Spark-ignition correction factor (99 kPa / p_dry)^1.2 (T / 298 K)^0.6.

    Args:
        p_dry: dry air pressure [Pa], 50 to 110 kPa.
        T: air temperature at the inlet [K], 263.15 to 323.15.
        p_reference, T_reference: the standard's reference air.

    Above 1 the engine makes less than in reference air. Made for petrol engines; a fuel that
    carries oxygen needs less air, so for nitro it is an upper bound. See ``correction_trusted``.
    Raises: RangeError. Source: [2] ISO 1585, recalled.

    >>> round(correction_iso1585(95e3, 303.15), 4)
    1.0616
    """
    _engine_air(p_dry, T)
    factor: float = (positive("p_reference", p_reference) / p_dry) ** 1.2 * (
        T / positive("T_reference", T_reference)
    ) ** 0.6
    return finite_result("correction", factor)


def correction_j1349(
    p_dry: float, T: float, p_reference: float = 99e3, T_reference: float = 298.0
) -> float:
    """Spark-ignition correction factor 1.18 (99 kPa / p_dry) sqrt(T / 298 K) - 0.18.

    Args, range and caution as ``correction_iso1585``; the 0.18 is friction, which thin air does not
    lower. Raises: RangeError. Source: [2] SAE J1349, recalled.

    >>> round(correction_j1349(95e3, 303.15), 4)
    1.0603
    """
    _engine_air(p_dry, T)
    warmth: float = (T / positive("T_reference", T_reference)) ** 0.5
    factor = 1.18 * (positive("p_reference", p_reference) / p_dry) * warmth - 0.18
    return finite_result("correction", factor)


def _engine_air(p_dry: float, T: float) -> None:
    within("p_dry", p_dry, 50e3, PRESSURE_RANGE[1])
    within("T", T, *TEMPERATURE_RANGE)


def correction_trusted(factor: float) -> bool:
    """Tell whether a correction factor lies where the standards hold it good, 0.93 to 1.07.

    Raises: RangeError. Source: [2], recalled.

    >>> correction_trusted(1.12)
    False
    """
    low, high = CORRECTION_RANGE
    return low <= magnitude("factor", positive("factor", factor)) <= high


def torque_today(reference_torque: float, factor: float) -> float:
    """Engine torque in today's air: reference torque / correction factor [N m].

    Args:
        reference_torque: torque in the standard's reference air [N m], not below zero.
        factor: from ``correction_iso1585`` or ``correction_j1349``, 0.5 to 2.

    Raises: RangeError. Source: [2].

    >>> round(torque_today(0.40, 1.06), 4)
    0.3774
    """
    within("factor", factor, 0.5, 2.0)
    return finite_result("torque", not_negative("reference_torque", reference_torque) / factor)
