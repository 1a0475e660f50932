"""When a trend over the weekend shows, and how a probability is put into words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pitwright.inference.compare import Comparison
from pitwright.inference.permutation import beside_track, labelings, permutation_effect
from pitwright.inference.track import (
    DRIFT_P,
    EVEN_OVERLAP,
    MOST_OVERLAP,
    leans,
    swings,
    time_overlap,
    track_overlap,
    trend_shows,
)
from pitwright.inference.wording import LAP, luck, size


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


@pytest.mark.parametrize("level", [[18.2] * 6, [0.0] * 6])
def test_equal_figures_and_equal_times_show_no_trend(level: list[float]) -> None:
    places = np.arange(6.0)
    assert not trend_shows(np.array(level), places)
    assert not trend_shows(places, np.array(level))


def test_a_setting_that_never_changes_cannot_be_told_from_time() -> None:
    assert time_overlap([1.4] * 5, range(5)) == 1.0


@pytest.mark.parametrize("bend", [False, True])
def test_the_overlap_is_r_squared_of_a_fitted_curve(bend: bool) -> None:
    z, t = np.array([0.0, 1, 1, 0, 1, 1, 0, 1]), np.array([0.0, 1, 2, 3, 4.5, 6, 7, 9])
    rest = z - np.polyval(np.polyfit(t, z, 2 if bend else 1), t)
    expected = 1 - rest @ rest / ((z - z.mean()) @ (z - z.mean()))
    assert time_overlap(z, t, bend=bend) == pytest.approx(expected)


def pattern(order: str) -> np.ndarray:
    return np.array([float(state == "B") for state in order])


def test_how_far_an_order_leans_on_a_swing_is_r_squared_of_a_fitted_wave() -> None:
    z, t = pattern("ABBABAABAB"), np.arange(10.0)
    waves = swings(tuple(t))
    assert len(waves) == 10  # from a quarter of a wave to one of four heats, in quarters
    for wave, share in zip(waves, leans(z, waves), strict=True):
        columns = np.column_stack((np.ones(10), wave))
        left = np.linalg.lstsq(columns, z, rcond=None)[1]
        assert share == pytest.approx(1.0 - float(left[0]) / 2.5)
    assert track_overlap(z, t) == pytest.approx(max(leans(z, waves)))


@pytest.mark.parametrize(
    ("order", "fooled"),
    [("ABABABABAB", False), ("ABBABAABAB", False), ("ABBAABBAAB", True), ("ABBBAAABBA", True)],
)
def test_an_order_that_goes_with_the_day_can_be_told_from_one_that_does_not(
    order: str, fooled: bool
) -> None:
    assert (track_overlap(pattern(order), np.arange(10.0)) > MOST_OVERLAP) == fooled


def test_states_that_change_every_heat_need_not_stand_beside_a_swing() -> None:
    for heats in (4, 5, 6, 8):
        z = pattern("AB" * heats)
        assert leans(z, swings(tuple(np.arange(2.0 * heats)))).max() < EVEN_OVERLAP


def test_a_swing_of_the_track_is_no_effect() -> None:
    order, t = "BABBAAABBA", np.arange(10.0)
    z = pattern(order)
    y = 18.0 + 0.2 * np.sin(2.0 * np.pi * t / 6.0 + 0.4) + 0.01 * np.cos(7.0 * t)
    stack, exact = labelings(5, 5)
    level = np.ones((10, 1))
    alone = permutation_effect(y, z, stack, nuisance=level, exact=exact)
    beside, _ = beside_track(y, z, stack, level, t, exact=exact)
    assert alone is not None
    assert beside > alone.p


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


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-0.20, -0.05, "B is 0.12 s a lap quicker than A (0.05 to 0.20)"),
        (-0.30, 0.06, "B is 0.12 s a lap quicker than A (0.06 slower to 0.30 quicker)"),
        (-math.inf, math.inf, "B is 0.12 s a lap quicker than A"),
    ],
)
def test_a_difference_with_the_interval_that_there_is(low: float, high: float, words: str) -> None:
    result = Comparison(
        a="A", b="B", n_a=4, n_b=4, shift=-0.12, low=low, high=high, confidence=0.95, p=0.03,
        p_adjusted=0.03, family=1, smallest_p=0.0286, exact=True, drift=None, spread=0.1, changes=7,
        time_overlap=0.05, confounded=False, more_each=0, verdict="likely real", sentence="",
    )  # fmt: skip
    assert size(result, LAP).format("is") == words
