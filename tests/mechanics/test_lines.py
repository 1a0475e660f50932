"""The straight-line fit against other people's, and its own promises."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lines import fit_line

XS = [0.0, 0.5, 1.1, 1.9, 2.6, 3.0]
YS = [2.14, 1.73, 1.33, 0.68, 0.21, -0.12]
US = [0.01, 0.02, 0.01, 0.03, 0.02, 0.01]


def test_plain_by_scipy():
    stats = pytest.importorskip("scipy.stats")
    line, other = fit_line(XS, YS), stats.linregress(XS, YS)
    assert line.slope == pytest.approx(other.slope, rel=1e-12)
    assert line.intercept == pytest.approx(other.intercept, rel=1e-12)
    assert line.u_slope == pytest.approx(other.stderr, rel=1e-9)
    assert line.u_intercept == pytest.approx(other.intercept_stderr, rel=1e-9)


def test_weighted_by_scipy():
    optimize = pytest.importorskip("scipy.optimize")
    found, covariance = optimize.curve_fit(
        lambda x, a, b: a + b * x, XS, YS, p0=(2.0, -0.7), sigma=US, absolute_sigma=True
    )
    line = fit_line(XS, YS, US)
    misses = [(y - line.intercept - line.slope * x) / u for x, y, u in zip(XS, YS, US, strict=True)]
    birge = max(1.0, sum(m**2 for m in misses) / (len(XS) - 2))
    assert (line.intercept, line.slope) == pytest.approx(tuple(found), rel=1e-7)
    assert line.u_intercept == pytest.approx(math.sqrt(covariance[0][0] * birge), rel=1e-6)
    assert line.u_slope == pytest.approx(math.sqrt(covariance[1][1] * birge), rel=1e-6)
    assert line.covariance == pytest.approx(covariance[0][1] * birge, rel=1e-6)


def test_readings_better_than_claimed_keep_their_claim():
    line = fit_line([0.0, 1.0, 2.0], [1.0, 2.0, 3.0], [0.1, 0.1, 0.1])
    assert line.u_slope == pytest.approx(0.1 / math.sqrt(2), rel=1e-12)
    assert line.residual_sd == pytest.approx(0.0, abs=1e-12)


def test_at_by_the_uncertainties_package():
    uncertainties = pytest.importorskip("uncertainties")
    line = fit_line(XS, YS)
    matrix = [[line.u_intercept**2, line.covariance], [line.covariance, line.u_slope**2]]
    a, b = uncertainties.correlated_values([line.intercept, line.slope], matrix)
    for x in (-1.0, 0.0, 1.5, 10.0):
        value, u = line.at(x)
        assert value == pytest.approx((a + b * x).nominal_value, rel=1e-12)
        assert u == pytest.approx((a + b * x).std_dev, rel=1e-7)


@given(st.floats(-100, 100), st.floats(0.1, 50))
def test_moving_and_stretching_x_changes_nothing_of_the_line(shift, stretch):
    line = fit_line(XS, YS)
    moved = fit_line([x * stretch + shift for x in XS], YS)
    assert moved.slope * stretch == pytest.approx(line.slope, rel=1e-9)
    for x in XS:
        value, u = moved.at(x * stretch + shift)
        assert value == pytest.approx(line.at(x)[0], rel=1e-7, abs=1e-9)
        assert u == pytest.approx(line.at(x)[1], rel=1e-4)


def test_the_surest_place_is_the_mean():
    line = fit_line(XS, YS)
    mean = sum(XS) / len(XS)
    assert line.at(mean)[1] < min(line.at(mean - 0.1)[1], line.at(mean + 0.1)[1])
    assert line.at(mean)[1] == pytest.approx(line.residual_sd / math.sqrt(len(XS)), rel=1e-9)


@pytest.mark.parametrize(
    ("xs", "ys", "us", "argument"),
    [
        ([], [], None, "xs"),
        ([1.0], [1.0], [0.1], "xs"),
        ([1.0, 2.0], [1.0, 2.0], None, "u_ys"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], None, "ys"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.1, 0.1], "ys"),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], None, "xs"),
        ([1.0, 2.0, math.nan], [1.0, 2.0, 3.0], None, "xs"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, math.inf], None, "ys"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.1, 0.0, 0.1], "u_ys"),
    ],
)
def test_what_makes_no_line_is_refused(xs, ys, us, argument):
    with pytest.raises(RangeError) as caught:
        fit_line(xs, ys, us)
    assert caught.value.argument == argument
