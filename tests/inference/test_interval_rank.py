"""The rank that bounds a Hodges-Lehmann shift, against the exact Mann-Whitney distribution."""

from __future__ import annotations

import itertools
import math

import pytest

from pitwright.inference.shift import hodges_lehmann


def exact(n: int, m: int, confidence: float) -> tuple[int, float]:
    """Return rank and confidence held, by listing every arrangement of the ranks."""
    total = math.comb(n + m, n)
    sums = [sum(chosen) - n * (n - 1) // 2 for chosen in itertools.combinations(range(n + m), n)]
    counts = [sums.count(u) for u in range(n * m + 1)]
    rank = 0
    while 2 * sum(counts[: rank + 1]) <= (1 - confidence) * total:
        rank += 1
    return max(rank, 1), 1 - 2 * sum(counts[: max(rank, 1)]) / total


@pytest.mark.parametrize(("n", "m"), [(3, 3), (3, 4), (4, 4), (4, 5), (5, 5), (5, 6)])
def test_the_interval_ends_at_the_exact_rank_and_says_what_it_holds(n: int, m: int) -> None:
    # Differences that are all distinct and known: second - first = 10 j + i.
    first, second = [-float(i) for i in range(n)], [10.0 * j for j in range(m)]
    differences = sorted(b - a for a in first for b in second)
    rank, held = exact(n, m, 0.95)
    shift = hodges_lehmann(first, second)
    assert shift.confidence == pytest.approx(held)
    assert (shift.low, shift.high) == (differences[rank - 1], differences[n * m - rank])


def test_five_against_five_holds_what_the_tables_say() -> None:
    # Mann-Whitney, n = m = 5, two-sided 5 %: critical U = 2 (recalled from the usual table),
    # P(U <= 2) = 4 / 252.
    assert hodges_lehmann(list(range(5)), list(range(10, 15))).confidence == pytest.approx(
        1 - 2 * 4 / 252
    )
