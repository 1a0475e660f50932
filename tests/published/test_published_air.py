"""Air. "Seen": read from a copy and recomputed. "Recalled": from memory.

Tolerances are half a unit in the last printed digit unless a remark says otherwise.
"""

import math

import pytest

from pitwright.mechanics.air import (
    CIPM_2007,
    correction_iso1585,
    correction_j1349,
    density,
    dry_pressure,
    saturation_pressure,
)

ICE = 273.15
MMHG = 133.322387415


def test_constants_of_the_paper():
    """Picard et al., appendix, as a mass metrology package for R prints them, seen.

    Some of them move the density by less than any printed digit, so they are held one by one.
    """
    seen = {
        "A": 1.2378847e-5,
        "B": -1.9121316e-2,
        "C": 33.93711047,
        "D": -6.3431645e3,
        "alpha": 1.00062,
        "beta": 3.14e-8,
        "gamma": 5.6e-7,
        "a0": 1.58123e-6,
        "a1": -2.9331e-8,
        "a2": 1.1043e-10,
        "b0": 5.707e-6,
        "b1": -2.051e-8,
        "c0": 1.9898e-4,
        "c1": -2.376e-6,
        "d": 1.83e-11,
        "e": -0.765e-8,
        "ice_point": 273.15,
        "R": 8.314472,
        "M_v": 18.01528e-3,
        "M_a": 28.96546e-3,
        "M_c": 12.011e-3,
        "x_reference": 0.0004,
    }
    assert {name: getattr(CIPM_2007, name) for name in seen} == seen


@pytest.mark.parametrize(
    ("celsius", "h", "rho"), [(20.0, 0.5, 1.199314), (20.0, 0.0, 1.204557), (25.0, 0.5, 1.177315)]
)
def test_cipm_2007(celsius, h, rho):
    """Picard et al., Metrologia 45 (2008) 149, computed from the paper's constants, 101 325 Pa."""
    assert density(101325.0, celsius + ICE, h) == pytest.approx(rho, abs=5e-7)


def test_gupta():
    """S. V. Gupta, Mass Metrology, p. 205, seen: 10 C, 730 mmHg, 40 % -> 1.19569."""
    assert density(730 * MMHG, 10 + ICE, 0.40) == pytest.approx(1.19569, abs=5e-6)


def test_triple_point():
    """A. Wexler, J. Res. NBS 80A (1976) 775, abstract seen: 611.657 Pa at 0.01 C."""
    assert saturation_pressure(0.01 + ICE) == pytest.approx(611.657, abs=5e-4)


@pytest.mark.parametrize(
    ("celsius", "kpa"),
    [(0, 0.61129), (10, 1.2281), (20, 2.3388), (25, 3.1690), (30, 4.2455), (40, 7.3814)],
)
def test_handbook_vapour_pressures(celsius, kpa):
    """CRC Handbook of Chemistry and Physics (1992-93), vapour pressure of water, seen.

    Another formula on the newer temperature scale: CIPM-2007 itself gives its p_sv an uncertainty
    of some parts in 10 000, so 6 parts in 10 000 here and not the printed digits.
    """
    assert saturation_pressure(celsius + ICE) / 1e3 == pytest.approx(kpa, rel=6e-4)


@pytest.mark.parametrize(
    ("name", "step", "sensitivity", "half_digit"),
    [
        ("p", 100.0, 1e-5, 5e-6),
        ("T", 0.1, -4e-3, 5e-4),
        ("h", 0.01, -9e-3, 5e-4),
        ("x_co2", 1e-5, 0.4, 5e-2),
    ],
)
def test_sensitivities(name, step, sensitivity, half_digit):
    """Picard et al., table of relative sensitivities of rho at 20 C, 101 325 Pa, 50 %.

    Recalled: 1e-5 per Pa, -4e-3 per K, -9e-3 per unit of humidity, 0.4 per unit of CO2; printed
    with one digit.
    """
    state = {"p": 101325.0, "T": 293.15, "h": 0.5, "x_co2": 0.0004}
    more = density(**{**state, name: state[name] + step})
    less = density(**{**state, name: state[name] - step})
    slope = (more - less) / (2 * step * density(**state))
    assert slope == pytest.approx(sensitivity, abs=half_digit)


def test_correction_forms():
    """ISO 1585 (99/ps)^1.2 (T/298)^0.6 and SAE J1349 1.18 (99/pd) sqrt(T/298) - 0.18, recalled.

    The J1349 form was also seen on two workshop pages, in millibar: 1.180 (990/Pd) ((Tc + 273) /
    298)^0.5 - 0.18. Written out here a second time, in the pages' units.
    """
    for millibar in (850.0, 930.0, 990.0, 1013.0):
        for celsius in (5.0, 25.0, 38.0):
            T = celsius + 273.0
            seen = 1.180 * ((990 / millibar) * math.sqrt(T / 298)) - 0.18
            assert correction_j1349(millibar * 100, T) == pytest.approx(seen, rel=1e-12)
            recalled = math.exp(1.2 * math.log(990 / millibar) + 0.6 * math.log(T / 298))
            assert correction_iso1585(millibar * 100, T) == pytest.approx(recalled, rel=1e-12)


def test_reference_air_is_neutral():
    """Both standards, recalled: 99 kPa dry and 298 K (25 C) need no correction."""
    assert correction_iso1585(99e3, 298.0) == 1.0
    assert correction_j1349(99e3, 298.0) == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize("celsius", [0, 5, 10, 15, 20, 27, 35, 40])
@pytest.mark.parametrize("pressure", [60e3, 80e3, 95e3, 101325.0, 110e3])
@pytest.mark.parametrize("h", [0.0, 0.3, 0.6, 1.0])
def test_second_route(celsius, pressure, h):
    """CoolProp's humid air (ASHRAE RP-1485), an independent equation of state: 1e-4."""
    props = pytest.importorskip("CoolProp.HumidAirProp")
    T = celsius + ICE
    volume = props.HAPropsSI("Vha", "T", T, "P", pressure, "R", h)
    assert density(pressure, T, h) == pytest.approx(1 / volume, rel=1e-4)


def test_vapour_second_route():
    """The dry pressure against CoolProp's partial pressure of water: 1e-4 of the whole."""
    props = pytest.importorskip("CoolProp.HumidAirProp")
    for celsius in (5.0, 20.0, 35.0):
        T = celsius + ICE
        p_w = props.HAPropsSI("P_w", "T", T, "P", 101325.0, "R", 0.6)
        assert dry_pressure(101325.0, T, 0.6) == pytest.approx(101325.0 - p_w, rel=1e-4)
