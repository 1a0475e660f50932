r"""What temperature-gun readings after a heat say of how a bell gives heat away.

While it runs, the bell comes to rise P f / (hA) above the air, f how far it got on its way there.
Standing, it cools as :math:`e^{-b t}`. So a reading of rise y, taken t after the heat, says

.. math:: \ln y - \ln(P f) = -\ln(hA) - b\,t

which is a straight line: intercept and slope are fitted by least squares, what was taken of both
beforehand counting as a reading of each.

SI units: times [s], rises [K], power [W], conductance [W/K], b [1/s].

Sources:
    [1] Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, ch. 5 (lumped capacitance).
    [2] JCGM 100:2008 (GUM), H.3 (a straight line by least squares).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import finite_result, not_negative, positive
from pitwright.mechanics.warmth import time_constant

_ROUNDS = 30


@dataclass(frozen=True, slots=True)
class GunReading:
    """A bell read after a heat: its rise above the air [K] with its u, how long after the end [s],
    the mean power it took while it ran [W], and how long it had run [s].
    """

    rise: float
    u_rise: float
    after: float
    power: float
    run: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """How a bell gives heat away: running [W/K], and standing [1/s].

    Uncertainties are relative, ``u_log_*`` of the natural logarithm; ``correlation`` between the
    two, ``readings`` how many were used.
    """

    conductance: float
    u_log_conductance: float
    rate: float
    u_log_rate: float
    correlation: float
    readings: int


def fit_cooling(
    readings: Sequence[GunReading],
    *,
    heat_capacity: float,
    conductance: float,
    u_log_conductance: float,
    rate: float,
    u_log_rate: float,
) -> Cooling:
    """Return conductance and cooling rate, from readings and what was taken of both beforehand.

    Args:
        readings: any number, from any heats.
        heat_capacity: of the bell [J/K].
        conductance, rate: taken beforehand [W/K], [1/s].
        u_log_conductance, u_log_rate: standard uncertainty of their natural logarithms, above
            zero; 0.7 is a factor of two either way.

    Without readings the answer is what was taken. Raises: RangeError. Source: [1], [2].

    >>> seen = [GunReading(60.0, 2.0, 60.0, 10.0, 600.0), GunReading(30.0, 2.0, 300.0, 10.0, 600.0)]
    >>> found = fit_cooling(seen, heat_capacity=10.7, conductance=0.2, u_log_conductance=2.0,
    ...     rate=0.003, u_log_rate=2.0)
    >>> round(found.conductance, 2), round(math.log(2) / found.rate)
    (0.14, 240)
    """
    positive("heat_capacity", heat_capacity)
    g0, h0 = math.log(positive("conductance", conductance)), math.log(positive("rate", rate))
    positive("u_log_conductance", u_log_conductance)
    positive("u_log_rate", u_log_rate)
    for each in readings:
        positive("rise", each.rise)
        positive("u_rise", each.u_rise)
        positive("power", each.power)
        positive("run", each.run)
        not_negative("after", each.after)
    # Gauss-Newton in the logarithms, for neither figure can fall below nothing.
    g, h = g0, h0
    gg, gh, hh = 0.0, 0.0, 0.0
    for _ in range(_ROUNDS):
        constant = time_constant(heat_capacity, math.exp(g))
        gg, gh, hh = u_log_conductance**-2, 0.0, u_log_rate**-2
        rg, rh = gg * (g0 - g), hh * (h0 - h)
        for each in readings:
            x = each.run / constant
            reached = -math.expm1(-x)
            cooled = each.after * math.exp(h)
            # d ln f / d ln hA = x e^-x / f; the line's own part is -1.
            by_g, by_h = x * math.exp(-x) / reached - 1.0, -cooled
            missing = math.log(each.rise) - math.log(each.power * reached) + g + cooled
            weight = (each.rise / each.u_rise) ** 2
            gg += weight * by_g * by_g
            gh += weight * by_g * by_h
            hh += weight * by_h * by_h
            rg += weight * by_g * missing
            rh += weight * by_h * missing
        inside = gg * hh - gh * gh
        dg, dh = (hh * rg - gh * rh) / inside, (gg * rh - gh * rg) / inside
        g += min(max(dg, -1.0), 1.0)
        h += min(max(dh, -1.0), 1.0)
        if abs(dg) + abs(dh) < 1e-12:
            break
    inside = gg * hh - gh * gh
    return Cooling(
        conductance=finite_result("conductance", math.exp(g)),
        u_log_conductance=math.sqrt(hh / inside),
        rate=finite_result("rate", math.exp(h)),
        u_log_rate=math.sqrt(gg / inside),
        correlation=-gh / math.sqrt(gg * hh),
        readings=len(readings),
    )
