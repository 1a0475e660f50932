"""The two-sample interval, the permutation kernel and the counts behind them."""

import math
from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pitwright.inference.permutation import (
    SAMPLES,
    labelings,
    permutation_effect,
    rearrangements,
    smallest_p,
)
from pitwright.inference.shift import _rank_sum_counts, hodges_lehmann

GROUP = st.lists(st.integers(1700, 1900).map(lambda c: c / 100.0), min_size=1, max_size=7)


@pytest.mark.parametrize(("n", "m"), [(1, 1), (1, 5), (3, 3), (4, 2), (5, 4)])
def test_rank_sum_counts_by_listing_every_arrangement(n: int, m: int) -> None:
    counts = [0] * (n * m + 1)
    for chosen in combinations(range(n + m), n):
        counts[sum(chosen) - n * (n - 1) // 2] += 1
    assert _rank_sum_counts(n, m) == counts


@given(GROUP, GROUP)
@settings(deadline=None)
def test_shift_is_the_median_difference_and_turns_with_the_groups(
    a: list[float], b: list[float]
) -> None:
    forth, back = hodges_lehmann(a, b), hodges_lehmann(b, a)
    assert forth.value == pytest.approx(float(np.median([y - x for x in a for y in b])))
    assert forth.low <= forth.value <= forth.high
    assert (back.value, back.low, back.high) == pytest.approx(
        (-forth.value, -forth.high, -forth.low)
    )


def test_the_interval_is_the_shifts_the_exact_rank_test_does_not_refuse() -> None:
    rng = np.random.default_rng(7)
    a, b = rng.normal(size=6), rng.normal(size=5) + 0.4
    shift = hodges_lehmann(a.tolist(), b.tolist())
    assert 0.95 <= shift.confidence < 1.0

    def p(delta: float) -> float:
        return float(stats.mannwhitneyu(b - delta, a, method="exact").pvalue)

    for end, inward in ((shift.low, 1e-6), (shift.high, -1e-6)):
        assert p(end + inward) > 0.05
        assert p(end - inward) <= 0.05


def test_three_against_three_cannot_hold_95_percent() -> None:
    shift = hodges_lehmann([1.0, 2.0, 3.0], [4.0, 6.0, 8.0])
    assert shift.confidence == pytest.approx(0.9)
    assert (shift.low, shift.high) == (1.0, 7.0)


@pytest.mark.parametrize(("a", "b"), [([], [1.0]), ([1.0], []), ([1.0], [float("nan")])])
def test_shift_refuses_what_it_cannot_take(a: list[float], b: list[float]) -> None:
    with pytest.raises(ValueError, match=r"at least one|finite"):
        hodges_lehmann(a, b)


@pytest.mark.parametrize("confidence", [0.0, 1.0, -0.5, 95.0, math.nan])
def test_shift_refuses_a_confidence_that_is_none(confidence: float) -> None:
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1"):
        hodges_lehmann([1.0, 2.0], [3.0, 4.0], confidence)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_the_permutation_test_refuses_what_is_no_number(bad: float) -> None:
    z = labels(2, 2)
    for y, x in (([1.0, 2.0, 3.0, bad], z), ([1.0, 2.0, 3.0, 4.0], [0.0, 0.0, 1.0, bad])):
        with pytest.raises(ValueError, match="values must be finite"):
            permutation_effect(y, x, labelings(2, 2)[0])


def labels(n_a: int, n_b: int) -> np.ndarray:
    return np.array([0.0] * n_a + [1.0] * n_b)


@given(
    st.lists(st.integers(0, 40), min_size=2, max_size=5),
    st.lists(st.integers(0, 40), min_size=2, max_size=5),
)
@settings(deadline=None, max_examples=60)
def test_p_agrees_with_scipy_ties_and_all(a: list[int], b: list[int]) -> None:
    y = np.array([*a, *b], dtype=float)
    z = labels(len(a), len(b))
    ours = permutation_effect(y, z, labelings(len(a), len(b))[0], nuisance=np.ones((len(y), 1)))
    theirs = stats.permutation_test(
        (b, a), lambda p, q, axis: p.mean(axis) - q.mean(axis), vectorized=True, n_resamples=np.inf
    )
    assert ours is not None
    assert ours.p == pytest.approx(theirs.pvalue, abs=1e-12)
    assert ours.estimate == pytest.approx(np.mean(b) - np.mean(a))


@pytest.mark.parametrize("drift", [False, True])
def test_the_interval_is_the_effects_the_test_does_not_refuse(drift: bool) -> None:
    rng = np.random.default_rng(3)
    z = np.array([0.0, 1.0] * 5)
    t = np.arange(10.0) - 4.5
    nuisance = np.column_stack((np.ones(10), t)) if drift else np.ones((10, 1))
    stack = labelings(5, 5)[0]
    y = rng.normal(size=10) + 0.5 * z + 0.3 * t
    found = permutation_effect(y, z, stack, nuisance=nuisance)
    assert found is not None
    assert found.low < found.estimate < found.high

    def p(effect: float) -> float:
        moved = permutation_effect(y - effect * z, z, stack, nuisance=nuisance)
        assert moved is not None
        return moved.p

    for end, inward in ((found.low, 1e-6), (found.high, -1e-6)):
        assert p(end + inward) > 0.05
        assert p(end - inward) <= 0.05


def test_estimate_with_drift_is_least_squares() -> None:
    rng = np.random.default_rng(5)
    z, t = np.array([0, 1, 1, 0, 0, 1, 0, 1.0]), np.arange(8.0)
    y = rng.normal(size=8)
    columns = np.column_stack((np.ones(8), t))
    found = permutation_effect(y, z, rearrangements(z)[0], nuisance=columns)
    assert found is not None
    full = np.column_stack((columns, z))
    coefficients, rest, *_ = np.linalg.lstsq(full, y, rcond=None)
    assert found.estimate == pytest.approx(coefficients[2])
    assert found.residual == pytest.approx(math.sqrt(rest[0] / 5))


@pytest.mark.parametrize(
    ("n", "m", "p"), [(3, 3, 0.1), (4, 4, 2 / 70), (1, 1, 1.0), (3, 5, 2 / 56)]
)
def test_smallest_p_is_reached_by_a_clean_sweep(n: int, m: int, p: float) -> None:
    assert smallest_p(n, m) == pytest.approx(p)
    y = np.concatenate((np.arange(n), 100.0 + np.arange(m)))
    found = permutation_effect(y, labels(n, m), labelings(n, m)[0], nuisance=np.ones((n + m, 1)))
    assert found is not None
    assert found.p == pytest.approx(p)


def test_too_few_arrangements_leave_the_interval_open() -> None:
    y = np.array([1.0, 2.0, 3.0, 11.0, 12.0, 14.0])
    found = permutation_effect(y, labels(3, 3), labelings(3, 3)[0], nuisance=np.ones((6, 1)))
    assert found is not None
    assert (found.low, found.high) == (-math.inf, math.inf)


def test_what_the_nuisance_swallows_is_no_effect() -> None:
    t = np.arange(6.0)
    columns = np.column_stack((np.ones(6), t))
    assert permutation_effect([1, 2, 3, 4, 5, 7.0], t, t[None, :], nuisance=columns) is None


def test_equal_figures_give_p_one() -> None:
    found = permutation_effect(
        [18.0] * 8, labels(4, 4), labelings(4, 4)[0], nuisance=np.ones((8, 1))
    )
    assert found is not None
    assert found.p == 1.0
    assert found.estimate == pytest.approx(0.0)


def test_all_arrangements_or_a_seeded_sample() -> None:
    few, exact = labelings(4, 3)
    assert exact
    assert len({tuple(row) for row in few}) == len(few) == 35
    assert set(few.sum(axis=1)) == {3.0}
    many, exact = labelings(12, 12)
    assert not exact
    assert many.shape == (SAMPLES, 24)
    assert set(many.sum(axis=1)) == {12.0}


def test_settings_are_rearranged_among_the_heats() -> None:
    z = np.array([1.2, 1.4, 1.6, 1.4])
    rows, exact = rearrangements(z)
    assert exact
    assert sorted(map(tuple, rows)) == sorted(permutations(z))
    rows, exact = rearrangements(np.arange(9.0))
    assert not exact
    assert len(rows) == SAMPLES + 1
    assert (rows[0] == np.arange(9.0)).all()
