"""A short form of tests/benchmarks/forecast_calibration.py, with bounds that chance allows."""

import importlib.util
import sys
from pathlib import Path

import pytest
from scipy import stats

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "forecast_calibration.py"
SPRINGS = 400


@pytest.fixture(scope="module")
def rows():
    spec = importlib.util.spec_from_file_location("forecast_calibration", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module.simulate(SPRINGS, 4)


def within(hits, count, low, high):
    """Whether a true share between low and high could have given so many hits (1 in 1000)."""
    return (
        stats.binom.cdf(hits, count, low) > 0.0005
        and stats.binom.sf(hits - 1, count, high) > 0.0005
    )


@pytest.mark.parametrize("key", ["next", "main", "size", "left"])
def test_ninety_percent_intervals_cover_ninety_percent(rows, key):
    assert within(sum(r[key] for r in rows), len(rows), 0.87, 0.93)


def test_lasts_the_main_is_right_as_often_as_said(rows):
    said = [r for r in rows if 0.8 <= r["said"] < 0.9]
    assert len(said) >= 15
    assert within(sum(r["lasted"] for r in said), len(said), 0.77, 0.93)


def test_never_and_surely_mean_it(rows):
    surely = [r for r in rows if r["said fixed"] > 0.95]
    never = [r for r in rows if r["said fixed"] < 0.05]
    assert len(surely) > 50
    assert len(never) > 50
    assert within(sum(r["lasted fixed"] for r in surely), len(surely), 0.95, 1.0)
    assert within(sum(r["lasted fixed"] for r in never), len(never), 0.0, 0.05)


def test_the_bounds_can_fail():
    assert not within(int(0.75 * SPRINGS), SPRINGS, 0.87, 0.93)
    assert not within(SPRINGS, SPRINGS, 0.87, 0.93)
