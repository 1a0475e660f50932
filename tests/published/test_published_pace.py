"""Published numbers and well-kept libraries as second routes for the lap and heat statistics."""

import math
import statistics

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.nonparametric import rank_compare_2indep
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from pitwright.inference.permutation import labelings, permutation_effect, smallest_p
from pitwright.inference.shift import hodges_lehmann
from pitwright.inference.slopes import theil_sen
from pitwright.metrology.uncertainty import Contribution, combine
from pitwright.student import t_cdf

# Student (1908), "The probable error of a mean", Biometrika 6: hours of sleep gained. Seen.
SLEEP_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
SLEEP_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]

# Fisher, The Design of Experiments (1935), Darwin's maize, eighths of an inch. Seen.
MAIZE = [49, -67, 8, 16, 6, 23, 28, 41, 14, 29, 56, 24, 75, 60, -48]

# Hollander and Wolfe, Nonparametric Statistical Methods, table 3.1 (depression factor). Recalled.
BEFORE = [1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30]
AFTER = [0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29]

# Hollander and Wolfe, table 4.1 (permeability of a membrane). Recalled, as R's wilcox.test has it.
TERM = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
EARLY = [1.15, 0.88, 0.90, 0.74, 1.21]

# P. K. Sen (1968), J. Am. Stat. Assoc. 63, section 6. Seen.
SEN_X = [1, 2, 3, 4, 10, 12, 18]
SEN_Y = [9, 15, 19, 20, 45, 55, 78]


def test_sleep_welch() -> None:
    """Welch's t, as printed by any package: -1.8608, 17.776 degrees of freedom, p 0.07939.

    Our degrees of freedom are those of a reading's uncertainty (Welch and Satterthwaite), our p
    comes from the t distribution the verdicts use. Tolerances: half of the last digit printed.
    """
    means = [
        Contribution(name, statistics.stdev(hours) / math.sqrt(10), 9)
        for name, hours in (("first", SLEEP_1), ("second", SLEEP_2))
    ]
    u, dof = combine(means)
    t = (statistics.fmean(SLEEP_1) - statistics.fmean(SLEEP_2)) / u
    assert t == pytest.approx(-1.8608, abs=5e-5)
    assert dof == pytest.approx(17.776, abs=5e-4)
    assert 2.0 * t_cdf(t, dof) == pytest.approx(0.07939, abs=5e-6)
    theirs = CompareMeans(DescrStatsW(SLEEP_1), DescrStatsW(SLEEP_2)).ttest_ind(usevar="unequal")
    assert (t, 2.0 * t_cdf(t, dof), dof) == pytest.approx(theirs, rel=1e-12)


def test_sleep_permutation_p_agrees_with_scipy_and_lies_near_welch() -> None:
    y = np.array([*SLEEP_1, *SLEEP_2])
    z = np.repeat([0.0, 1.0], 10)
    labels, exact = labelings(10, 10)
    assert not exact
    ours = permutation_effect(y, z, np.vstack((z, labels)), nuisance=np.ones((20, 1)), exact=exact)
    whole = stats.permutation_test(
        (SLEEP_2, SLEEP_1),
        lambda a, b, axis: a.mean(axis) - b.mean(axis),
        vectorized=True,
        n_resamples=200_000,  # more than there are: scipy then takes every one of the 184 756
    )
    assert ours is not None
    assert ours.estimate == pytest.approx(1.58)
    # a sample of 9 999 has a standard deviation of sqrt(0.08 * 0.92 / 9999) = 0.0027
    assert ours.p == pytest.approx(whole.pvalue, abs=4 * 0.0027)
    assert whole.pvalue == pytest.approx(0.07939, abs=0.01)


def test_sleep_shift_and_interval_by_inverting_scipys_rank_test() -> None:
    shift = hodges_lehmann(SLEEP_1, SLEEP_2)
    assert shift.value == pytest.approx(float(np.median(np.subtract.outer(SLEEP_2, SLEEP_1))))
    for end, inward in ((shift.low, 0.01), (shift.high, -0.01)):
        inside = np.array(SLEEP_2) - (end + inward)
        outside = np.array(SLEEP_2) - (end - inward)
        assert stats.mannwhitneyu(inside, SLEEP_1, method="exact").pvalue > 0.05
        assert stats.mannwhitneyu(outside, SLEEP_1, method="exact").pvalue <= 0.05


def test_maize_permutation_p() -> None:
    """863 of the 32 768 sign patterns lie as far out in one tail as what was seen; twice that."""
    signs = 1.0 - 2.0 * ((np.arange(2**15)[:, None] >> np.arange(15)) & 1)
    found = permutation_effect([float(d) for d in MAIZE], np.ones(15), signs)
    assert sum(MAIZE) == 314
    assert found is not None
    assert found.arrangements == 32_768
    assert found.p == pytest.approx(2 * 863 / 32_768, abs=1e-12)
    assert found.p == pytest.approx(0.05267, abs=5e-6)
    assert found.estimate == pytest.approx(314 / 15)
    theirs = stats.permutation_test(
        (MAIZE,),
        lambda d, axis: d.mean(axis),
        permutation_type="samples",
        n_resamples=np.inf,
        vectorized=True,
    )
    assert found.p == pytest.approx(theirs.pvalue, abs=1e-12)


def test_paired_shift_of_hollander_and_wolfe() -> None:
    """The paired estimate, the median of the pairs' averages, is half the shift from -d to d."""
    d = [b - a for a, b in zip(BEFORE, AFTER, strict=True)]
    walsh = [(d[i] + d[j]) / 2.0 for i in range(9) for j in range(i, 9)]
    assert float(np.median(walsh)) == pytest.approx(-0.46, abs=1e-9)
    assert hodges_lehmann([-x for x in d], d).value / 2.0 == pytest.approx(-0.46, abs=1e-9)


def test_two_sample_shift_of_hollander_and_wolfe() -> None:
    """Table 4.1: U 35, p 0.2544; shift 0.305, 95 % interval -0.15 to 0.76 (recalled)."""
    shift = hodges_lehmann(EARLY, TERM)
    assert shift.value == pytest.approx(0.305)
    assert (shift.low, shift.high) == pytest.approx((-0.15, 0.76))
    test = stats.mannwhitneyu(TERM, EARLY, method="exact")
    assert (test.statistic, test.pvalue) == pytest.approx((35.0, 0.2544), abs=1e-4)
    assert rank_compare_2indep(TERM, EARLY).prob1 == pytest.approx(35.0 / 50.0)


def test_sen_1968() -> None:
    slope = theil_sen(SEN_X, SEN_Y)
    assert slope is not None
    assert slope.value == 4.0
    assert stats.theilslopes(SEN_Y, SEN_X).slope == 4.0


def test_nist_norris_slope_lies_within_sens_interval() -> None:
    """NIST StRD Norris: certified slope 1.00211681802045 (seen), near exact data; no outliers."""
    data = NORRIS
    slope = theil_sen([x for _, x in data], [y for y, _ in data])
    theirs = stats.theilslopes([y for y, _ in data], [x for _, x in data])
    assert slope is not None
    assert slope.low is not None
    assert slope.high is not None
    assert slope.value == pytest.approx(theirs.slope, abs=1e-12)
    assert slope.low <= 1.00211681802045 <= slope.high
    assert slope.value == pytest.approx(1.00211681802045, abs=5e-4)


def test_nist_norris_by_the_permutation_kernel() -> None:
    """The kernel's least squares against the certified slope and residual deviation."""
    y = np.array([row[0] for row in NORRIS])
    x = np.array([row[1] for row in NORRIS])
    found = permutation_effect(y, x, x[None, :], nuisance=np.ones((36, 1)))
    assert found is not None
    assert found.estimate == pytest.approx(1.00211681802045, rel=1e-12)
    assert found.residual == pytest.approx(0.884796396144373, rel=1e-9)


def test_nist_noint2_through_the_origin() -> None:
    """NIST StRD NoInt2 (seen): slope 0.727272727272727, its deviation 0.0420827318078432."""
    x = np.array([4.0, 5.0, 6.0])
    found = permutation_effect([3.0, 4.0, 4.0], x, x[None, :])
    assert found is not None
    assert found.estimate == pytest.approx(0.727272727272727, rel=1e-12)
    assert found.residual is not None
    # certified standard deviation of the slope
    assert found.residual / math.sqrt(float(x @ x)) == pytest.approx(0.0420827318078432, rel=1e-12)


def test_nist_numacc1_loses_no_digits() -> None:
    """NIST StRD NumAcc1 (seen): 10000001, 10000003, 10000002; mean 10000002, sd 1."""
    found = permutation_effect([10000001.0, 10000003.0, 10000002.0], np.ones(3), np.ones((1, 3)))
    assert found is not None
    assert found.estimate == pytest.approx(10000002.0, rel=1e-15)
    assert found.residual == pytest.approx(1.0, rel=1e-9)


def test_a_clean_sweep_by_luck() -> None:
    """Three against three: two orders of twenty (counted by hand); four: two of seventy."""
    assert smallest_p(3, 3) == pytest.approx(2 / 20)
    assert smallest_p(4, 4) == pytest.approx(2 / 70)


# NIST StRD Norris, (y, x); that they are the ones meant shows in the certified figures above.
NORRIS = [
    (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5),
    (668.5, 666.3), (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4),
    (0.1, 0.6), (778.1, 775.5), (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6),
    (557.7, 556.0), (228.3, 228.1), (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3),
    (0.6, 0.3), (557.6, 556.8), (339.3, 339.1), (888.0, 887.2), (998.5, 999.0), (778.9, 779.0),
    (10.2, 11.1), (117.6, 118.3), (228.9, 229.2), (668.4, 669.1), (449.2, 448.9), (0.2, 0.5),
]  # fmt: skip
