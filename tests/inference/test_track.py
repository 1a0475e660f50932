"""When a trend over the weekend shows, and how a probability is put into words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pitwright.inference.track import DRIFT_P, trend_shows
from pitwright.inference.wording import luck


def correlated(n: int, r: float) -> tuple[np.ndarray, np.ndarray]:
    """Return n figures whose correlation with their places is exactly r."""
    t = np.arange(n, dtype=float)
    wiggle = np.random.default_rng(3).normal(size=n)
    q = np.linalg.qr(np.column_stack([np.ones(n), t, wiggle]))[0]
    sign = np.sign(q[:, 1] @ t)
    return r * sign * q[:, 1] + math.sqrt(1 - r * r) * q[:, 2], t


@pytest.mark.parametrize("n", [5, 8, 12, 30])
def test_a_trend_shows_from_fisher_s_critical_correlation_on(n: int) -> None:
    # Fisher (1921): atanh(r) is normal with variance 1 / (n - 3); two-sided at DRIFT_P.
    critical = math.tanh(stats.norm.isf(DRIFT_P / 2) / math.sqrt(n - 3))
    for sign in (1.0, -1.0):
        assert trend_shows(*correlated(n, sign * critical * 1.002))
        assert not trend_shows(*correlated(n, sign * critical * 0.998))


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.5, "50 times in a hundred"),
        (0.1, "10 times in a hundred"),
        (0.0949, "95 times in a thousand"),
        (0.0286, "29 times in a thousand"),
        (0.001, "1 time in a thousand"),
    ],
)
def test_luck_in_words(p: float, words: str) -> None:
    assert luck(p) == words
