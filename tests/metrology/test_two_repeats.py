"""A short form of tests/benchmarks/two_repeats.py: fewer pairs.

The bounds are binomial: U that covers exactly the share asked for would fail one of these checks
about once in a thousand choices of seed; the seed is fixed.
"""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.stats import binom

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "two_repeats.py"
PAIRS = 4000


@pytest.fixture(scope="module")
def simulation() -> ModuleType:
    spec = importlib.util.spec_from_file_location(SCRIPT.stem, SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("error", ["normal", "rectangular", "triangular", "arcsine"])
@pytest.mark.parametrize("ratio", [0.3, 1.0, 3.0])
def test_two_repeats_cover_what_they_claim(
    simulation: ModuleType, ratio: float, error: str
) -> None:
    share = simulation.covered(ratio, error, "normal", PAIRS, np.random.default_rng(1))[0]
    assert share >= binom.ppf(0.001, PAIRS, 0.9545) / PAIRS


def test_the_same_pairs_by_one_t_claim_too_much(simulation: ModuleType) -> None:
    # the check can fail: this is what U was
    one_t = simulation.covered(2.0, "rectangular", "normal", PAIRS, np.random.default_rng(2))[2]
    assert one_t < 0.91
