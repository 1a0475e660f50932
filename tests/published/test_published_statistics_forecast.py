"""The least squares under the wear forecast against published numbers and statsmodels."""

import math
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm

from pitwright.inference.forecast import Forecast, Reading, forecast
from pitwright.inference.wear_laws import LAWS, Row, fit_law, rows_of
from pitwright.student import t_quantile

STRAIGHT, *LOG_LAWS = LAWS


def straight(x, y):
    """Fit a line; return intercept, slope, their standard errors, their correlation and s."""
    rows = [Row(1.0, a, b, 1.0) for a, b in zip(x, y, strict=True)]
    fit = fit_law(STRAIGHT, rows, None)
    s = math.sqrt(fit.chi2 / (len(rows) - 2))
    r = -fit.cov / math.sqrt(fit.var_start * fit.var_rate)
    errors = s * math.sqrt(fit.var_start), s * math.sqrt(fit.var_rate)
    return (fit.start, -fit.rate), errors, r, s


def test_gum_h3_thermometer():
    # GUM (JCGM 100:2008) H.3: result seen; the eleven readings recalled
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]
    (y1, y2), (u1, u2), r, s = straight([x - 20.0 for x in t], [x / 1000.0 for x in b])
    assert y1 == pytest.approx(-0.1712, abs=5e-5)
    assert y2 == pytest.approx(0.00218, abs=5e-6)
    assert u1 == pytest.approx(0.0029, abs=5e-5)
    assert u2 == pytest.approx(0.00067, abs=5e-6)
    assert r == pytest.approx(-0.930, abs=5e-4)
    assert s == pytest.approx(0.0035, abs=5e-5)
    # at 30 C
    assert y1 + 10.0 * y2 == pytest.approx(-0.1494, abs=5e-5)
    u30 = math.sqrt(u1**2 + 100.0 * u2**2 + 20.0 * r * u1 * u2)
    assert u30 == pytest.approx(0.0041, abs=5e-5)


def test_nist_norris():
    # NIST StRD Norris, certified values; the data file ships with scipy's tests
    path = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"
    if not path.exists():
        pytest.skip("this scipy comes without its test data")
    lines = path.read_text().splitlines()[60:96]
    y, x = zip(*(map(float, line.split()) for line in lines if line.strip()), strict=True)
    assert len(x) == 36
    (b0, b1), (u0, u1), _, s = straight(x, y)
    assert b0 == pytest.approx(-0.262323073774029, rel=1e-9)
    assert b1 == pytest.approx(1.00211681802045, rel=1e-12)
    assert u0 == pytest.approx(0.232818234301152, rel=1e-9)
    assert u1 == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert s == pytest.approx(0.884796396144373, rel=1e-9)


def test_nist_noint2():
    # NIST StRD NoInt2: x 4 5 6, y 3 4 4 through the origin; a hard row pins the start to zero
    rows = [Row(0.0, x, y, 1.0) for x, y in ((4.0, 3.0), (5.0, 4.0), (6.0, 4.0))]
    fit = fit_law(STRAIGHT, [*rows, Row(1.0, 0.0, 0.0, 1.0)], None)
    assert -fit.rate == pytest.approx(0.727272727272727, rel=1e-13)
    assert math.sqrt(fit.chi2 / 2 * fit.var_rate) == pytest.approx(0.0420827318078432, rel=1e-12)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: f"{law.name} {law.t0}")
def test_weighted_fit_and_prediction_interval_against_statsmodels(law):
    rng = np.random.default_rng(5)
    minutes = np.array([0.0, 8.0, 17.0, 25.0, 41.0, 55.0])
    u = np.array([0.01, 0.02, 0.015, 0.01, 0.02, 0.012])
    size = 10.1 - 0.1 * np.log1p(minutes / 12.0) + u * rng.standard_normal(6)
    readings = [Reading(*map(float, row)) for row in zip(minutes, size, u, strict=True)]
    fit = fit_law(law, rows_of(readings, law), 55.0)
    g = np.array([law.progress(m) for m in minutes])
    ref = sm.WLS(size, np.column_stack([np.ones(6), -g]), weights=1 / u**2).fit()
    assert (fit.start, fit.rate) == (
        pytest.approx(ref.params[0], rel=1e-10),
        pytest.approx(ref.params[1], rel=1e-8),
    )
    s2 = fit.chi2 / 4
    assert s2 == pytest.approx(ref.scale, rel=1e-6)
    cov = ref.cov_params() / ref.scale
    assert fit.var_start == pytest.approx(cov[0, 0], rel=1e-8)
    assert fit.var_rate == pytest.approx(cov[1, 1], rel=1e-8)
    assert fit.cov == pytest.approx(cov[0, 1], rel=1e-8)
    # prediction interval of a reading with u 0.015 at 80 minutes
    ahead = law.progress(80.0)
    frame = ref.get_prediction([[1.0, -ahead]], weights=1 / 0.015**2).summary_frame(alpha=0.1)
    var = fit.var_start - 2 * ahead * fit.cov + ahead**2 * fit.var_rate + 0.015**2
    half = t_quantile(0.95, 4) * math.sqrt(s2 * var)
    assert fit.at(80.0) - half == pytest.approx(frame["obs_ci_lower"].iloc[0], abs=1e-7)
    assert fit.at(80.0) + half == pytest.approx(frame["obs_ci_upper"].iloc[0], abs=1e-7)


def test_forecast_nears_the_textbook_prediction_interval_when_readings_are_many():
    # with 200 readings the belief about the scatter and the choice of law hardly matter
    rng = np.random.default_rng(11)
    minutes = np.linspace(0.0, 100.0, 200)
    size = 10.2 - 0.004 * minutes + 0.015 * rng.standard_normal(200)
    readings = [Reading(float(m), float(s), 0.015) for m, s in zip(minutes, size, strict=True)]
    outlook = forecast(readings)
    assert isinstance(outlook, Forecast)
    assert outlook.linear_weight > 0.99
    ref = sm.OLS(size, sm.add_constant(minutes)).fit()
    frame = ref.get_prediction([[1.0, 110.0]]).summary_frame(alpha=0.1)
    ahead = outlook.reading(110.0)
    width = frame["obs_ci_upper"].iloc[0] - frame["obs_ci_lower"].iloc[0]
    assert ahead.middle == pytest.approx(frame["mean"].iloc[0], abs=0.02 * width)
    assert ahead.high - ahead.low == pytest.approx(width, rel=0.06)
    size_then = outlook.size(110.0)
    mean_width = frame["mean_ci_upper"].iloc[0] - frame["mean_ci_lower"].iloc[0]
    assert size_then.high - size_then.low == pytest.approx(mean_width, rel=0.08)
