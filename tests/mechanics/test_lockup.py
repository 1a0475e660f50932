import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwright.mechanics import clutch as c
from pitwright.mechanics.engine import constant_torque, corrected_for_air, torque_from_points
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lockup import lock_up_speed, settling_speed


def test_generic_card(generic, rpm):
    assert lock_up_speed(generic, constant_torque(0.40)) / rpm == pytest.approx(18_780, abs=5)


@given(torque=st.floats(0.0, 2.0))
def test_constant_torque_against_the_closed_form(generic, torque):
    speed = lock_up_speed(generic, constant_torque(torque))
    assert speed == pytest.approx(c.take_up_speed(generic, torque), rel=1e-9)


@settings(max_examples=60)
@given(torques=st.lists(st.floats(0.0, 3.0), min_size=3, max_size=7))
def test_first_crossing_against_a_dense_scan(generic, torques):
    speeds = [800.0 + 500.0 * i for i in range(len(torques))]
    engine = torque_from_points(zip(speeds, torques, strict=True))
    found = lock_up_speed(generic, engine)
    grid = np.linspace(c.bite_speed(generic), engine.high, 1001)
    grid = grid[grid <= engine.high]
    outward = c.inertia_term(generic) * grid**2 - c.opening_force(generic)
    surplus = c.torque_per_force(generic) * outward - [engine.clamped(x) for x in grid]
    crossed = [x for x, s in zip(grid, surplus, strict=True) if s > 1e-12]
    if found is None:
        assert not crossed
        return
    assert abs(c.capacity_rising(generic, found) - engine.at(found)) < 1e-9
    if crossed:
        # nothing on the scan holds before the answer, and the answer is not late by a whole step
        assert found <= crossed[0] + 1e-9
    assert all(s <= 1e-9 for x, s in zip(grid, surplus, strict=True) if x < found)


def test_no_lock_up_before_the_curve_ends(generic):
    weak = torque_from_points([(1000.0, 0.3), (1500.0, 0.4), (1700.0, 0.4)])
    assert lock_up_speed(generic, weak) is None
    assert lock_up_speed(generic, torque_from_points([(500.0, 0.3), (900.0, 0.3)])) is None


def test_a_curve_that_begins_too_high_is_refused(generic):
    with pytest.raises(RangeError, match="begins above lock-up"):
        lock_up_speed(generic, torque_from_points([(2500.0, 0.3), (3500.0, 0.4)]))


def test_thin_air_locks_up_earlier(generic):
    engine = torque_from_points([(800.0, 0.25), (2000.0, 0.42), (3500.0, 0.38)])
    thin = lock_up_speed(generic, corrected_for_air(engine, 1.08))
    assert thin < lock_up_speed(generic, engine)


def test_settling_from_above_lies_on_the_closing_branch(generic):
    engine = torque_from_points([(800.0, 0.25), (2000.0, 0.42), (3500.0, 0.38)])
    down = settling_speed(generic, engine, 2500.0)
    assert c.capacity_falling(generic, down, 2500.0) == pytest.approx(engine.at(down), rel=1e-9)
    assert down < lock_up_speed(generic, engine)


def test_settling_within_what_friction_holds(generic):
    # Just above the take-up speed and with rising torque demand, the held force is met by torque.
    start = c.take_up_speed(generic, 0.4)
    engine = torque_from_points([(800.0, 0.45), (start, 0.399), (3500.0, 0.30)])
    down = settling_speed(generic, engine, start)
    assert engine.at(down) == pytest.approx(0.4, rel=1e-6)
    assert down > c.let_go_speed(generic)
    with pytest.raises(RangeError, match="take-up"):
        settling_speed(generic, engine, 0.9 * start)


def test_no_number_is_ever_infinite(generic):
    soft = replace(generic, bell_friction=1e-6)
    speed = lock_up_speed(soft, constant_torque(0.4))
    assert math.isfinite(speed)
