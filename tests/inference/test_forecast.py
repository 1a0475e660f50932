import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.meta_analysis import combine_effects

from pitwright.inference.forecast import (
    Forecast,
    Reading,
    Unknown,
    change_plan,
    earliest,
    forecast,
    learn_kind,
)
from pitwright.inference.kinds import pool
from pitwright.inference.outlook import AT_MOST_ODD
from pitwright.inference.readings import Estimate
from pitwright.inference.wear_belief import scatter_of
from pitwright.inference.wear_priors import HYPER, HYPER_BELIEF, TRUST_DOF
from pitwright.inference.wear_shapes import SHAPES, curves, likeness

U = 0.015
TIMES = (0.0, 10.0, 20.0, 30.0, 40.0)


def linear(rate=0.004, start=10.15, times=TIMES, u=U):
    return [Reading(t, start - rate * t, u) for t in times]


def settling(rate=0.1, t0=8.0, start=10.15, times=TIMES, u=U):
    return [Reading(t, start - rate * math.log1p(t / t0), u) for t in times]


def outlook(readings, kind=None):
    result = forecast(readings, kind)
    assert isinstance(result, Forecast)
    return result


def test_exact_readings_are_continued():
    f = outlook(linear(u=0.002))
    assert f.size(60.0).middle == pytest.approx(10.15 - 0.24, abs=0.006)
    assert f.minutes_left(9.8).middle == pytest.approx(0.35 / 0.004 - 40.0, rel=0.06)
    f = outlook(settling(u=0.002))
    assert f.size(60.0).middle == pytest.approx(10.15 - 0.1 * math.log1p(7.5), abs=0.02)


def test_answers_never_contradict_each_other():
    f = outlook(linear())
    for limit in (9.8, 9.9, 9.95):
        left = f.minutes_left(limit)
        for edge, chance in ((left.low, 0.95), (left.middle, 0.5), (left.high, 0.05)):
            if 0.0 < edge < math.inf:
                assert f.probability_above(40.0 + edge, limit) == pytest.approx(chance, abs=0.005)
        assert left.low <= left.middle <= left.high


def test_same_readings_same_answer_in_any_order():
    a, b = outlook(linear()), outlook(linear()[::-1])
    assert a.size(70.0) == b.size(70.0)
    assert a.reading(70.0) == b.reading(70.0)
    assert a == b


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.0, 120.0), st.floats(9.5, 10.5)),
        min_size=3,
        max_size=9,
        unique_by=lambda p: round(p[0]),
    )
)
def test_any_readings_give_an_orderly_answer(points):
    f = forecast([Reading(t, v, U) for t, v in points])
    if isinstance(f, Unknown):
        return
    chances = [f.probability_above(m, 9.8) for m in (0.0, 30.0, 60.0, 120.0, 500.0)]
    assert all(0.0 < c < 1.0 for c in chances)
    # a part wears: it can never become more likely to be above a limit later on
    assert chances == sorted(chances, reverse=True)
    size, reading = f.size(130.0), f.reading(130.0)
    assert size.low <= size.middle <= size.high
    assert reading.high - reading.low >= 0.9 * (size.high - size.low)
    assert f.minutes_left(9.8).low >= 0.0


def test_a_reading_is_less_certain_than_the_size():
    f = outlook(linear())
    size, reading, coarse = f.size(45.0), f.reading(45.0), f.reading(45.0, u=0.1)
    assert size.high - size.low < reading.high - reading.low < coarse.high - coarse.low


def test_units_do_not_matter():
    mm = outlook(linear())
    metres = outlook([Reading(r.minutes, r.value / 1000.0, r.u / 1000.0) for r in linear()])
    assert metres.size(60.0).low == pytest.approx(mm.size(60.0).low / 1000.0, rel=1e-9)
    assert metres.probability_above(90.0, 0.0098) == mm.probability_above(90.0, 9.8)


@pytest.mark.parametrize(
    ("readings", "more", "words"),
    [
        ([], 3, "no reading"),
        ([Reading(0.0, 10.2, U, run_in=False)], 3, "not yet read after run-in"),
        ([Reading(0.0, 10.2, U)], 2, "not how fast"),
        ([Reading(0.0, 10.2, U)] * 3, 2, "not how fast"),
        (linear(times=(0.0, 10.0)), 1, "cannot tell"),
        (linear(times=(0.0, 0.0, 10.0, 10.0)), 1, "cannot tell"),
    ],
)
def test_too_few_run_times_give_no_number(readings, more, words):
    result = forecast(readings)
    assert isinstance(result, Unknown)
    assert result.more_checks == more
    assert words in result.reason


def test_readings_before_run_in_do_not_bend_the_law():
    new = Reading(0.0, 10.25, U, run_in=False)
    with_new, without = outlook([new, *linear()]), outlook(linear())
    assert with_new.size(60.0) == without.size(60.0)
    assert with_new.n == 5
    assert with_new.run_in_drop.value == pytest.approx(0.1, abs=0.01)
    assert with_new.run_in_drop.u > U
    assert without.run_in_drop is None


def test_an_unmarked_run_in_drop_is_noticed_and_said():
    squeezed = [Reading(0.0, 10.25, U), *linear()]
    f = outlook(squeezed)
    assert f.size(60.0).middle == pytest.approx(outlook(linear()).size(60.0).middle, abs=1e-9)
    assert any("before run-in" in note for note in f.notes)
    ordinary = [Reading(0.0, 10.16, U), *linear()]
    assert outlook(ordinary).n == 6


def test_earlier_parts_inform_a_young_one_and_say_so():
    kind = learn_kind([linear(0.004), linear(0.005, 10.2), linear(0.003, 10.1)])
    assert kind is not None
    young = outlook([Reading(0.0, 10.15, U)], kind)
    assert young.size(40.0).middle == pytest.approx(10.15 - 0.16, abs=0.03)
    assert young.kind_count == 3
    assert young.kind_weight == pytest.approx(1.0)
    assert any("3 earlier parts" in note for note in young.notes)
    # its own readings take over
    grown = outlook(linear(0.008, u=0.005), kind)
    assert grown.kind_weight < 0.2
    assert grown.size(60.0).middle == pytest.approx(10.15 - 0.48, abs=0.03)
    weights = [outlook(linear(times=TIMES[:n]), kind).kind_weight for n in (1, 2, 3, 4, 5)]
    assert weights == sorted(weights, reverse=True)


def test_earlier_parts_narrow_the_forecast():
    kind = learn_kind([linear(), linear(0.0045, 10.2), linear(0.0035, 10.1)])
    alone, informed = outlook(linear(times=TIMES[:3])), outlook(linear(times=TIMES[:3]), kind)
    a, b = alone.size(80.0), informed.size(80.0)
    assert b.high - b.low < 0.8 * (a.high - a.low)


def test_nothing_is_learnt_from_parts_hardly_read():
    assert learn_kind([]) is None
    assert learn_kind([[Reading(0.0, 10.2, U)]]) is None


def test_pooling():
    same = pool([Estimate(1.0, 0.01)] * 5, 0.4)
    assert same.value == pytest.approx(1.0)
    wide = pool([Estimate(x, 0.01) for x in (0.4, 1.0, 1.6, 0.7, 1.3)], 0.4)
    assert wide.u > same.u
    one = pool([Estimate(1.0, 0.01)], 0.4)
    assert 0.4 < one.u < 0.7
    sure = pool([Estimate(1.0, 0.01), Estimate(1.1, 10.0)], 0.4)
    assert sure.value == pytest.approx(1.0, abs=0.01)


def test_change_plan():
    f = outlook(linear(u=0.005))
    plan = change_plan(f, 9.8, [10.0, 15.0, 15.0, 30.0])
    assert len(plan.chances) == 4
    assert plan.chances[0] > 0.95
    assert plan.chances[3] < 0.1
    assert plan.before == 3
    assert plan.chances[2] >= 0.9 > plan.chances[3]
    assert change_plan(f, 9.0, [10.0, 10.0]).before is None
    assert change_plan(f, 10.1, [10.0]).before == 0
    later = change_plan(f, 9.8, [10.0, 15.0], now=100.0)
    assert later.before == 0


def test_minutes_left_counts_from_now_and_stops_at_zero():
    f = outlook(linear(u=0.005))
    assert f.minutes_left(9.8, now=50.0).middle == pytest.approx(
        f.minutes_left(9.8).middle - 10.0, abs=1e-6
    )
    assert f.minutes_left(10.2).high == 0.0


def test_a_part_that_hardly_settles_may_last_for_ever():
    f = outlook([Reading(t, 10.1, 0.02) for t in TIMES])
    assert f.minutes_left(9.8).high == math.inf


def test_earliest_limit_is_the_highest():
    assert earliest({"length": 9.8, "recess": 9.95, "coil bind": None}) == ("recess", 9.95)
    assert earliest({"length": None}) is None


@pytest.mark.parametrize(
    "figures", [(-1.0, 10.0, U), (0.0, math.nan, U), (0.0, 10.0, 0.0), (math.inf, 10.0, U)]
)
def test_impossible_readings_are_refused(figures):
    with pytest.raises(ValueError, match="a reading needs"):
        Reading(*figures)


def test_impossible_coverage_is_refused():
    with pytest.raises(ValueError, match="coverage"):
        outlook(linear()).size(60.0, coverage=1.0)


def test_curve_is_the_size_at_each_time():
    f = outlook(linear())
    assert f.curve([50.0, 60.0]) == (f.size(50.0), f.size(60.0))


def test_the_run_in_drop_is_as_uncertain_as_both_its_ends():
    def drop(u):
        return outlook([Reading(0.0, 10.25, u, run_in=False), *linear()]).run_in_drop

    fine, coarse = drop(0.01), drop(0.3)
    assert coarse.value == pytest.approx(fine.value)
    # What the law's own start adds is the same for both.
    assert coarse.u**2 - fine.u**2 == pytest.approx(0.3**2 - 0.01**2)


def test_all_answers_are_read_from_the_same_paths():
    f = outlook(linear())
    paths = f.paths([0.0, 20.0, 50.0, 75.0, 400.0, 5000.0])
    assert paths.shape[1] == 6
    assert (np.diff(paths, axis=1) <= 1e-12).all()
    assert (paths[:, 3] == f.sizes(75.0)).all()
    low, high = np.quantile(paths[:, 2], [0.05, 0.95], method="inverted_cdf")
    assert (f.size(50.0).low, f.size(50.0).high) == (low, high)
    plan = change_plan(f, 9.9, [10.0, 25.0])
    assert plan.chances[1] == f.probability_above(75.0, 9.9)
    lost = paths[:, 1] - paths[:, 3]
    assert f.wear(20.0, 75.0).middle == pytest.approx(float(np.median(lost)), abs=1e-4)


def test_posterior_against_drawing_from_the_beliefs_themselves():
    """Second route: draw curve, wear, departure and scatter as believed, weigh by the readings."""
    t, y, u, then = np.array([0.0, 12.0, 30.0]), np.array([10.30, 10.22, 10.05]), 0.04, 55.0
    f = outlook([Reading(float(a), float(b), u) for a, b in zip(t, y, strict=True)])
    rng = np.random.default_rng(8)
    n = 400_000
    pick = rng.choice(len(SHAPES), n, p=[s.belief for s in SHAPES])
    h = curves(np.append(t, then), 30.0).T[:, pick].T
    # flat up to ten scatters and falling with the square beyond: that of a half-Cauchy
    wear = 10.0 * np.tan(0.5 * math.pi * rng.random(n))
    scatter = np.sqrt(TRUST_DOF / rng.chisquare(TRUST_DOF, n))
    odds = rng.random(n)
    typical = rng.choice(HYPER, n, p=HYPER_BELIEF)
    departed = wear * typical * np.sqrt(odds / (1.0 - odds))
    gaps = np.diff(np.append(t, then), prepend=0.0) / 30.0
    walk = np.cumsum(np.sqrt(gaps) * rng.standard_normal((n, 4)), axis=1)
    fine = np.linspace(0.0, then / 30.0, 56)
    step = np.sqrt(np.diff(fine)) * rng.standard_normal((n, 55))
    pace = np.cumsum(np.cumsum(step, axis=1), axis=1) * (fine[1] - fine[0]) * math.sqrt(3.0)
    place = [0, 12, 30, 55]
    slow = np.concatenate((np.zeros((n, 1)), pace), axis=1)[:, place]
    kind = rng.random((n, 1)) < 0.5
    path = -wear[:, None] * h + departed[:, None] * np.where(kind, walk, slow)
    rest = y / u - path[:, :3]
    level = rest.mean(axis=1)
    chi2 = ((rest - level[:, None]) ** 2).sum(axis=1) / scatter**2
    weight = np.exp(-0.5 * chi2) / scatter**2
    start = level + scatter / math.sqrt(3.0) * rng.standard_normal(n)
    end = u * (start + path[:, 3])
    for limit in (9.7, 9.85, 9.95):
        brute = float(weight[end > limit].sum() / weight.sum())
        assert f.probability_above(then, limit) == pytest.approx(brute, abs=0.04)


def test_growth_gets_no_number_and_says_what_to_do():
    told = forecast([Reading(t, 10.0 + 0.01 * t, 0.015) for t in TIMES])
    assert isinstance(told, Unknown)
    assert "the readings grow, 10 to 10.4" in told.reason
    assert "check the tool's zero" in told.reason
    # one wild reading at the end is no growth
    wild = [*linear()[:-1], Reading(40.0, 10.5, U)]
    assert isinstance(forecast(wild), Forecast)


def test_one_wild_reading_is_named_and_not_averaged_in():
    good = linear(times=(0.0, 10.0, 20.0, 30.0, 40.0, 50.0))
    bad = [Reading(r.minutes, 9.50 if r.minutes == 20.0 else r.value, U) for r in good]
    f = outlook(bad)
    assert f.wild == (2,)
    assert f.odd == ("9.5 does not fit the others: read it again",)
    assert f.size(70.0).middle == pytest.approx(outlook(good).size(70.0).middle, abs=0.02)
    assert outlook(good).wild == ()
    assert f.probability_above(51.0, 9.0) == AT_MOST_ODD
    assert outlook(good).probability_above(51.0, 9.0) > AT_MOST_ODD


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(0, 10.1), (10, 10.2), (20, 10.08), (30, 10.21), (40, 10.1)], "show no wear"),
        ([(0, 10.15), (20, 10.07), (40, 10.0), (40, 9.9)], "at 40 min differ"),
    ],
)
def test_what_is_odd_is_said_and_never_sure(points, words):
    f = outlook([Reading(float(t), v, U) for t, v in points])
    assert any(words in odd for odd in f.odd)
    assert f.probability_above(41.0, 5.0) <= AT_MOST_ODD


def test_a_part_not_read_yet_has_the_forecast_of_its_kind():
    new = [Reading(0.0, 10.25, U, run_in=False)]
    kind = learn_kind([[*new, *linear()], [*new, *linear(0.005)]])
    unread = outlook([], kind)
    assert (unread.n, unread.kind_weight) == (0, pytest.approx(1.0))
    assert unread.size(0.0).middle == pytest.approx(10.15, abs=0.02)
    assert unread.size(40.0).middle == pytest.approx(10.15 - 0.18, abs=0.03)
    young = outlook([Reading(0.0, 10.30, U, run_in=False)], kind)
    assert young.size(0.0).middle == pytest.approx(10.20, abs=0.03)
    assert isinstance(forecast(new, learn_kind([linear()])), Forecast)


def test_a_spring_that_wears_faster_than_its_kin_is_followed_within_two_checks():
    kind = learn_kind([linear(0.004), linear(0.0044, 10.2), linear(0.0037, 10.1)])
    hasty = linear(0.0064, times=(0.0, 10.0, 20.0))
    lost = outlook(hasty, kind).wear(20.0, 60.0)
    assert lost.low < 40 * 0.0064 < lost.high
    assert lost.middle > 40 * 0.0052


def test_the_limits_own_uncertainty_widens_what_is_left():
    f = outlook(linear())
    sharp, blunt = f.minutes_left(9.9), f.minutes_left(9.9, limit_u=0.05)
    assert blunt.low < sharp.low
    assert blunt.high > sharp.high
    assert abs(f.probability_above(55.0, 9.9, limit_u=0.3) - 0.5) < abs(
        f.probability_above(55.0, 9.9) - 0.5
    )


def test_ranges_widen_when_readings_leave_every_curve():
    smooth = outlook(linear(times=tuple(10.0 * i for i in range(8))))
    steps = (0.0, 0.01, 0.1, 0.11, 0.12, 0.24, 0.25, 0.28)
    rough = outlook([Reading(10.0 * i, 10.15 - w, U) for i, w in enumerate(steps)])
    a, b = smooth.size(110.0), rough.size(110.0)
    assert b.high - b.low > 2.0 * (a.high - a.low)


def test_repeats_of_one_session_share_its_seating():
    apart = [Reading(0.0, 10.0, 0.01, seat=0.02) for _ in range(2)]
    together = [Reading(0.0, 10.0, 0.01, seat=0.02, occasion="x") for _ in range(2)]
    assert scatter_of(apart, 0.01)[0, 1] == 0.0
    assert scatter_of(together, 0.01) == pytest.approx(np.array([[5.0, 4.0], [4.0, 5.0]]))


def test_a_hot_run_explains_what_it_took():
    """Cool runs took less and a hot one more: that is no step, and usual running is in between."""
    points = [(0.0, 10.15, 0.0), (10.0, 10.11, -5.0), (20.0, 10.07, -10.0), (30.0, 9.93, 15.0)]
    points += [(40.0, 9.89, 10.0), (50.0, 9.85, 5.0), (60.0, 9.81, 0.0)]
    told = outlook([Reading(t, v, 0.005, hot=x) for t, v, x in points]).wear(60.0, 90.0)
    plain = outlook([Reading(t, v, 0.005) for t, v, _ in points]).wear(60.0, 90.0)
    # over the whole hour it lost 0.34 mm at its usual heat: so it will over the next half
    assert told.low < 30 * 0.34 / 60 < told.high
    assert plain.middle < told.low


def test_the_family_holds_straight_concave_convex_and_settling():
    every = curves([0.0, 15.0, 30.0, 60.0, 120.0], 30.0)
    assert every[:, 0] == pytest.approx(0.0)
    assert every[:, 2] == pytest.approx(1.0)
    assert (np.diff(every, axis=1) >= 0.0).all()
    assert sum(s.belief for s in SHAPES) == pytest.approx(1.0)
    assert every[:, 4].min() < 1.1
    assert every[:, 4].max() > 10.0
    assert likeness().sum(axis=1) == pytest.approx(1.0)


def test_readings_seconds_apart_after_hours_show_no_wear():
    close = [Reading(100.0 + shift, 10.1 - shift, U) for shift in (0.0, 1e-5, 2e-5)]
    told = forecast(close)
    assert told == Unknown("the readings lie too close together in run time to show any wear", 1)


def test_pooling_against_dersimonian_and_laird():
    """The spread between parts by statsmodels' own estimate of it (combine_effects, "chi2")."""
    values, us = np.array([0.4, 1.0, 1.6, 0.7, 1.3]), np.array([0.05, 0.2, 0.1, 0.08, 0.3])
    found = combine_effects(values, us**2, method_re="chi2", use_t=False)
    start = np.average(values, weights=1 / us**2)
    between = (4 * found.tau2 + 2 * (0.4 * start) ** 2) / 6
    weights = 1 / (us**2 + between)
    mean = np.average(values, weights=weights)
    ours = pool([Estimate(v, u) for v, u in zip(values, us, strict=True)], 0.4)
    assert ours.value == pytest.approx(mean)
    spread = math.sqrt(between + 1 / weights.sum())
    assert ours.u == pytest.approx(math.hypot(spread, 0.02 * mean))
