"""Dimensions proved: the same functions, given quantities with units, give the right one.

Every dimensional function of springs, nut, threads, gears, air and heat is called with pint
quantities in base units. The dimension of the answer follows from the formula itself, and its
magnitude must be what plain floats give.
"""

import inspect
import math

import pytest

from pitwright.mechanics import (
    air,
    corner_heat,
    gears,
    lines,
    nut,
    nut_advice,
    shoe_wear,
    springs,
    squeeze,
    thermal,
    threads,
    warmth,
)
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.springs import EndType

pint = pytest.importorskip("pint")
U = pint.UnitRegistry(autoconvert_offset_to_baseunit=False)

m, N, Pa, K, kg, J, s = U.meter, U.newton, U.pascal, U.kelvin, U.kilogram, U.joule, U.second
one = U.dimensionless
rad_s = 1 / s  # radian is a number
W, INERTIA = J / s, kg * m**2
EFFUSIVITY = J / (m**2 * K * s**0.5)

CONSTANTS = air.MoistAir(
    **{
        name: getattr(air.CIPM_2007, name) * unit
        for name, unit in {
            "A": K**-2,
            "B": K**-1,
            "C": one,
            "D": K,
            "pascal": Pa,
            "alpha": one,
            "beta": Pa**-1,
            "gamma": K**-2,
            "a0": K / Pa,
            "a1": Pa**-1,
            "a2": K**-1 / Pa,
            "b0": K / Pa,
            "b1": Pa**-1,
            "c0": K / Pa,
            "c1": Pa**-1,
            "d": K**2 / Pa**2,
            "e": K**2 / Pa**2,
            "ice_point": K,
            "R": J / (U.mole * K),
            "M_v": kg / U.mole,
            "M_a": kg / U.mole,
            "M_c": kg / U.mole,
            "x_reference": one,
        }.items()
    }
)
AIR = {"p": 101325.0 * Pa, "T": 293.15 * K, "h": 0.5 * one, "constants": CONSTANTS}
CORRECTION = {
    "p_dry": 95e3 * Pa,
    "T": 303.15 * K,
    "p_reference": 99e3 * Pa,
    "T_reference": 298.0 * K,
}

CASES = [
    (springs.rate, {"G": 81e9 * Pa, "d": 1.5e-3 * m, "D": 9e-3 * m, "Na": 4.0 * one}, N / m),
    (springs.index, {"d": 1.5e-3 * m, "D": 9e-3 * m}, one),
    (springs.active_coils, {"Nt": 6.0 * one, "end": EndType.SQUARED_GROUND}, one),
    (springs.solid_length, {"d": 1.5e-3 * m, "Nt": 6.0 * one, "end": EndType.SQUARED}, m),
    (springs.wahl_factor, {"C": 6.0 * one}, one),
    (springs.bergstraesser_factor, {"C": 6.0 * one}, one),
    (
        springs.shear_stress,
        {"F": 60.0 * N, "d": 1.5e-3 * m, "D": 9e-3 * m, "factor": 1.25 * one},
        Pa,
    ),
    (
        springs.stress_at_solid,
        {
            "k": 30e3 * N / m,
            "L_free": 10.2e-3 * m,
            "L_solid": 7.5e-3 * m,
            "d": 1.5e-3 * m,
            "D": 9e-3 * m,
            "factor": 1.25 * one,
        },
        Pa,
    ),
    (springs.tensile_strength, {"A": 812e6 * Pa * m**0.145, "m": 0.145, "d": 1.5e-3 * m}, Pa),
    (springs.cavity_from_bottomed, {"L_solid": 7.5e-3 * m, "recess_bottomed": 2.1e-3 * m}, m),
    (springs.installed_length, {"C": 9.6e-3 * m, "recess": 1.35e-3 * m}, m),
    (springs.preload, {"L_free": 10.2e-3 * m, "C": 9.6e-3 * m, "recess": 1.35e-3 * m}, m),
    (springs.force, {"k": 30e3 * N / m, "x": 2e-3 * m}, N),
    (
        springs.coil_bind_margin,
        {"C": 9.6e-3 * m, "recess": 1.35e-3 * m, "L_solid": 7.5e-3 * m, "travel": 0.25e-3 * m},
        m,
    ),
    (
        nut.recess_at,
        {"turns_out": 1.5 * one, "recess_bottomed": 2.1e-3 * m, "pitch": 0.75e-3 * m},
        m,
    ),
    (
        nut.turns_at,
        {"recess": 1e-3 * m, "recess_bottomed": 2.1e-3 * m, "pitch": 0.75e-3 * m},
        one,
    ),
    (nut.root, {"square": 4e-10 * m**2}, m),
    (threads.tightening_torque, {"K": 0.2 * one, "F": 2000.0 * N, "d": 3e-3 * m}, N * m),
    (threads.clamp_load, {"T": 1.2 * N * m, "K": 0.2 * one, "d": 3e-3 * m}, N),
    (
        gears.road_speed,
        {
            "engine_speed": 3000.0 * rad_s,
            "drive": 6.0 * one,
            "tyre_diameter": 0.08 * m,
            "slip": 0.05 * one,
        },
        m / s,
    ),
    (
        gears.engine_speed,
        {"speed": 20.0 * m / s, "drive": 6.0 * one, "tyre_diameter": 0.08 * m},
        rad_s,
    ),
    (gears.pitch_diameter, {"m": 1e-3 * m, "teeth": 16}, m),
    (gears.centre_distance, {"m": 1e-3 * m, "pinion": 16, "spur": 48}, m),
    (gears.engine_shift, {"m": 1e-3 * m, "more_teeth": 1}, m),
    (gears.backlash, {"da": 0.1e-3 * m, "alpha": math.radians(20) * U.radian}, m),
    (air.saturation_pressure, {"T": 293.15 * K, "constants": CONSTANTS}, Pa),
    (
        air.enhancement_factor,
        {"p": 101325.0 * Pa, "T": 293.15 * K, "constants": CONSTANTS},
        one,
    ),
    (air.vapour_fraction, AIR, one),
    (air.compressibility, AIR, one),
    (air.density, {**AIR, "x_co2": 0.0005 * one}, kg / m**3),
    (air.dry_pressure, AIR, Pa),
    (air.correction_iso1585, CORRECTION, one),
    (air.correction_j1349, CORRECTION, one),
    (air.torque_today, {"reference_torque": 0.4 * N * m, "factor": 1.05 * one}, N * m),
    (thermal.elongation, {"L": 0.02 * m, "alpha": 12e-6 / K, "rise": 80.0 * K}, m),
    (
        thermal.temperature_rise,
        {"energy": 30.0 * J, "mass": 0.03 * kg, "specific_heat": 486.0 * J / (kg * K)},
        K,
    ),
    (
        gears.backlash_between,
        {"first": 31.5e-3 * m, "second": 32e-3 * m, "alpha": math.radians(20) * U.radian},
        m,
    ),
    (
        gears.speed_after_shift,
        {"speed": 2500.0 * rad_s, "first_drive": 7.3 * one, "second_drive": 5.4 * one},
        rad_s,
    ),
    (
        gears.lowest_shift,
        {"lock_up": 2000.0 * rad_s, "first_drive": 7.3 * one, "second_drive": 5.4 * one},
        rad_s,
    ),
    (corner_heat.reduced_inertia, {"first": 2.0 * INERTIA, "second": 3.0 * INERTIA}, INERTIA),
    (
        corner_heat.slip_energy,
        {
            "engine_inertia": 1e-5 * INERTIA,
            "car_inertia": 1.6e-4 * INERTIA,
            "slip": 700.0 * rad_s,
            "engine_torque": 0.4 * N * m,
            "clutch_torque": 0.5 * N * m,
        },
        J,
    ),
    (
        corner_heat.corner_energy,
        {
            "car_inertia": 1.6e-4 * INERTIA,
            "take_up_speed": 1900.0 * rad_s,
            "corner_speed": 1200.0 * rad_s,
        },
        J,
    ),
    (warmth.time_constant, {"heat_capacity": 10.7 * J / K, "conductance": 0.2 * W / K}, s),
    (
        warmth.steady_temperature,
        {"air": 298.0 * K, "power": 10.0 * W, "conductance": 0.2 * W / K},
        K,
    ),
    (
        warmth.temperature_after,
        {
            "time": 60.0 * s,
            "start": 300.0 * K,
            "air": 298.0 * K,
            "power": 10.0 * W,
            "heat_capacity": 10.7 * J / K,
            "conductance": 0.2 * W / K,
        },
        K,
    ),
    (
        warmth.stroke_peak,
        {
            "air": 298.0 * K,
            "energy": 45.0 * J,
            "interval": 4.5 * s,
            "heat_capacity": 10.7 * J / K,
            "conductance": 0.2 * W / K,
        },
        K,
    ),
    (
        warmth.effusivity,
        {
            "conductivity": 51.0 * W / (m * K),
            "density": 7850.0 * kg / m**3,
            "specific_heat": 486.0 * J / (kg * K),
        },
        EFFUSIVITY,
    ),
    (warmth.heat_share, {"own": 13900.0 * EFFUSIVITY, "other": 700.0 * EFFUSIVITY}, one),
    (
        warmth.contact_temperature,
        {
            "own": 13900.0 * EFFUSIVITY,
            "temperature": 310.0 * K,
            "other": 700.0 * EFFUSIVITY,
            "of_other": 290.0 * K,
        },
        K,
    ),
    (
        warmth.friction_at,
        {
            "friction": 0.3 * one,
            "temperature": 420.0 * K,
            "known_at": 330.0 * K,
            "change_per_kelvin": -0.001 / K,
        },
        one,
    ),
    (
        warmth.minutes_to_cool,
        {"start": 380.0 * K, "to": 320.0 * K, "air": 298.0 * K, "constant": 240.0 * s},
        s,
    ),
    (
        shoe_wear.worn_volume,
        {
            "coefficient": 1e-4 * one,
            "force": 100.0 * N,
            "distance": 1000.0 * m,
            "hardness": 1e9 * Pa,
        },
        m**3,
    ),
    (
        shoe_wear.wear_per_energy,
        {
            "coefficient": 1e-4 * one,
            "hardness": 1e9 * Pa,
            "friction": 0.3 * one,
            "area": 2e-4 * m**2,
        },
        m / J,
    ),
]


def bare(value):
    """Strip the unit, in base units."""
    if value is CONSTANTS:
        return air.CIPM_2007
    return value.to_base_units().magnitude if hasattr(value, "to_base_units") else value


def same(quantity, plain, unit) -> None:
    assert U.Quantity(quantity).is_compatible_with(unit), f"{quantity} is not {unit}"
    assert U.Quantity(quantity).to(unit).magnitude == pytest.approx(plain, rel=1e-12)


@pytest.mark.parametrize(
    ("function", "given", "unit"), CASES, ids=lambda x: getattr(x, "__name__", "")
)
def test_dimension(function, given, unit):
    plain = function(**{name: bare(value) for name, value in given.items()})
    same(function(**given), plain, unit)


def dimensional(given: dict) -> list[str]:
    return [
        name
        for name, value in given.items()
        if hasattr(value, "dimensionality") and not value.dimensionless
    ]


@pytest.mark.parametrize(
    ("function", "given", "unit"),
    [case for case in CASES if dimensional(case[1])],
    ids=lambda x: getattr(x, "__name__", ""),
)
def test_a_wrong_dimension_shows(function, given, unit):
    """The proof can fail: spoil one dimensional argument and the answer's dimension changes."""
    name = dimensional(given)[0]
    # Candela stands in no formula of ours, and a factor of one leaves the ranges alone.
    spoilt = {**given, name: given[name] * U.candela}
    try:
        answer = function(**spoilt)
    except (pint.DimensionalityError, RangeError):
        return
    assert not U.Quantity(answer).is_compatible_with(unit)


def test_no_dimensional_function_is_forgotten():
    numbers_only = {
        springs.strength_coefficient,  # converts one unit to another
        springs.music_wire_shear_modulus,  # a table
        threads.proof_load,  # a table
        threads.stress_area,  # by name
        threads.driver_error,  # a share by steps
        threads.taper_half_angle,
        threads.self_holding,
        gears.final_drive,
        air.correction_trusted,
    }
    tested_below = {
        threads.torque_window,
        nut.recess_for_same_preload,
        nut.calibrate,
        thermal.hot_end_play,
    } | {shoe_wear.wear_rate}  # takes readings, not figures
    everything = {
        function
        for module in (
            springs,
            nut,
            threads,
            gears,
            air,
            thermal,
            corner_heat,
            warmth,
            shoe_wear,
        )
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__ and not name.startswith("_")
    }
    assert everything == {case[0] for case in CASES} | numbers_only | tested_below


def test_torque_window():
    given = {"K": 0.2 * one, "d": 3e-3 * m, "proof": 4880.0 * N}
    window = threads.torque_window(**given)
    plain = threads.torque_window(0.2, 3e-3, 4880.0)
    same(window.low, plain.low, N * m)
    same(window.high, plain.high, N * m)


def test_same_preload():
    lengths = (1.5e-3, 10.2e-3, 10.0e-3)
    us = {"u_recess": 1e-5, "u_L_free_then": 2e-5, "u_L_free_now": 3e-5}
    value, u = nut.recess_for_same_preload(
        *(x * m for x in lengths), **{name: x * m for name, x in us.items()}
    )
    plain, plain_u = nut.recess_for_same_preload(*lengths, **us)
    same(value, plain, m)
    same(u, plain_u, m)


@pytest.mark.parametrize("us", [None, [0.5, 0.4, 0.6, 0.5]])
def test_line(us):
    xs, ys = [1.0, 2.0, 3.0, 4.0], [2.1, 3.9, 6.2, 7.8]
    plain = lines.fit_line(xs, ys, us)
    line = lines.fit_line([x * m for x in xs], [y * N for y in ys], us and [u * N for u in us])
    same(line.slope, plain.slope, N / m)
    same(line.intercept, plain.intercept, N)
    same(line.u_slope, plain.u_slope, N / m)
    same(line.u_intercept, plain.u_intercept, N)
    same(line.covariance, plain.covariance, N**2 / m)
    same(line.residual_sd, plain.residual_sd, N)
    for got, want in zip(line.at(2.5 * m), plain.at(2.5), strict=True):
        same(got, want, N)


@pytest.mark.parametrize(
    "points",
    [[(9e-3, 30.0), (8e-3, 60.0)], [(9.8e-3, 12.4), (9.4e-3, 24.1), (9.1e-3, 33.9)]],
)
def test_squeeze(points):
    plain = squeeze.rate_from_squeeze(points)
    fit = squeeze.rate_from_squeeze([(x * m, f * N) for x, f in points])
    same(fit.rate, plain.rate, N / m)
    same(fit.free_length, plain.free_length, m)
    if plain.standard_error is not None:
        same(fit.standard_error, plain.standard_error, N / m)


@pytest.mark.parametrize("options", [{}, {"known_pitch": 0.75e-3, "u_known_pitch": 1e-6}])
@pytest.mark.parametrize("u", [None, 1e-5])
def test_calibration(options, u):
    pairs = [(0.0, 2.14e-3), (1.0, 1.38e-3), (2.0, 0.61e-3)]
    plain = nut.calibrate(pairs, u_recess=u, **options)
    fit = nut.calibrate(
        [(t * one, r * m) for t, r in pairs],
        u_recess=None if u is None else u * m,
        **{name: value * m for name, value in options.items()},
    )
    for name in ("recess_bottomed", "pitch", "u_recess_bottomed", "u_pitch", "residual_sd"):
        same(getattr(fit, name), getattr(plain, name), m)
    same(fit.covariance, plain.covariance, m**2)
    for got, want in zip(fit.recess(0.5 * one, 0.01 * one), plain.recess(0.5, 0.01), strict=True):
        same(got, want, m)
    for got, want in zip(fit.turns(1e-3 * m, 1e-5 * m), plain.turns(1e-3, 1e-5), strict=True):
        same(got, want, one)


def test_advice():
    def ask(mm, number):
        limits = nut_advice.NutLimits(1.7 * mm, 2.125 * mm, 0.25 * mm, 0.1 * mm)
        assert limits.at_bind.__class__ is mm.__class__
        return nut_advice.advise(
            1.5 * mm,
            limits,
            0.75 * mm,
            present=1.35 * mm,
            u_wanted=0.02 * mm,
            u_present=0.01 * mm,
            u_pitch=0.002 * mm,
            correlation=0.3 * number,
        )

    advice, plain = ask(1e-3 * m, 1.0 * one), ask(1e-3, 1.0)
    for name in ("wanted", "u_wanted", "bind_margin", "maximum_margin"):
        same(getattr(advice, name), getattr(plain, name), m)
    same(advice.turns, plain.turns, one)
    same(advice.u_turns, plain.u_turns, one)
    assert (advice.direction, advice.refusal) == (plain.direction, plain.refusal)


def test_hot_end_play():
    def ask(metre, kelvin):
        parts = [
            thermal.Part(0.02 * metre, 12e-6 / kelvin, 80.0 * kelvin, opens=True),
            thermal.Part(0.02 * metre, 23e-6 / kelvin, 90.0 * kelvin),
        ]
        return thermal.hot_end_play(0.25e-3 * metre, parts)

    same(ask(1 * m, 1 * K), ask(1.0, 1.0), m)
