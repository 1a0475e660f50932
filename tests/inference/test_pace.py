from itertools import permutations
from statistics import mean, median

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from pitwright.inference.laps import SetAsideRule
from pitwright.inference.pace import analyse_heat
from pitwright.inference.slopes import _score_variance, theil_sen

LAPS = [20.0, 19.0, 18.2, 18.0, 18.4, 18.1, 40.0, 18.3, 18.2, 18.5, 18.2, 18.3]


def test_every_figure_of_a_heat_by_hand() -> None:
    pace = analyse_heat(LAPS, best_n=3, run_n=3)
    assert pace.total == pytest.approx(sum(LAPS))
    assert [(m.lap, m.reason) for m in pace.set_aside] == [(7, "stop")]
    kept = [lap for lap in LAPS if lap != 40.0]
    assert list(pace.kept) == kept
    assert (pace.best, pace.best_lap) == (18.0, 4)
    assert pace.median == pytest.approx(median(kept))
    assert pace.best_mean == pytest.approx(mean([18.0, 18.1, 18.2]))
    assert pace.run_mean == pytest.approx(mean([18.0, 18.4, 18.1]))
    assert pace.run_from == 4
    settled = [18.2, 18.0, 18.4, 18.1, 18.3, 18.2, 18.5, 18.2, 18.3]
    assert pace.settled == pytest.approx(median(settled))
    assert pace.scatter == pytest.approx(median(abs(x - 18.2) for x in settled))
    assert pace.opening == pytest.approx((1.8, 0.8))
    assert pace.opening_loss == pytest.approx(2.6)
    assert "12 laps, best 18.00 s" in pace.sentence
    assert "1 lap set aside" in pace.sentence


def test_a_run_is_never_counted_across_a_lap_set_aside() -> None:
    pace = analyse_heat([18.0, 18.0, 40.0, 18.0, 18.5, 18.5, 18.5], run_n=3)
    assert pace.run_from == 4
    assert pace.run_mean == pytest.approx((18.0 + 18.5 + 18.5) / 3)


def test_short_heats_leave_out_what_cannot_be_known() -> None:
    one = analyse_heat([18.0])
    assert (one.best, one.median, one.total) == (18.0, 18.0, 18.0)
    assert one.settled is None
    assert one.fade is None
    assert one.best_mean is None
    assert one.run_mean is None
    assert one.scatter is None
    assert one.opening == ()
    assert one.opening_loss is None
    assert "Too few laps" in one.sentence


def test_fade_is_per_minute_of_running_stops_included() -> None:
    laps, elapsed = [], 0.0
    for i in range(30):
        lap = 18.0 + 0.05 * elapsed / 60.0 if i != 15 else 60.0
        laps.append(lap)
        elapsed += lap
    fade = analyse_heat(laps, SetAsideRule(opening=0)).fade
    assert fade is not None
    assert fade.value == pytest.approx(0.05, rel=1e-9)
    assert fade.low == pytest.approx(0.05, rel=1e-9)
    assert "fades by 0.050 s" in analyse_heat(laps).sentence


def test_a_car_that_gets_quicker_is_told_so_and_a_slower_one_its_fade() -> None:
    laps = [20.0, 19.0, *(18.0 - 0.01 * i + 0.001 * (i % 3) for i in range(20))]
    pace = analyse_heat(laps)
    begun = np.concatenate(([0.0], np.cumsum(laps)[:-1])) / 60
    slope = stats.theilslopes(laps[2:], begun[2:]).slope
    assert slope < 0
    assert f"It gets quicker by {-slope:.3f} s of lap time each minute (" in pace.sentence
    slower = analyse_heat([20.0, 19.0, *laps[:1:-1]])
    assert "It fades by 0.03" in slower.sentence


def test_a_rule_so_narrow_that_no_lap_is_typical_gives_no_pace() -> None:
    """Five laps counted twice; of the rest half are too quick and half too slow for such a rule."""
    rule = SetAsideRule(mistake_spreads=0.1, mistake_ratio=1.001, short_ratio=0.99, opening=0)
    pace = analyse_heat([1.0] * 5 + [10.0] * 3 + [12.0] * 3, rule)
    assert [mark.reason for mark in pace.set_aside] == ["short"] * 8 + ["mistake"] * 3
    assert pace.kept == ()
    assert (pace.best, pace.best_lap, pace.median, pace.settled) == (None, None, None, None)
    assert pace.total == pytest.approx(71.0)
    assert pace.sentence == "11 laps, none of them typical enough to give a pace."


def test_no_fade_is_claimed_from_scatter() -> None:
    rng = np.random.default_rng(4)
    pace = analyse_heat((18.0 + 0.2 * rng.normal(size=40)).tolist())
    assert "No fade that can be told" in pace.sentence


@given(st.lists(st.floats(5.0, 200.0), min_size=1, max_size=50))
@settings(deadline=None)
def test_figures_keep_their_order(laps: list[float]) -> None:
    pace = analyse_heat(laps)
    assert pace.total == pytest.approx(sum(laps))
    assert len(pace.kept) + len(pace.set_aside) == len(laps)
    if pace.best is not None and pace.median is not None:
        assert min(laps) <= pace.best <= pace.median <= max(laps)
        if pace.best_mean is not None:
            assert pace.best <= pace.best_mean + 1e-9
        if pace.run_mean is not None:
            assert pace.best <= pace.run_mean + 1e-9


@pytest.mark.parametrize("options", [{"best_n": 0}, {"run_n": 0}])
def test_numbers_of_laps_below_one_are_refused(options: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="at least 1"):
        analyse_heat([18.0], **options)  # type: ignore[arg-type]


POINTS = st.lists(
    st.tuples(st.integers(0, 90), st.integers(-300, 300)),
    min_size=8,
    max_size=40,
    unique_by=lambda point: point[0],
)


@given(POINTS)
@settings(deadline=None)
def test_theil_sen_agrees_with_scipy_ties_in_y_and_all(points: list[tuple[int, int]]) -> None:
    x = [float(p[0]) for p in points]
    y = [p[1] / 100.0 for p in points]
    assume(len(set(y)) > 1)  # scipy takes the root of a rounding error then
    ours = theil_sen(x, y)
    assert ours is not None
    theirs = stats.theilslopes(y, x, alpha=0.95)
    assert ours.value == pytest.approx(theirs.slope, abs=1e-12)
    if ours.low is not None:
        assert (ours.low, ours.high) == pytest.approx(
            (theirs.low_slope, theirs.high_slope), abs=1e-12
        )


def test_score_variance_with_ties_in_both_by_listing_every_arrangement() -> None:
    # var of Kendall's score over all rearrangements of y: no formula involved
    x, y = (
        np.array([1.0, 1.0, 2.0, 3.0, 3.0, 3.0, 4.0]),
        np.array([5.0, 5.0, 5.0, 6.0, 7.0, 7.0, 8.0]),
    )
    first, second = np.triu_indices(7, 1)
    scores = [
        float(np.sum(np.sign(x[second] - x[first]) * np.sign(p[second] - p[first])))
        for p in map(np.array, permutations(y))
    ]
    assert _score_variance(x, y) == pytest.approx(float(np.var(scores)))


def test_equal_times_make_no_pair() -> None:
    assert theil_sen([1.0, 1.0], [2.0, 3.0]) is None
    assert theil_sen([1.0], [2.0]) is None


def test_theil_sen_interval_covers_as_it_says() -> None:
    rng = np.random.default_rng(11)
    x = np.arange(20.0)
    hits = 0
    for _ in range(1000):
        slope = theil_sen(x, 0.3 * x + rng.standard_t(3, size=20))
        assert slope is not None
        assert slope.low is not None
        assert slope.high is not None
        hits += slope.low <= 0.3 <= slope.high
    # 95 % nominal; the two bounds are far tails of the binomial for 93 % and 97.5 %
    assert 915 <= hits <= 985


@pytest.mark.parametrize(
    ("x", "y", "confidence"),
    [([1.0, 2.0], [1.0], 0.95), ([1.0], [float("nan")], 0.95), ([1.0, 2.0], [1.0, 2.0], 1.0)],
)
def test_theil_sen_refuses_what_it_cannot_take(
    x: list[float], y: list[float], confidence: float
) -> None:
    with pytest.raises(ValueError, match=r"equally long|finite|confidence"):
        theil_sen(x, y, confidence)
