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
from pitwright.inference.kinds import Estimate, pool
from pitwright.inference.wear_laws import LAWS, TRUST_DOF

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


def test_exact_linear_readings_are_found_linear_and_continued():
    f = outlook(linear(u=0.002))
    assert f.law == "linear"
    assert f.linear_weight > 0.95
    assert f.size(60.0).middle == pytest.approx(10.15 - 0.24, abs=0.003)
    assert f.minutes_left(9.8).middle == pytest.approx(0.35 / 0.004 - 40.0, rel=0.02)


def test_exact_settling_readings_are_found_log_time():
    f = outlook(settling(u=0.002))
    assert f.law == "log-time"
    assert f.linear_weight < 0.05
    assert f.size(60.0).middle == pytest.approx(10.15 - 0.1 * math.log1p(7.5), abs=0.006)


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
    assert sum(f.weights) == pytest.approx(1.0)


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
    ("values", "limit"),
    [
        ((10.16, 10.10, 10.08, 10.02), 9.92),
        ((10.11, 10.13, 10.12, 10.08), 10.04),
        ((10.11, 10.15, 10.11, 10.13), 10.09),
    ],
)
def test_posterior_against_brute_force(values, limit):
    """Second route: integrate start, rate and scatter of every law on a grid."""
    times = (0.0, 9.0, 21.0, 30.0)
    f = outlook([Reading(t, v, U) for t, v in zip(times, values, strict=True)])
    a = np.linspace(10.0, 10.32, 161)[:, None, None]
    drop = np.linspace(0.0, 0.4, 401)[None, :, None]  # wear over the 30 minutes seen
    s2 = np.exp(np.linspace(math.log(0.15), math.log(8.0), 60))[None, None, :]
    # scaled inverse chi-squared about 1, times s2 for the logarithmic spacing
    prior = s2 ** (-TRUST_DOF / 2) * np.exp(-TRUST_DOF / (2 * s2))
    total = above = lin = 0.0
    for law in LAWS:
        g = [law.progress(t) / law.progress(30.0) for t in times]
        chi2 = sum(((v - a + drop * x) / U) ** 2 for v, x in zip(values, g, strict=True))
        mass = law.share * prior * s2**-2.0 * np.exp(-chi2 / (2 * s2))
        then = a - drop * law.progress(60.0) / law.progress(30.0)
        total += mass.sum()
        above += (mass * (then > limit)).sum()
        lin += mass.sum() if law.t0 is None else 0.0
    assert f.linear_weight == pytest.approx(lin / total, abs=0.01)
    assert f.probability_above(60.0, limit) == pytest.approx(above / total, abs=0.015)


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


def test_growing_readings_are_pointed_out():
    f = outlook([Reading(t, 10.0 + 0.01 * t, 0.005) for t in TIMES])
    assert any("grow" in note for note in f.notes)
    assert f.probability_above(60.0, 9.8) > 0.99


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


def test_a_part_known_only_new_uses_the_drop_of_its_kind():
    new = [Reading(0.0, 10.25, U, run_in=False)]
    kind = learn_kind([[*new, *linear()], [*new, *linear(0.005)]])
    young = outlook([Reading(0.0, 10.30, U, run_in=False)], kind)
    assert young.size(0.0).middle == pytest.approx(10.20, abs=0.02)
    assert young.n == 0
    without_drop = forecast(new, learn_kind([linear()]))
    assert isinstance(without_drop, Unknown)
    assert without_drop.more_checks == 1
    assert isinstance(forecast([], kind), Unknown)


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
    assert ours.u == pytest.approx(math.hypot(spread, 0.05 * mean))


def test_readings_that_leave_one_law_no_chance_are_still_weighed():
    f = outlook(settling(rate=0.3, times=tuple(float(t) for t in range(0, 300, 5)), u=0.0005))
    assert f.linear_weight == pytest.approx(0.0, abs=1e-12)


def test_readings_seconds_apart_after_hours_show_no_wear():
    """Three run times within a few milliseconds: no law can be told a rate from them."""
    close = [Reading(100.0 + shift, 10.1 - shift, U) for shift in (0.0, 1e-5, 2e-5)]
    told = forecast(close)
    assert told == Unknown("the readings lie too close together in run time to show any wear", 1)
    assert learn_kind([close]) is None


def test_a_law_that_cannot_be_fitted_has_no_say():
    """At 1,000 minutes the logarithm has flattened out: settling cannot be told from no wear."""
    close = [Reading(1000.0 + 0.003 * i, 10.1 - 0.01 * i, U) for i in range(3)]
    told = outlook(close)
    assert told.linear_weight == 1.0
    assert told.law == "linear"
    assert [fit.law.name for fit in told.fits] == ["linear"]


def test_a_kind_is_learnt_from_the_parts_that_show_something():
    """The others are not counted among those it leans on, nor do they weigh the laws."""
    close = [Reading(100.0 + shift, 10.1, U) for shift in (0.0, 1e-5)]
    one_law = [Reading(1000.0 + 0.003 * i, 10.1 - 0.01 * i, U) for i in range(3)]
    assert learn_kind([linear(), close, one_law]) == learn_kind([linear()])
    assert learn_kind([close, one_law]) is None


def test_two_run_times_teach_a_rate_and_say_nothing_of_the_law():
    two, three = linear(times=TIMES[:2]), linear(times=TIMES[:3])
    assert set(learn_kind([two]).log_shares) == {0.0}
    assert len(set(learn_kind([three]).log_shares)) == len(LAWS)
    assert learn_kind([two]).rates[0].value == pytest.approx(0.004)


def test_the_run_in_drop_is_as_uncertain_as_both_its_ends():
    def drop(u):
        return outlook([Reading(0.0, 10.25, u, run_in=False), *linear()]).run_in_drop

    fine, coarse = drop(0.01), drop(0.3)
    assert coarse.value == pytest.approx(fine.value)
    # What the law's own start adds is the same for both.
    assert coarse.u**2 - fine.u**2 == pytest.approx(0.3**2 - 0.01**2)


def test_where_growth_was_read_what_is_left_of_wear_falls_off_exponentially():
    """Beyond its cut far out a normal is nearly exponential with mean width squared by distance."""
    f = outlook(linear(rate=-0.02))
    for drawn in f.futures:
        assert drawn.fit.rate < 0.0
        assert (drawn.rate > 0.0).all()
        width = drawn.scale * math.sqrt(drawn.fit.var_rate)
        parts = drawn.rate * abs(drawn.fit.rate) / width**2
        assert parts.mean() == pytest.approx(1.0, abs=5 / math.sqrt(parts.size))
