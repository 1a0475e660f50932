"""A short form of tests/benchmarks/pace_honesty.py: the same simulation, fewer weekends.

The bounds are binomial: a program that is honest at exactly the limit would fail one of these
checks about once in a thousand choices of seed; the seed is fixed.
"""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import binom

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "pace_honesty.py"


@pytest.fixture(scope="module")
def simulation() -> ModuleType:
    spec = importlib.util.spec_from_file_location("pace_honesty", SCRIPT)
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
