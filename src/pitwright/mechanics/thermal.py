"""What heat does to lengths, and what slip does to temperatures.

SI units: lengths [m], temperatures [K] (rises too), energies [J], masses [kg].

Sources:
    [1] Callister, Materials Science and Engineering, 8th ed., ch. 19.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pitwright.mechanics.errors import (
    RangeError,
    finite,
    finite_result,
    magnitude,
    not_negative,
    positive,
)

# [1] table 19.1: specific heat, J/(kg K), at room temperature; a polymer's is from memory.
SPECIFIC_HEAT = {"aluminium": 900.0, "steel": 486.0, "brass": 375.0, "polymer": 1400.0}

_MOST_EXPANSION = 1e-3


def _expansion_coefficient(alpha: float) -> float:
    if magnitude("alpha", not_negative("alpha", alpha)) > _MOST_EXPANSION:
        raise RangeError("alpha", alpha, "is no metal's; give it per kelvin, e.g. 12.3e-6")
    return alpha


def elongation(L: float, alpha: float, rise: float) -> float:
    """Change of length alpha L rise [m].

    Args:
        L: length at the lower temperature [m].
        alpha: linear expansion [1/K], 0 to 1e-3.
        rise: temperature rise [K], below zero when it cools.

    Range: alpha constant, a rise of a few hundred kelvin.
    Raises: RangeError. Source: [1] eq. 19.3.

    >>> round(elongation(0.020, 23.4e-6, 80.0) * 1e6, 1)
    37.4
    """
    change = positive("L", L) * _expansion_coefficient(alpha) * finite("rise", rise)
    return finite_result("elongation", change)


@dataclass(frozen=True)
class Part:
    """One part in the loop that makes up an end play.

    Attributes:
        length: along the axis, cold [m].
        alpha: linear expansion [1/K].
        rise: how much hotter than cold it runs [K].
        opens: True where its growth widens the play (the shaft between the shoulders), False where
            it takes play away (bell, bearings, shims).
    """

    length: float
    alpha: float
    rise: float
    opens: bool = False


def hot_end_play(cold: float, parts: Iterable[Part]) -> float:
    """End play hot [m]: cold play plus what opening parts grow, less what closing parts grow.

    Args:
        cold: play measured cold [m]; below zero is interference.
        parts: every part in the loop between the two faces.

    Below zero the bell binds hot. Dirt, bearings and measuring usually cost more play than heat.
    Raises: RangeError. Source: [1] eq. 19.3, tolerance loop.

    >>> shaft = Part(0.020, 12.3e-6, 80.0, opens=True)
    >>> bell = Part(0.020, 23.4e-6, 80.0)
    >>> round(hot_end_play(0.25e-3, [shaft, bell]) * 1e3, 3)
    0.232
    """
    play = finite("cold", cold)
    for part in parts:
        growth = elongation(part.length, part.alpha, part.rise)
        play = play + growth if part.opens else play - growth
    return finite_result("hot_end_play", play)


def temperature_rise(energy: float, mass: float, specific_heat: float) -> float:
    """Temperature rise E / (m c) [K] of a part that keeps all the heat.

    Args:
        energy: heat taken up [J], not below zero.
        mass: [kg].
        specific_heat: [J/(kg K)], see ``SPECIFIC_HEAT``.

    Range: adiabatic, one short event; a real bell gives heat away between launches.
    Raises: RangeError. Source: [1] eq. 19.1.

    >>> round(temperature_rise(30.0, 0.030, SPECIFIC_HEAT["steel"]), 2)
    2.06
    """
    heat = positive("mass", mass) * positive("specific_heat", specific_heat)
    return finite_result("temperature_rise", not_negative("energy", energy) / heat)
