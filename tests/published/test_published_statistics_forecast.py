"""The wear forecast against published degradation data, and a straight line by statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm

from pitwright.inference.forecast import Forecast, Reading, forecast, learn_kind

# Meeker and Escobar, Statistical Methods for Reliability Data (1998), table C.17 and example 13.5:
# GaAs lasers at 80 C, percent increase of operating current every 250 h. Figures seen in two open
# copies that agree: gaaslasers_data.txt of lucas992x/gammaprocesses and data_GaAsLaser.csv of
# rkmishra1/SLT-D; table number recalled.
LASERS = """
0 .47 .93 2.11 2.72 3.51 4.34 4.91 5.48 5.99 6.72 7.13 8.00 8.92 9.49 9.87 10.94
0 .71 1.22 1.90 2.30 2.87 3.75 4.42 4.99 5.51 6.07 6.64 7.16 7.78 8.42 8.91 9.28
0 .71 1.17 1.73 1.99 2.53 2.97 3.30 3.94 4.16 4.45 4.89 5.27 5.69 6.02 6.45 6.88
0 .36 .62 1.36 1.95 2.30 2.95 3.39 3.79 4.11 4.50 4.72 4.98 5.28 5.61 5.95 6.14
0 .27 .61 1.11 1.77 2.06 2.58 2.99 3.38 4.05 4.63 5.24 5.62 6.04 6.32 7.10 7.59
0 .36 1.39 1.95 2.86 3.46 3.81 4.53 5.35 5.92 6.71 7.70 8.61 9.15 9.95 10.49 11.01
0 .36 .92 1.21 1.46 1.93 2.39 2.68 2.94 3.42 4.09 4.58 4.84 5.11 5.57 6.11 7.17
0 .46 1.07 1.42 1.77 2.11 2.40 2.78 3.02 3.29 3.75 4.16 4.76 5.16 5.46 5.81 6.24
0 .51 .93 1.57 1.96 2.59 3.29 3.61 4.11 4.60 4.91 5.34 5.84 6.40 6.84 7.20 7.88
0 .41 1.49 2.38 3.00 3.84 4.50 5.25 6.26 7.05 7.80 8.32 8.93 9.55 10.45 11.28 12.21
0 .44 1.00 1.57 1.96 2.51 2.84 3.47 4.01 4.51 4.80 5.20 5.66 6.20 6.54 6.96 7.42
0 .39 .80 1.35 1.74 2.98 3.59 4.03 4.44 4.79 5.22 5.48 5.96 6.23 6.99 7.37 7.88
0 .30 .74 1.52 1.85 2.39 2.95 3.51 3.92 5.03 5.47 5.84 6.50 6.94 7.39 7.85 8.09
0 .44 .70 1.05 1.35 1.80 2.55 2.83 3.39 3.72 4.09 4.83 5.41 5.76 6.14 6.51 6.88
0 .51 .83 1.29 1.52 1.91 2.27 2.78 3.42 3.78 4.11 4.38 4.63 5.38 5.84 6.16 6.62
"""
HALF = 9  # of the 17 readings, up to 2000 h
U = 0.05  # percent; no scatter is published


def lasers():
    return [[float(x) for x in line.split()] for line in LASERS.split("\n") if line]


def readings(laser, count):
    """Hundreds of hours stand for minutes, and the size falls by the percent gained."""
    return [Reading(2.5 * i, 100.0 - x, U) for i, x in enumerate(laser[:count])]


@pytest.fixture(scope="module")
def from_the_first_half():
    found = []
    for laser in lasers():
        outlook = forecast(readings(laser, HALF))
        assert isinstance(outlook, Forecast)
        found.append((laser, outlook))
    return found


def test_lasers_are_forecast_from_their_first_half(from_the_first_half):
    """Of fifteen 90 % ranges at 4000 h and fifteen at 3000 h nearly all must hold."""
    for hours, at_least in ((3000, 12), (4000, 12)):
        inside = 0
        for laser, outlook in from_the_first_half:
            span = outlook.reading(hours / 100)
            inside += span.low <= 100.0 - laser[hours // 250] <= span.high
        assert inside >= at_least


def test_which_lasers_pass_ten_percent_by_4000_hours(from_the_first_half):
    """Three of the fifteen do (Meeker and Escobar's failures): the chances must tell them apart."""
    chances = [1.0 - f.probability_above(40.0, 90.0) for _, f in from_the_first_half]
    failed = [laser[-1] >= 10.0 for laser, _ in from_the_first_half]
    assert sum(failed) == 3
    brier = np.mean([(c - f) ** 2 for c, f in zip(chances, failed, strict=True)])
    assert brier < 0.5 * 0.2 * 0.8
    assert 1.0 < sum(chances) < 5.5


def test_the_other_lasers_narrow_the_range_of_one():
    every = lasers()
    wider, narrower = [], []
    for i in (2, 7, 11):
        kin = learn_kind([readings(x, 17) for j, x in enumerate(every[:6]) if j != i])
        few = readings(every[i], 4)
        alone, informed = forecast(few), forecast(few, kin)
        assert isinstance(alone, Forecast)
        assert isinstance(informed, Forecast)
        a, b = alone.size(40.0), informed.size(40.0)
        wider.append(a.high - a.low)
        narrower.append(b.high - b.low)
    assert sum(narrower) < 0.8 * sum(wider)


def test_forecast_nears_the_textbook_prediction_interval_when_readings_are_many():
    """With many readings the beliefs hardly matter beside ordinary least squares."""
    rng = np.random.default_rng(11)
    minutes = np.linspace(0.0, 100.0, 40)
    size = 10.2 - 0.004 * minutes + 0.015 * rng.standard_normal(40)
    outlook = forecast(
        [Reading(float(m), float(s), 0.015) for m, s in zip(minutes, size, strict=True)]
    )
    assert isinstance(outlook, Forecast)
    ref = sm.OLS(size, sm.add_constant(minutes)).fit()
    frame = ref.get_prediction([[1.0, 110.0]]).summary_frame(alpha=0.1)
    ahead = outlook.reading(110.0)
    width = frame["obs_ci_upper"].iloc[0] - frame["obs_ci_lower"].iloc[0]
    assert ahead.middle == pytest.approx(frame["mean"].iloc[0], abs=0.15 * width)
    assert 0.9 * width < ahead.high - ahead.low < 1.4 * width
