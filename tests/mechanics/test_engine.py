import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from pitwright.mechanics.engine import constant_torque, corrected_for_air, torque_from_points
from pitwright.mechanics.errors import RangeError

TORQUES = st.lists(st.floats(0.0, 1.0), min_size=2, max_size=8)


def _points(torques):
    return [(700.0 + 300.0 * i + 17.0 * (i % 3), t) for i, t in enumerate(torques)]


@given(torques=TORQUES)
def test_against_scipy(torques):
    points = _points(torques)
    curve, reference = torque_from_points(points), PchipInterpolator(*zip(*points, strict=True))
    for x in np.linspace(curve.low, curve.high, 57):
        assert curve.at(float(x)) == pytest.approx(float(reference(x)), rel=1e-9, abs=1e-12)


@given(torques=TORQUES)
def test_monotone_between_points(torques):
    curve = torque_from_points(_points(torques))
    ends = (*curve.starts[1:], curve.high)
    for start, end in zip(curve.starts, ends, strict=True):
        values = [curve.at(float(x)) for x in np.linspace(start, end, 23)]
        steps = np.diff(values)
        assert (steps >= -1e-12).all() or (steps <= 1e-12).all()


def test_goes_through_its_points_and_knows_its_ends():
    points = _points([0.2, 0.35, 0.42, 0.3])
    curve = torque_from_points(points)
    for speed, torque in points:
        assert curve.at(speed) == pytest.approx(torque, abs=1e-15)
    for outside in (curve.low - 1, curve.high + 1, math.nan, math.inf):
        with pytest.raises(RangeError):
            curve.at(outside)


@pytest.mark.parametrize(
    "points",
    [
        [],
        [(1000.0, 0.3)],
        [(1000.0, 0.3), (1000.0, 0.4)],
        [(2000.0, 0.3), (1000.0, 0.4)],
        [(1000.0, -0.1), (2000.0, 0.4)],
        [(1000.0, math.nan), (2000.0, 0.4)],
        [(1000.0, 0.1), (math.inf, 0.4)],
    ],
)
def test_points_that_make_no_curve(points):
    with pytest.raises(RangeError):
        torque_from_points(points)


def test_constant_and_air():
    assert constant_torque(0.4).at(0.0) == 0.4
    with pytest.raises(RangeError):
        constant_torque(-0.1)
    curve = torque_from_points(_points([0.2, 0.35, 0.42, 0.3]))
    thin = corrected_for_air(curve, 1.1)
    for x in (700.0, 1111.0, 1500.0):
        assert thin.at(x) == pytest.approx(curve.at(x) / 1.1, rel=1e-12)
    for bad in (0.0, -1.0, math.nan):
        with pytest.raises(RangeError):
            corrected_for_air(curve, bad)
