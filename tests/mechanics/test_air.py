"""Air and the engine: what must hold in any weather."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import air
from pitwright.mechanics.errors import RangeError

pressures = st.floats(*air.PRESSURE_RANGE)
temperatures = st.floats(*air.TEMPERATURE_RANGE)
humidities = st.floats(0.0, 1.0)


@given(pressures, temperatures, humidities)
def test_near_the_ideal_gas(p, T, h):
    """Second route: two ideal gases. Air is within 0.2 % of it at these pressures."""
    p_v = h * air.saturation_pressure(T)
    ideal = (p - p_v) / (287.055 * T) + p_v / (461.52 * T)
    assert air.density(p, T, h) == pytest.approx(ideal, rel=2e-3)


@given(pressures, st.floats(263.15, 322.0), humidities)
def test_warmer_is_thinner(p, T, h):
    assert air.density(p, T + 1, h) < air.density(p, T, h)


@given(st.floats(60e3, 109e3), temperatures, humidities)
def test_more_pressure_is_denser(p, T, h):
    assert air.density(p + 100, T, h) > air.density(p, T, h)


@given(pressures, temperatures, st.floats(0.0, 0.95))
def test_damp_air_is_lighter_and_weaker(p, T, h):
    assert air.density(p, T, h + 0.05) < air.density(p, T, h)
    assert air.dry_pressure(p, T, h + 0.05) < air.dry_pressure(p, T, h)


@given(pressures, temperatures)
def test_dry_air_keeps_its_pressure(p, T):
    assert air.dry_pressure(p, T, 0.0) == p
    assert air.vapour_fraction(p, T, 0.0) == 0.0


@given(st.floats(51e3, 109e3), st.floats(264.0, 322.0))
def test_thin_or_hot_air_costs_torque(p, T):
    for correction in (air.correction_iso1585, air.correction_j1349):
        assert correction(p - 500, T) > correction(p, T)
        assert correction(p, T + 1) > correction(p, T)


@given(st.floats(94e3, 104e3), st.floats(283.0, 308.0))
def test_the_two_standards_agree_in_ordinary_weather(p, T):
    """Different exponents, same engines: within 0.5 % where the factor is trusted."""
    iso, sae = air.correction_iso1585(p, T), air.correction_j1349(p, T)
    if air.correction_trusted(iso) and air.correction_trusted(sae):
        assert iso == pytest.approx(sae, rel=5e-3)


def test_torque_today():
    assert air.torque_today(0.40, 1.0) == 0.40
    assert air.torque_today(0.40, 1.05) < 0.40


@pytest.mark.parametrize(
    ("factor", "trusted"), [(0.92, False), (0.93, True), (1.0, True), (1.07, True), (1.08, False)]
)
def test_trusted_range(factor, trusted):
    assert air.correction_trusted(factor) is trusted


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: air.density(1013.25, 293.15, 0.5), "p"),
        (lambda: air.density(101325.0, 20.0, 0.5), "T"),
        (lambda: air.density(101325.0, 293.15, 50.0), "h"),
        (lambda: air.density(101325.0, 293.15, 0.5, 400.0), "x_co2"),
        (lambda: air.correction_iso1585(99.0, 298.0), "p_dry"),
        (lambda: air.correction_j1349(99e3, 25.0), "T"),
        (lambda: air.torque_today(0.4, 0.0), "factor"),
    ],
)
def test_the_usual_unit_slips_are_caught(call, argument):
    """Hectopascals, degrees Celsius, per cent and ppm are refused by name."""
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.argument == argument
