"""Gears: exact involute geometry as the second route, and what must hold for any pair."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import gears
from pitwright.mechanics.errors import RangeError

teeth = st.integers(10, 80)
modules = st.floats(0.5e-3, 2e-3)


@given(teeth, teeth, st.floats(0.5, 5.0), st.floats(0.05, 0.15), st.floats(0.0, 5e3))
def test_road_speed_and_engine_speed_are_inverse(pinion, spur, further, tyre, omega):
    drive = gears.final_drive(pinion, spur, further)
    speed = gears.road_speed(omega, drive, tyre)
    assert gears.engine_speed(speed, drive, tyre) == pytest.approx(omega, rel=1e-12)


@given(modules, teeth, teeth)
def test_one_tooth_moves_the_engine_by_the_shift(m, pinion, spur):
    moved = gears.centre_distance(m, pinion + 1, spur) - gears.centre_distance(m, pinion, spur)
    assert moved == pytest.approx(gears.engine_shift(m, 1), rel=1e-9)
    assert gears.engine_shift(m, -1) == -gears.engine_shift(m, 1)
    assert gears.engine_shift(m, 0) == 0.0


@given(teeth, teeth)
def test_a_larger_pinion_is_a_longer_gear(pinion, spur):
    assert gears.final_drive(pinion + 1, spur) < gears.final_drive(pinion, spur)


@given(st.floats(20e-3, 60e-3), st.floats(1e-5, 1e-3), st.floats(14.5, 25))
def test_backlash_by_the_involute(a, relative, degrees):
    """Second route: 2 aw (inv alpha_w - inv alpha), cos alpha_w = a cos alpha / aw."""
    alpha, da = math.radians(degrees), a * relative
    working = math.acos(a * math.cos(alpha) / (a + da))
    exact = 2 * (a + da) * ((math.tan(working) - working) - (math.tan(alpha) - alpha))
    assert gears.backlash(da, alpha) <= exact * (1 + 1e-9)
    # The curve's next term is da / (2 a tan^2 alpha): the formula is first order.
    allowed = 1.1 * relative * (1 + 1 / (2 * math.tan(alpha) ** 2))
    assert gears.backlash(da, alpha) == pytest.approx(exact, rel=allowed)


def test_backlash_one_percent_low_at_two_thousandths():
    """What the docstring promises, at 20 degrees."""
    a, alpha = 40e-3, math.radians(20)
    da = 0.002 * a
    working = math.acos(a * math.cos(alpha) / (a + da))
    exact = 2 * (a + da) * ((math.tan(working) - working) - (math.tan(alpha) - alpha))
    assert 1 - gears.backlash(da) / exact == pytest.approx(0.01, abs=0.001)


def test_slip_takes_its_share():
    full = gears.road_speed(3000.0, 6.0, 0.08)
    assert gears.road_speed(3000.0, 6.0, 0.08, slip=0.1) == pytest.approx(0.9 * full, rel=1e-12)
    assert gears.road_speed(3000.0, 6.0, 0.08, slip=1.0) == 0.0


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: gears.final_drive(5, 48), "pinion"),
        (lambda: gears.final_drive(16, 47.5), "spur"),
        (lambda: gears.final_drive(16, 48, 0.0), "further"),
        (lambda: gears.road_speed(-1.0, 6.0, 0.08), "engine_speed"),
        (lambda: gears.road_speed(1.0, 6.0, 0.08, slip=1.01), "slip"),
        (lambda: gears.centre_distance(1e-3, 16, 5), "spur"),
        (lambda: gears.engine_shift(1e-3, 0.5), "more_teeth"),
        (lambda: gears.backlash(1e-4, 20.0), "alpha"),
    ],
)
def test_what_is_out_of_range_is_named(call, argument):
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.argument == argument
