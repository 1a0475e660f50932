"""Warmth, wear by heat and corner exits by a second route: integrated, or cut into small pieces."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from pitwright.mechanics import shoe_wear, warmth
from pitwright.mechanics.cooling_fit import GunReading, fit_cooling
from pitwright.mechanics.corner_heat import corner_energy, reduced_inertia, slip_energy
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.shoe_wear import WornReading, wear_rate

powers, capacities, conductances = st.floats(0, 60), st.floats(3, 40), st.floats(0.03, 1.0)


@given(st.floats(0, 1800), st.floats(0, 200), powers, capacities, conductances)
def test_temperature_by_integration(time, start, power, capacity, conductance):
    def rate(_, temperature):
        return (power - conductance * (temperature - 25.0)) / capacity

    run = solve_ivp(rate, (0.0, time), [start], rtol=1e-10, atol=1e-9)
    found = warmth.temperature_after(time, start, 25.0, power, capacity, conductance)
    assert found == pytest.approx(run.y[0, -1], abs=1e-5)


@given(st.floats(1, 900), powers, capacities, conductances)
def test_energy_balances(time, power, capacity, conductance):
    """What came in stands in the bell or went into the air."""
    times = np.linspace(0.0, time, 4001)
    temperatures = [
        warmth.temperature_after(t, 25.0, 25.0, power, capacity, conductance) for t in times
    ]
    given_away = conductance * np.trapezoid(np.array(temperatures) - 25.0, times)
    stored = capacity * (temperatures[-1] - 25.0)
    assert stored + given_away == pytest.approx(power * time, rel=1e-4, abs=1e-9)


@given(st.floats(1, 100), st.floats(1, 30), capacities, conductances)
def test_stroke_peak_by_strokes(energy, interval, capacity, conductance):
    temperature = 25.0
    constant = warmth.time_constant(capacity, conductance)
    for _ in range(math.ceil(40 * constant / interval) + 2):
        temperature += energy / capacity
        highest = temperature
        temperature = warmth.temperature_after(
            interval, temperature, 25.0, 0.0, capacity, conductance
        )
    assert warmth.stroke_peak(25.0, energy, interval, capacity, conductance) == pytest.approx(
        highest, rel=1e-9
    )
    # The mean over a stroke is what the mean power gives.
    mean = warmth.steady_temperature(25.0, energy / interval, conductance)
    assert temperature <= mean <= highest


def half_spaces(own, other, heat, cells=900, steps=9000, time=0.2):
    """Share of a constant surface heat that each of two touching half-spaces takes up.

    ``own`` and ``other`` are (k, rho c). Explicit finite differences; the surface is one node that
    both sides share.
    """
    grids = []
    for k, capacity in (own, other):
        reach = 8 * math.sqrt(k / capacity * time)
        grids.append((k, capacity, reach / cells, np.zeros(cells + 1)))
    dt = time / steps
    taken = [0.0, 0.0]
    for _ in range(steps):
        surface = grids[0][3][0]
        flows = []
        for k, capacity, dx, t in grids:
            assert k / capacity * dt / dx**2 < 0.5
            flows.append(k * (surface - t[1]) / dx)
            t[1:-1] += k / capacity * dt / dx**2 * (t[2:] - 2 * t[1:-1] + t[:-2])
        half = sum(capacity * dx / 2 for _, capacity, dx, _ in grids)
        surface += (heat - sum(flows)) * dt / half
        for side, (_, capacity, dx, t) in enumerate(grids):
            taken[side] += flows[side] * dt + capacity * dx / 2 * (surface - t[0])
            t[0] = surface
    return taken[0] / sum(taken), surface


@pytest.mark.parametrize(
    ("own", "other"),
    [
        ((51.0, 7850 * 486.0), (0.25, 1400 * 1400.0)),  # steel on a polymer
        ((51.0, 7850 * 486.0), (237.0, 2700 * 900.0)),  # steel on aluminium
        ((51.0, 7850 * 486.0), (0.5, 1700 * 1100.0)),  # steel on a filled polymer
    ],
)
def test_heat_share_by_finite_differences(own, other):
    share, surface = half_spaces(own, other, 1e5, cells=120, steps=4000)
    e1 = warmth.effusivity(own[0], own[1], 1.0)
    e2 = warmth.effusivity(other[0], other[1], 1.0)
    assert warmth.heat_share(e1, e2) == pytest.approx(share, abs=2e-3)
    # And as hot as a half-space under a constant heat gets, 2 q sqrt(t / pi) / (e1 + e2).
    assert surface == pytest.approx(2 * 1e5 * math.sqrt(0.2 / math.pi) / (e1 + e2), rel=5e-3)


def test_a_shoe_of_polymer_leaves_the_bell_95_in_a_hundred():
    known = warmth.EFFUSIVITY
    for softer in (0.7, 1.0, 1.3):
        share = warmth.heat_share(known["steel"], softer * known["polymer"])
        assert 0.93 < share < 0.97
    assert warmth.heat_share(known["steel"], known["aluminium"]) < 0.5
    assert warmth.heat_share(1.0, 3.0) + warmth.heat_share(3.0, 1.0) == pytest.approx(1.0)


@given(st.floats(-0.005, 0.005), st.floats(-20, 300))
def test_friction_is_a_line_that_stops(slope, temperature):
    found = warmth.friction_at(0.3, temperature, 60.0, slope)
    assert found >= 0.3 * warmth.LEAST_FRICTION - 1e-15
    assert warmth.friction_at(0.3, 60.0, 60.0, slope) == pytest.approx(0.3)


# Corner exits


@given(
    st.floats(1e-6, 5e-5),
    st.floats(2e-5, 1e-3),
    st.floats(10.0, 2000.0),
    st.floats(0.0, 0.6),
    st.floats(1.0, 3.0),
)
def test_slip_energy_by_integration(engine, car, slip, drive, excess):
    passed = excess * max(drive * car / (engine + car) * 1.1, 0.05)
    closing = passed / reduced_inertia(engine, car) - drive / engine
    run = solve_ivp(
        lambda _, y: (-closing, passed * y[0]),
        (0.0, slip / closing),
        [slip, 0.0],
        rtol=1e-10,
        atol=1e-12,
    )
    assert slip_energy(engine, car, slip, drive, passed) == pytest.approx(run.y[1, -1], rel=1e-6)


@given(st.floats(1e-6, 5e-5), st.floats(2e-5, 1e-3), st.floats(0.1, 0.6), st.floats(0.0, 1900.0))
def test_corner_is_the_slip_at_the_engines_torque(engine, car, torque, corner):
    by_formula = slip_energy(engine, car, 1900.0 - corner, torque, torque)
    assert corner_energy(car, 1900.0, corner) == pytest.approx(by_formula, rel=1e-6, abs=1e-12)


def test_a_slip_that_never_ends_is_refused():
    with pytest.raises(RangeError, match="too little to end the slip"):
        slip_energy(1e-5, 1e-4, 500.0, 0.5, 0.3)


# Gun readings

TRUE_HA, TRUE_RATE, CAPACITY = 0.17, 1 / 260.0, 10.7


def seen(after, run=480.0, power=9.0, noise=0.0):
    rise = warmth.temperature_after(run, 0.0, 0.0, power, CAPACITY, TRUE_HA)
    return GunReading(rise * math.exp(-TRUE_RATE * after) + noise, 2.0, after, power, run)


PRIOR = {
    "heat_capacity": CAPACITY,
    "conductance": 0.3,
    "u_log_conductance": 0.7,
    "rate": 1 / 180.0,
    "u_log_rate": 0.7,
}


def test_without_readings_it_is_what_was_taken():
    found = fit_cooling([], **PRIOR)
    assert (found.conductance, found.rate) == pytest.approx((0.3, 1 / 180.0))
    assert (found.u_log_conductance, found.u_log_rate) == pytest.approx((0.7, 0.7))


def test_readings_find_the_truth_and_narrow_it():
    few = fit_cooling([seen(60.0)], **PRIOR)
    many = fit_cooling([seen(60.0), seen(240.0), seen(420.0), seen(90.0, run=90.0)], **PRIOR)
    assert many.conductance == pytest.approx(TRUE_HA, rel=0.03)
    assert many.rate == pytest.approx(TRUE_RATE, rel=0.05)
    assert many.u_log_conductance < few.u_log_conductance < 0.7
    assert many.u_log_rate < few.u_log_rate < 0.7


def test_the_fit_is_the_least_squares_of_another_library():
    readings = [seen(60.0, noise=2.5), seen(200.0, noise=-1.5), seen(30.0, run=120.0, noise=1.0)]
    found = fit_cooling(readings, **PRIOR)

    def residuals(x):
        g, b = x[0], math.exp(x[1])
        gaps = [(g - math.log(0.3)) / 0.7, (x[1] + math.log(180.0)) / 0.7]
        for r in readings:
            reached = 1 - math.exp(-r.run * math.exp(g) / CAPACITY)
            told = math.log(r.power * reached) - g - b * r.after
            gaps.append((math.log(r.rise) - told) * r.rise / r.u_rise)
        return gaps

    best = least_squares(residuals, [math.log(0.3), -math.log(180.0)], xtol=1e-14)
    assert math.log(found.conductance) == pytest.approx(best.x[0], abs=1e-6)
    assert math.log(found.rate) == pytest.approx(best.x[1], abs=1e-6)
    covariance = np.linalg.inv(best.jac.T @ best.jac)
    assert found.u_log_conductance == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-4)
    assert found.u_log_rate == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-4)


def test_the_said_doubt_of_the_fit_is_the_scatter_of_many():
    """The truth lies within 1.96 u in about 95 of 100, with priors drawn honestly too."""
    rng = np.random.default_rng(5)
    inside = 0
    for _ in range(400):
        g, b = rng.normal(math.log(0.3), 0.4), math.exp(rng.normal(0, 0.25)) / 180.0
        readings = []
        for after, run in ((60.0, 480.0), (300.0, 480.0), (90.0, 420.0)):
            rise = warmth.temperature_after(run, 0.0, 0.0, 9.0, CAPACITY, math.exp(g))
            rise = rise * math.exp(-b * after) + rng.normal(0, 2.0)
            readings.append(GunReading(max(rise, 1.0), 2.0, after, 9.0, run))
        found = fit_cooling(readings, **{**PRIOR, "u_log_conductance": 0.4, "u_log_rate": 0.25})
        inside += abs(math.log(found.conductance) - g) < 1.96 * found.u_log_conductance
    assert 0.92 < inside / 400 < 0.98


# Wear by heat


def test_wear_by_heat_is_archard_whatever_force_and_distance():
    coefficient, hardness, friction, area = 3e-5, 8e7, 0.3, 2.4e-4
    heat = lost = 0.0
    for force, distance in ((120.0, 40.0), (60.0, 400.0), (300.0, 5.0)):
        lost += shoe_wear.worn_volume(coefficient, force, distance, hardness) / area
        heat += friction * force * distance
    per_joule = shoe_wear.wear_per_energy(coefficient, hardness, friction, area)
    assert per_joule * heat == pytest.approx(lost, rel=1e-12)


def test_wear_rate_is_the_regression_of_another_library():
    rng = np.random.default_rng(3)
    energies = np.array([0.0, 3e4, 8e4, 1.1e5])
    sets = {"H1": 5.0e-3, "H2": 4.95e-3}
    readings, rows, ys = [], [], []
    for index, (name, new) in enumerate(sets.items()):
        for energy in energies:
            thickness = new - 2e-9 * energy + rng.normal(0, 0.02e-3)
            readings.append(WornReading(name, energy, thickness, 0.02e-3))
            rows.append([-energy, index == 0, index == 1])
            ys.append(thickness)
    found = wear_rate(readings)
    design = np.array(rows, dtype=float)
    best, *_ = np.linalg.lstsq(design, np.array(ys), rcond=None)
    assert found.per_joule == pytest.approx(best[0], rel=1e-9)
    covariance = np.linalg.inv(design.T @ design) * 0.02e-3**2
    residual = np.array(ys) - design @ best
    spread = max(1.0, math.sqrt(residual @ residual / 0.02e-3**2 / (len(ys) - 3)))
    assert found.u_per_joule == pytest.approx(math.sqrt(covariance[0, 0]) * spread, rel=1e-6)


@pytest.mark.parametrize(
    "readings",
    [
        [],
        [WornReading("H1", 0.0, 5e-3, 2e-5)],
        [WornReading("H1", 0.0, 5e-3, 2e-5), WornReading("H2", 5e4, 4.9e-3, 2e-5)],
        [WornReading("H1", 0.0, 5e-3, 2e-5), WornReading("H1", 5e4, 5.01e-3, 2e-5)],
    ],
)
def test_no_wear_to_go_by_is_said(readings):
    with pytest.raises(RangeError):
        wear_rate(readings)
