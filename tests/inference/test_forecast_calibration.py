"""A short form of tests/benchmarks/forecast_calibration.py, with bounds that chance allows."""

import importlib
import sys
from pathlib import Path

import pytest
from scipy import stats

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"
SPRINGS = 10  # of each law


@pytest.fixture(scope="module")
def calibration():
    sys.path.insert(0, str(BENCHMARKS))
    yield importlib.import_module("forecast_calibration")
    sys.path.remove(str(BENCHMARKS))


@pytest.fixture(scope="module")
def rows(calibration):
    return calibration.simulate(SPRINGS, 4, rivals=())


def within(hits, count, low, high):
    """Whether a true share between low and high could have given so many hits (1 in 1000)."""
    return (
        stats.binom.cdf(hits, count, low) > 0.0005
        and stats.binom.sf(hits - 1, count, high) > 0.0005
    )


def test_ninety_percent_ranges_at_the_mains_end_hold_over_nine_laws(calibration, rows):
    held = calibration.held(rows)
    assert within(round(held * len(rows)), len(rows), 0.85, 0.97)
    for law in calibration.LAWS:
        own = [r for r in rows if r.law == law]
        assert within(round(calibration.held(own) * len(own)), len(own), 0.75, 1.0)


def test_surely_means_it(calibration, rows):
    count, came = calibration.surely(rows)
    assert count > 20
    assert within(round(came * count), count, 0.95, 1.0)


def test_the_next_reading_holds_at_twice_the_cards_scatter(calibration):
    rows = calibration.simulate(6, 5, scatter=2.0, rivals=())
    assert within(round(calibration.share(rows, "next") * len(rows)), len(rows), 0.82, 1.0)


def test_the_bounds_can_fail():
    assert not within(60, 90, 0.85, 0.97)
    assert not within(2, 10, 0.75, 1.0)
