"""The plain-Python distributions against scipy."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from pitwright.student import (
    normal_cdf,
    normal_quantile,
    regularized_beta,
    t_cdf,
    t_quantile,
)


@given(st.floats(-30.0, 30.0))
def test_normal_cdf(z):
    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12, abs=1e-300)


@given(st.floats(1e-9, 1 - 1e-9))
def test_normal_quantile(p):
    assert normal_quantile(p) == pytest.approx(stats.norm.ppf(p), rel=1e-9, abs=1e-12)


@given(st.floats(0.5, 1e5), st.floats(0.5, 1e3), st.floats(0.0, 1.0))
def test_incomplete_beta(a, b, x):
    assert regularized_beta(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-9, abs=1e-13)


@given(st.floats(-1e4, 1e4), st.floats(0.5, 1e8))
def test_t_cdf(t, dof):
    assert t_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), rel=2e-9, abs=3e-8)


@given(st.floats(-60.0, -1.0), st.floats(0.5, 1e5))
def test_t_cdf_keeps_its_digits_far_out(t, dof):
    assert t_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), rel=1e-9, abs=1e-300)


def test_a_far_tail_is_not_a_difference():
    # P(T < -9) with 200 degrees of freedom, from the incomplete beta function of scipy
    assert t_cdf(-9.0, 200.0) == pytest.approx(8.8546914616e-17, rel=1e-9)


@given(st.floats(1e-5, 1 - 1e-5), st.floats(0.6, 1e6))
def test_t_quantile(p, dof):
    assert t_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, 1.1, math.nan])
def test_impossible_probabilities_are_refused(p):
    for quantile in (normal_quantile, lambda q: t_quantile(q, 3.0)):
        with pytest.raises(ValueError, match="probability"):
            quantile(p)


@pytest.mark.parametrize("dof", [0.0, -1.0, math.nan])
def test_impossible_degrees_of_freedom_are_refused(dof):
    with pytest.raises(ValueError, match="degrees of freedom"):
        t_quantile(0.9, dof)
    with pytest.raises(ValueError, match="degrees of freedom"):
        t_cdf(1.0, dof)


def test_limits():
    assert t_quantile(0.5, 3.0) == 0.0
    assert t_cdf(0.0, 3.0) == 0.5
    assert t_quantile(0.975, math.inf) == normal_quantile(0.975)
    assert t_cdf(1.0, math.inf) == normal_cdf(1.0)


@pytest.mark.parametrize("x", [0.0, 1.0, -0.5, 1.5])
def test_the_incomplete_beta_ends_at_nothing_and_all(x):
    ends = min(1.0, max(0.0, x))
    assert regularized_beta(2.0, 3.0, x) == special.betainc(2.0, 3.0, ends) == ends


@pytest.mark.parametrize("dof", [1.0, 2.5, 30.0])
def test_what_is_no_number_stays_none(dof):
    assert math.isnan(t_cdf(math.nan, dof))
    assert math.isnan(stats.t.cdf(math.nan, dof))


@pytest.mark.parametrize("p", [1e-12, 1e-6, 1 - 1e-6])
@pytest.mark.parametrize("dof", [0.5, 1.0, 3.0, 1e6])
def test_far_tails(p, dof):
    assert t_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=1e-6)
