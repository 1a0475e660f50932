r"""How warm a part gets that is heated and blown upon, and what its friction then is.

One lump of one temperature: :math:`C\, dT/dt = P - hA\,(T - T_{air})`. A clutch bell is one (its
Biot number is far below a tenth); it is heated in short strokes, one a corner exit, which
:func:`stroke_peak` tells apart from the mean.

SI units, but for temperatures, which may be kelvin or degrees Celsius as long as all are the same.

Sources:
    [1] Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 5 (lumped capacitance).
    [2] Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed., section 16-9
        (temperature of a brake heated again and again; recalled).
    [3] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., section 2.15 (recalled).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from pitwright.mechanics.errors import (
    RangeError,
    finite,
    finite_result,
    not_negative,
    positive,
    within,
)

EFFUSIVITY: Mapping[str, float] = MappingProxyType(
    {"steel": 13_900.0, "aluminium": 24_000.0, "brass": 18_200.0, "polymer": 700.0}
)
"""Thermal effusivity of what bells and shoes are made of [W s^0.5/(m^2 K)].

From memory, by :func:`effusivity`: steel 51, 7850, 486; aluminium 237, 2700, 900; brass 115, 8500,
375 (pure forms; alloys less); polymer 0.25 W/(m K), 1400 kg/m^3, 1400 J/(kg K), within a third."""

LEAST_FRICTION = 0.2
"""Share of its friction below which no straight line against temperature is followed."""


def time_constant(heat_capacity: float, conductance: float) -> float:
    """Time in which a part covers 63 % of the way to its steady temperature, C / (hA) [s].

    Args:
        heat_capacity: C, mass times specific heat [J/K].
        conductance: hA, heat given to the air per kelvin [W/K].

    Raises: RangeError. Source: [1] eq. 5.7.

    >>> round(time_constant(10.7, 0.2), 1)
    53.5
    """
    return finite_result(
        "time_constant",
        positive("heat_capacity", heat_capacity) / positive("conductance", conductance),
    )


def steady_temperature(air: float, power: float, conductance: float) -> float:
    """Temperature at which a part gives away what it takes up, T_air + P / (hA).

    Args:
        air: what it gives heat to [degC or K].
        power: P [W], not below zero.
        conductance: hA [W/K].

    Raises: RangeError. Source: [1] eq. 5.1, nothing changing.

    >>> steady_temperature(25.0, 10.0, 0.2)
    75.0
    """
    rise = not_negative("power", power) / positive("conductance", conductance)
    return finite_result("steady_temperature", finite("air", air) + rise)


def temperature_after(
    time: float,
    start: float,
    air: float,
    power: float,
    heat_capacity: float,
    conductance: float,
) -> float:
    r"""Temperature after a time of constant power, :math:`T_s + (T_0 - T_s) e^{-t hA / C}`.

    Args:
        time: t [s], not below zero.
        start: T_0, at the beginning [degC or K].
        air, power, conductance: as in :func:`steady_temperature`, which gives T_s.
        heat_capacity: C [J/K].

    Range: one temperature all through the part (h L / k below 0.1). Raises: RangeError.
    Source: [1] eq. 5.25.

    >>> round(temperature_after(60.0, 25.0, 25.0, 10.0, 10.7, 0.2), 1)
    58.7
    """
    steady = steady_temperature(air, power, conductance)
    left = math.exp(-not_negative("time", time) / time_constant(heat_capacity, conductance))
    return finite_result("temperature_after", steady + (finite("start", start) - steady) * left)


def stroke_peak(
    air: float, energy: float, interval: float, heat_capacity: float, conductance: float
) -> float:
    r"""Highest temperature of a part heated by equal strokes for long.

    .. math:: T_{max} = T_{air} + \frac{E / C}{1 - e^{-t_1 hA / C}}

    Args:
        air: [degC or K].
        energy: E of one stroke [J], taken up at once.
        interval: t_1 from stroke to stroke [s].
        heat_capacity: C [J/K].
        conductance: hA [W/K].

    Raises: RangeError. Source: [2] eq. 16-60.

    >>> round(stroke_peak(25.0, 45.0, 4.5, 10.7, 0.2), 1)
    77.1
    """
    jump = not_negative("energy", energy) / positive("heat_capacity", heat_capacity)
    share = positive("interval", interval) / time_constant(heat_capacity, conductance)
    return finite_result("stroke_peak", finite("air", air) - jump / math.expm1(-share))


def effusivity(conductivity: float, density: float, specific_heat: float) -> float:
    """Thermal effusivity sqrt(k rho c) [W s^0.5/(m^2 K)]: how readily a surface takes up heat.

    Args:
        conductivity: k [W/(m K)].
        density: rho [kg/m^3].
        specific_heat: c [J/(kg K)].

    Raises: RangeError. Source: [3].

    >>> round(effusivity(51.0, 7850.0, 486.0), -2)
    13900.0
    """
    positive("conductivity", conductivity)
    positive("density", density)
    positive("specific_heat", specific_heat)
    found: float = (conductivity * density * specific_heat) ** 0.5
    return finite_result("effusivity", found)


def heat_share(own: float, other: float) -> float:
    """Share of the friction heat that goes into the body of effusivity ``own``, e1 / (e1 + e2).

    Args:
        own, other: effusivities of the two rubbing bodies [W s^0.5/(m^2 K)].

    Range: both thick beside how far heat gets in a stroke (0.2 s: 2 mm in steel, 0.2 mm in a
    polymer), full contact, both surfaces equally hot. Raises: RangeError. Source: [3].

    >>> round(heat_share(EFFUSIVITY["steel"], EFFUSIVITY["polymer"]), 2)
    0.95
    """
    return finite_result("heat_share", positive("own", own) / (own + positive("other", other)))


def contact_temperature(own: float, temperature: float, other: float, of_other: float) -> float:
    """Temperature at which two bodies meet that were brought together, each weighing its e.

    Args:
        own, other: effusivities [W s^0.5/(m^2 K)].
        temperature, of_other: of each body before [degC or K].

    Raises: RangeError. Source: [1] eq. 5.63, [3].

    >>> contact_temperature(100.0, 40.0, 300.0, 20.0)
    25.0
    """
    share = heat_share(own, other)
    met = share * finite("temperature", temperature) + (1 - share) * finite("of_other", of_other)
    return finite_result("contact_temperature", met)


def friction_at(
    friction: float, temperature: float, known_at: float, change_per_kelvin: float
) -> float:
    """Coefficient of friction at a temperature, mu (1 + b (T - T_known)); b below zero is fade.

    Args:
        friction: mu, as known.
        temperature: T [degC or K].
        known_at: T_known, the temperature at which ``friction`` holds.
        change_per_kelvin: b [1/K], within 0.02 either way.

    Never below a fifth of ``friction``: a straight line that far is no longer known.
    Raises: RangeError. Source: a straight line through what was seen; no law stands behind it.

    >>> round(friction_at(0.3, 160.0, 60.0, -0.001), 3)
    0.27
    """
    within("change_per_kelvin", change_per_kelvin, -0.02, 0.02)
    scale = 1 + change_per_kelvin * (
        finite("temperature", temperature) - finite("known_at", known_at)
    )
    return finite_result("friction", positive("friction", friction) * max(scale, LEAST_FRICTION))


def minutes_to_cool(start: float, to: float, air: float, constant: float) -> float:
    r"""Time to cool from one temperature to another, :math:`\tau \ln((T_0 - T_a) / (T - T_a))`.

    Args:
        start, to, air: [degC or K]; air below both, ``to`` not above ``start``.
        constant: tau, see :func:`time_constant`; the answer has its unit.

    Raises: RangeError. Source: [1] eq. 5.5.

    >>> round(minutes_to_cool(110.0, 50.0, 25.0, 4.0), 2)
    4.9
    """
    if not finite("air", air) < finite("to", to) <= finite("start", start):
        raise RangeError("to", to, "must lie between the air and the start")
    return finite_result(
        "minutes_to_cool", positive("constant", constant) * math.log((start - air) / (to - air))
    )
