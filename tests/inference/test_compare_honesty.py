"""Short forms of tests/benchmarks/pace_honesty.py and pace_orders.py: fewer weekends.

The bounds are binomial: a program that is honest at exactly the limit would fail one of these
checks about once in a thousand choices of seed; the seed is fixed.
"""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import binom

ORDERS = Path(__file__).parents[1] / "benchmarks" / "pace_orders.py"
SCRIPT = Path(__file__).parents[1] / "benchmarks" / "pace_honesty.py"


@pytest.fixture(scope="module")
def simulation() -> ModuleType:
    return load(SCRIPT)


@pytest.fixture(scope="module")
def every_order() -> ModuleType:
    return load(ORDERS)


def load(script: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(script.stem, script)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def at_most(share: float, weekends: int) -> float:
    return float(binom.ppf(0.999, weekends, share)) / weekends


def at_least(share: float, weekends: int) -> float:
    return float(binom.ppf(0.001, weekends, share)) / weekends


def test_no_effect_is_seldom_called_real(simulation: ModuleType) -> None:
    weekends = 600
    share = simulation.mixed_null(weekends, 0.0, 0.055, np.random.default_rng(1))
    assert share <= at_most(0.06, weekends)


def test_no_effect_among_three_states_is_seldom_called_real(simulation: ModuleType) -> None:
    weekends = 300
    share = simulation.several_null("ABCABCABCABCABC", weekends, 0.055, np.random.default_rng(2))
    assert share <= at_most(0.06, weekends)


def test_a_true_effect_is_found_over_five_heats_each(simulation: ModuleType) -> None:
    weekends = 300
    rng = np.random.default_rng(3)
    sd = simulation.between_sd(rng)
    real, held = simulation.share_real(
        "ABABABABAB", -0.15, simulation.DRIFTS["none"], 0.0, sd, weekends, rng
    )
    assert real >= at_least(0.80, weekends)
    assert held >= at_least(0.95, weekends)


@pytest.mark.parametrize("order", ["AAAAABBBBB", "AAABBBBBAA", "ABABAB"])
def test_blocks_and_too_few_heats_are_never_called_real(simulation: ModuleType, order: str) -> None:
    rng = np.random.default_rng(4)
    real, _ = simulation.share_real(order, -0.3, simulation.DRIFTS["straight"], 0.0, 0.05, 40, rng)
    assert real == 0.0


def test_no_order_is_fooled_by_a_track_that_bends_jumps_or_swings(every_order: ModuleType) -> None:
    # Every tenth order. With the trend alone taken out single orders are fooled in up to a third.
    rng = np.random.default_rng(5)
    every_order.check(rng, 5)
    orders = every_order.orders(5, 5)[::10]
    for track in ("none", "linear", "bent", "one step", "day and night", "four heats a day"):
        rates = [every_order.false_claims(z, track, 100, rng)[0].mean() for z in orders]
        assert np.mean(rates) <= 0.05
        assert max(rates) <= at_most(0.05, 100)


def test_states_that_change_every_heat_lose_no_power_to_it(every_order: ModuleType) -> None:
    now, before = every_order.power("ABABABABAB", np.random.default_rng(6), 400)
    assert now == before
