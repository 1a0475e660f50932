"""No function lets NaN, infinity or nonsense in, and none hands them out.

Every numeric argument of every function is tried with every bad value, and then all arguments at
once with whatever hypothesis thinks of.
"""

import inspect
import math
import pickle
from dataclasses import astuple, is_dataclass
from enum import Enum

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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
from pitwright.mechanics.errors import (
    RangeError,
    finite,
    finite_result,
    not_negative,
    positive,
    whole,
    within,
)
from pitwright.mechanics.springs import EndType

GOOD = [
    (springs.rate, {"G": 81e9, "d": 1.5e-3, "D": 9e-3, "Na": 4.0}),
    (springs.index, {"d": 1.5e-3, "D": 9e-3}),
    (springs.active_coils, {"Nt": 6.0, "end": EndType.SQUARED_GROUND}),
    (springs.solid_length, {"d": 1.5e-3, "Nt": 6.0, "end": EndType.SQUARED}),
    (springs.wahl_factor, {"C": 6.0}),
    (springs.bergstraesser_factor, {"C": 6.0}),
    (springs.shear_stress, {"F": 60.0, "d": 1.5e-3, "D": 9e-3, "factor": 1.25}),
    (
        springs.stress_at_solid,
        {"k": 30e3, "L_free": 10.2e-3, "L_solid": 7.5e-3, "d": 1.5e-3, "D": 9e-3, "factor": 1.25},
    ),
    (springs.strength_coefficient, {"A_mpa_mm": 2211.0, "m": 0.145}),
    (springs.tensile_strength, {"A": 812e6, "m": 0.145, "d": 1.5e-3}),
    (springs.music_wire_shear_modulus, {"d": 1.5e-3}),
    (springs.cavity_from_bottomed, {"L_solid": 7.5e-3, "recess_bottomed": 2.1e-3}),
    (springs.installed_length, {"C": 9.6e-3, "recess": 1.35e-3}),
    (springs.preload, {"L_free": 10.2e-3, "C": 9.6e-3, "recess": 1.35e-3}),
    (springs.force, {"k": 30e3, "x": 2e-3}),
    (
        springs.coil_bind_margin,
        {"C": 9.6e-3, "recess": 1.35e-3, "L_solid": 7.5e-3, "travel": 0.25e-3},
    ),
    (nut.recess_at, {"turns_out": 1.5, "recess_bottomed": 2.1e-3, "pitch": 0.75e-3}),
    (nut.turns_at, {"recess": 1.0e-3, "recess_bottomed": 2.1e-3, "pitch": 0.75e-3}),
    (
        nut.recess_for_same_preload,
        {
            "recess": 1.5e-3,
            "L_free_then": 10.2e-3,
            "L_free_now": 10.0e-3,
            "u_recess": 1e-5,
            "u_L_free_then": 1e-5,
            "u_L_free_now": 1e-5,
        },
    ),
    (threads.tightening_torque, {"K": 0.2, "F": 2000.0, "d": 3e-3}),
    (threads.clamp_load, {"T": 1.2, "K": 0.2, "d": 3e-3}),
    (
        threads.torque_window,
        {"K": 0.2, "d": 3e-3, "proof": 4880.0, "share_low": 0.6, "share_high": 0.75},
    ),
    (threads.driver_error, {"T": 1.2}),
    (threads.taper_half_angle, {"taper": 0.05}),
    (threads.self_holding, {"half_angle": 0.025, "mu": 0.1}),
    (gears.final_drive, {"pinion": 16, "spur": 48, "further": 2.0}),
    (
        gears.road_speed,
        {"engine_speed": 3000.0, "drive": 6.0, "tyre_diameter": 0.08, "slip": 0.05},
    ),
    (gears.engine_speed, {"speed": 20.0, "drive": 6.0, "tyre_diameter": 0.08}),
    (gears.pitch_diameter, {"m": 1e-3, "teeth": 16}),
    (gears.centre_distance, {"m": 1e-3, "pinion": 16, "spur": 48}),
    (gears.engine_shift, {"m": 1e-3, "more_teeth": 1}),
    (gears.backlash, {"da": 0.1e-3, "alpha": math.radians(20)}),
    (air.saturation_pressure, {"T": 293.15}),
    (air.enhancement_factor, {"p": 101325.0, "T": 293.15}),
    (air.vapour_fraction, {"p": 101325.0, "T": 293.15, "h": 0.5}),
    (air.compressibility, {"p": 101325.0, "T": 293.15, "h": 0.5}),
    (air.density, {"p": 101325.0, "T": 293.15, "h": 0.5, "x_co2": 0.0004}),
    (air.dry_pressure, {"p": 101325.0, "T": 293.15, "h": 0.5}),
    (
        air.correction_iso1585,
        {"p_dry": 95e3, "T": 303.15, "p_reference": 99e3, "T_reference": 298.0},
    ),
    (air.correction_j1349, {"p_dry": 95e3, "T": 303.15, "p_reference": 99e3, "T_reference": 298.0}),
    (air.correction_trusted, {"factor": 1.05}),
    (air.torque_today, {"reference_torque": 0.4, "factor": 1.05}),
    (thermal.elongation, {"L": 0.02, "alpha": 12e-6, "rise": 80.0}),
    (thermal.temperature_rise, {"energy": 30.0, "mass": 0.03, "specific_heat": 486.0}),
    (gears.backlash_between, {"first": 31.5e-3, "second": 32e-3, "alpha": math.radians(20)}),
    (gears.speed_after_shift, {"speed": 2500.0, "first_drive": 7.3, "second_drive": 5.4}),
    (gears.lowest_shift, {"lock_up": 2000.0, "first_drive": 7.3, "second_drive": 5.4}),
    (corner_heat.reduced_inertia, {"first": 1e-5, "second": 1.6e-4}),
    (
        corner_heat.slip_energy,
        {
            "engine_inertia": 1e-5,
            "car_inertia": 1.6e-4,
            "slip": 700.0,
            "engine_torque": 0.4,
            "clutch_torque": 0.5,
        },
    ),
    (
        corner_heat.corner_energy,
        {"car_inertia": 1.6e-4, "take_up_speed": 1900.0, "corner_speed": 1200.0},
    ),
    (warmth.time_constant, {"heat_capacity": 10.7, "conductance": 0.2}),
    (warmth.steady_temperature, {"air": 25.0, "power": 10.0, "conductance": 0.2}),
    (
        warmth.temperature_after,
        {
            "time": 60.0,
            "start": 25.0,
            "air": 25.0,
            "power": 10.0,
            "heat_capacity": 10.7,
            "conductance": 0.2,
        },
    ),
    (
        warmth.stroke_peak,
        {"air": 25.0, "energy": 45.0, "interval": 4.5, "heat_capacity": 10.7, "conductance": 0.2},
    ),
    (warmth.effusivity, {"conductivity": 51.0, "density": 7850.0, "specific_heat": 486.0}),
    (warmth.heat_share, {"own": 13900.0, "other": 700.0}),
    (
        warmth.contact_temperature,
        {"own": 13900.0, "temperature": 40.0, "other": 700.0, "of_other": 20.0},
    ),
    (
        warmth.friction_at,
        {"friction": 0.3, "temperature": 150.0, "known_at": 60.0, "change_per_kelvin": -0.001},
    ),
    (warmth.minutes_to_cool, {"start": 110.0, "to": 50.0, "air": 25.0, "constant": 4.0}),
    (
        shoe_wear.worn_volume,
        {"coefficient": 1e-4, "force": 100.0, "distance": 1000.0, "hardness": 1e9},
    ),
    (
        shoe_wear.wear_per_energy,
        {"coefficient": 1e-4, "hardness": 1e9, "friction": 0.3, "area": 2e-4},
    ),
]
BAD = [math.nan, math.inf, -math.inf, 1e300, True, "1", None]


def numeric(good: dict) -> list[str]:
    return [name for name, value in good.items() if not isinstance(value, Enum)]


def public(module) -> set:
    return {
        f
        for name, f in inspect.getmembers(module, inspect.isfunction)
        if f.__module__ == module.__name__ and not name.startswith("_")
    }


def test_no_function_is_forgotten():
    modules = (springs, nut, threads, gears, air, thermal, corner_heat, warmth, shoe_wear)
    tried_below = {
        nut.calibrate,
        nut.root,
        threads.proof_load,
        threads.stress_area,
        thermal.hot_end_play,
    }
    tried_below.add(shoe_wear.wear_rate)  # takes readings: test_warmth.py
    everything = set().union(*(public(module) for module in modules))
    assert everything - tried_below == {function for function, _ in GOOD}


def all_finite(answer) -> bool:
    if answer is None or isinstance(answer, bool | Enum):
        return True
    if is_dataclass(answer):
        return all(all_finite(each) for each in astuple(answer))
    if isinstance(answer, tuple):
        return all(all_finite(each) for each in answer)
    return math.isfinite(answer)


@pytest.mark.parametrize(("function", "good"), GOOD, ids=lambda x: getattr(x, "__name__", ""))
def test_good_values_are_taken(function, good):
    assert all_finite(function(**good))


@pytest.mark.parametrize("bad", BAD, ids=repr)
@pytest.mark.parametrize(("function", "good"), GOOD, ids=lambda x: getattr(x, "__name__", ""))
def test_every_argument_refuses_bad_values(function, good, bad):
    for name in numeric(good):
        with pytest.raises(RangeError) as caught:
            function(**{**good, name: bad})
        assert caught.value.argument == name
        assert caught.value.reason
        assert caught.value.argument in str(caught.value)


@pytest.mark.parametrize(("function", "good"), GOOD, ids=lambda x: getattr(x, "__name__", ""))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_whatever_comes_in_only_finite_goes_out(function, good, data):
    wild = st.one_of(
        st.floats(allow_nan=True, allow_infinity=True),
        st.sampled_from([0.0, 1.0, -1.0, 1e-15, 1e15, 5e-324, 1e-160]),
        st.integers(-300, 300),
    )
    given_values = {
        name: data.draw(
            st.one_of(wild, st.just(value), st.floats(0.1, 10).map(lambda f, v=value: f * v)),
            label=name,
        )
        if name in numeric(good)
        else value
        for name, value in good.items()
    }
    try:
        answer = function(**given_values)
    except RangeError:
        return
    assert all_finite(answer)


number = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.floats(-10, 10),
    st.sampled_from([0.0, 1e-160, 1e-320, 1e15, -1e15, 1e-15]),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(number, number, number), max_size=5), st.booleans())
def test_lines_hand_out_only_finite(rows, weighted):
    xs, ys, us = ([row[i] for row in rows] for i in range(3))
    try:
        line = lines.fit_line(xs, ys, us if weighted else None)
        answers = [line, line.at(1.0)]
    except RangeError:
        return
    assert all(all_finite(answer) for answer in answers)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(number, number), max_size=4),
    st.one_of(st.none(), number),
    st.one_of(st.none(), number),
)
def test_fits_hand_out_only_finite(pairs, known_pitch, u):
    for fit in (
        lambda: squeeze.rate_from_squeeze(pairs),
        lambda: nut.calibrate(pairs, known_pitch=known_pitch, u_known_pitch=u or 0.0, u_recess=u),
    ):
        try:
            answer = fit()
        except RangeError:
            continue
        assert all_finite(answer)


@settings(max_examples=300, deadline=None)
@given(*[number] * 9)
def test_advice_hands_out_only_finite(wanted, present, pitch, most, solid, travel, low, u, r):
    try:
        limits = nut_advice.NutLimits(most, solid, travel, low)
        advice = nut_advice.advise(
            wanted,
            limits,
            pitch,
            present=present,
            u_wanted=u,
            u_present=u,
            u_pitch=u,
            correlation=r,
        )
    except RangeError:
        return
    assert all_finite(advice)


def test_hot_end_play_names_the_bad_part():
    bad = thermal.Part(length=0.02, alpha=12.3, rise=80.0)
    with pytest.raises(RangeError, match="per kelvin"):
        thermal.hot_end_play(0.25e-3, [bad])
    with pytest.raises(RangeError, match="rise"):
        thermal.hot_end_play(0.25e-3, [thermal.Part(0.02, 12e-6, math.nan)])


@pytest.mark.parametrize(("thread", "grade"), [("M1", "8.8"), ("M3", "14.9"), ("", "")])
def test_unknown_threads_are_refused(thread, grade):
    with pytest.raises(RangeError, match="must be one of"):
        threads.proof_load(thread, grade)


class TestRangeError:
    def test_carries_argument_value_and_reason(self):
        with pytest.raises(RangeError) as caught:
            springs.rate(81e9, -1.5e-3, 9e-3, 4.0)
        error = caught.value
        assert (error.argument, error.value, error.reason) == ("d", -1.5e-3, "must be above zero")
        assert str(error) == "d = -0.0015: must be above zero"
        assert isinstance(error, ValueError)

    def test_survives_pickling(self):
        error = pickle.loads(pickle.dumps(RangeError("d", 1.0, "is too thick")))
        assert (error.argument, error.value, error.reason) == ("d", 1.0, "is too thick")


class TestGuards:
    def test_ends_are_included(self):
        assert within("x", 3.0, 3.0, 20.0) == 3.0
        assert within("x", 20.0, 3.0, 20.0) == 20.0
        with pytest.raises(RangeError):
            within("x", math.nextafter(20.0, 21.0), 3.0, 20.0)

    def test_zero(self):
        assert not_negative("x", 0.0) == 0.0
        with pytest.raises(RangeError):
            positive("x", 0.0)
        with pytest.raises(RangeError, match="smaller than"):
            positive("x", 1e-16)

    def test_size(self):
        assert finite("x", -1e15) == -1e15
        with pytest.raises(RangeError, match="larger than"):
            finite("x", 1.01e15)

    def test_whole(self):
        assert whole("teeth", 16) == 16
        with pytest.raises(RangeError, match="whole"):
            whole("teeth", 16.5)
        with pytest.raises(RangeError, match="at least 6"):
            whole("teeth", 5, 6)

    def test_result(self):
        with pytest.raises(RangeError, match="no finite number"):
            finite_result("rate", math.inf)
