import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pitwright.metrology.instruments import Instrument, InstrumentKind, StepReading
from pitwright.metrology.spread import Spread
from pitwright.metrology.uncertainty import Measurement, Repeatability, measure
from pitwright.metrology.verdict import (
    SIMPLE,
    Limits,
    conformance_probability,
    guard_band,
    judge,
    judge_steps,
)

CALIPER = Instrument("caliper", InstrumentKind.CALIPER, 0.01, 0.02)
SPRING = Limits(discard_below=9.8)
RECESS = Limits(low=1.2, high=1.7)


def at(value, u=0.01, dof=math.inf, sd=None, n=1, sd_dof=math.inf):
    return Measurement(value, u, dof, 2.0, n, sd, sd_dof, ())


@pytest.mark.parametrize("typed", ["9.8", "9.80", "9.79", "9.5"])
@pytest.mark.parametrize("rule", ["iso 14253-1", "simple acceptance"])
def test_at_or_past_the_discard_limit_is_out(typed, rule):
    assert judge(measure([float(typed)], CALIPER), SPRING, rule).word == "out"


def test_a_mean_that_floats_cannot_hold_is_still_at_the_limit():
    assert sum([9.7, 9.8, 9.9]) / 3 != 9.8  # what a naive mean would give
    assert judge(measure([9.7, 9.8, 9.9], CALIPER), SPRING).word == "out"
    assert judge(measure([0.3858267716535433 * 25.4], CALIPER), SPRING).word == "out"


@pytest.mark.parametrize("limit", [9.8, 0.1, 1.7, 1234.5])
def test_the_nearest_typed_hundredth_past_a_discard_limit_is_not_at_it(limit):
    assert judge(at(limit + 0.01), Limits(discard_below=limit), SIMPLE).word == "good"
    assert judge(at(limit), Limits(discard_below=limit), SIMPLE).word == "out"
    assert judge(at(limit), Limits(discard_above=limit), SIMPLE).word == "out"
    assert judge(at(limit), Limits(low=limit), SIMPLE).word == "good"
    assert judge(at(limit), Limits(high=limit), SIMPLE).word == "good"


def test_near_the_discard_limit_is_too_close():
    verdict = judge(at(9.81), SPRING)
    assert verdict.word == "too close to call"
    assert (verdict.limit, verdict.limit_value) == ("discard below", 9.8)
    assert verdict.distance == pytest.approx(0.01)
    assert verdict.guard == pytest.approx(0.0165)
    assert judge(at(9.8165), SPRING).word == "good"
    assert judge(at(9.8164), SPRING).word == "too close to call"


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (1.18, "out"),
        (1.1834, "out"),
        (1.1835, "too close to call"),
        (1.2, "too close to call"),
        (1.2164, "too close to call"),
        (1.2165, "good"),
        (1.45, "good"),
        (1.6835, "good"),
        (1.7, "too close to call"),
        (1.7166, "out"),
    ],
)
def test_a_band_by_iso_14253(value, word):
    assert judge(at(value), RECESS).word == word


@pytest.mark.parametrize(
    ("value", "word"), [(1.199, "out"), (1.2, "good"), (1.7, "good"), (1.701, "out")]
)
def test_a_band_by_simple_acceptance(value, word):
    verdict = judge(at(value), RECESS, SIMPLE)
    assert verdict.word == word
    assert verdict.rule == "simple acceptance"
    assert verdict.guard == 0.0


def test_the_worst_limit_decides_and_is_named():
    both = Limits(low=10.0, discard_below=9.8)
    assert judge(at(9.9), both).limit == "low"
    assert judge(at(9.9), both).word == "out"
    assert judge(at(9.7), both).limit == "discard below"
    assert judge(at(10.5), both).limit == "low"
    assert judge(at(10.5), both).word == "good"


def test_few_readings_widen_the_guard():
    assert guard_band(Spread(1.0)) == pytest.approx(1.65)
    assert guard_band(Spread(1.0, 2.0)) == pytest.approx(stats.t.ppf(0.95, 2))
    assert guard_band(Spread(1.0, 1000.0)) == pytest.approx(1.65)


@given(
    st.floats(9.0, 11.0), st.floats(0.001, 0.2), st.sampled_from([1.0, 2.5, 7.3, 40.0, math.inf])
)
def test_conformance_probability_against_scipy(value, u, dof):
    law = stats.norm(value, u) if math.isinf(dof) else stats.t(dof, value, u)
    mine = conformance_probability(value, Spread(u, dof), Limits(low=9.8, high=10.3))
    assert mine == pytest.approx(law.cdf(10.3) - law.cdf(9.8), abs=1e-9)
    one = conformance_probability(value, Spread(u, dof), SPRING)
    assert one == pytest.approx(law.sf(9.8), abs=1e-9)


@given(st.floats(9.6, 10.4), st.floats(0.001, 0.1))
def test_words_and_probability_agree(value, u):
    # single limit: proven good and proven out are the two 95 % statements of the standard
    verdict = judge(at(value, u), Limits(low=10.0))
    if verdict.word == "good":
        assert verdict.p_conform >= 0.95
    elif verdict.word == "out":
        assert verdict.p_conform <= 0.05
    else:
        assert 0.0494 < verdict.p_conform < 0.9506


def test_settled_by_more_readings_really_is():
    known = Repeatability(0.02, 1e9)
    first = judge(measure([9.84], CALIPER, repeatability=known), SPRING)
    assert first.word == "good" or first.settle.kind == "more readings"
    close = judge(measure([9.83], CALIPER, repeatability=known), SPRING)
    assert close.word == "too close to call"
    assert close.settle.kind == "more readings"
    more = close.settle.more_readings
    repeats = [9.83] * (1 + more)
    assert judge(measure(repeats, CALIPER, repeatability=known), SPRING).word == "good"
    one_less = judge(measure([9.83] * more, CALIPER, repeatability=known), SPRING)
    assert one_less.word == "too close to call"


@pytest.mark.parametrize("pair", [(9.81, 9.85), (9.82, 9.86), (9.81, 9.86)])
def test_more_readings_count_what_they_teach_about_the_scatter(pair):
    # second route with scipy: same spread, one degree of freedom gained with each reading, and
    # beside the one t the sum of a t and a rectangle, by quadrature
    m = measure(pair, CALIPER)
    settle = judge(m, SPRING).settle
    fixed = 0.01**2 / 12 + 0.02**2 / 3
    for n in range(3, 13):
        mean = m.sd**2 / n
        u = math.sqrt(fixed + mean)
        dof = (n - 1) * u**4 / mean**2
        room, half = m.value - 9.8, math.sqrt(3.0 * fixed)
        at = np.linspace(-half, half, 20_001)
        beyond = stats.t.sf((room - at) / math.sqrt(mean), n - 1).mean()
        if max(1.65, stats.t.ppf(0.95, dof)) * u <= room and beyond <= 0.05:
            assert settle.more_readings == n - 2
            return
    assert settle.kind == "better tool"


def test_readings_are_spelled_out():
    known = Repeatability(0.015)
    assert (
        judge(measure([9.83], CALIPER, repeatability=known), SPRING).settle.text
        == "one more reading"
    )


def test_a_better_tool_is_named_when_readings_cannot_help():
    known = Repeatability(0.015)
    settle = judge(measure([9.81], CALIPER, repeatability=known), SPRING).settle
    assert settle.text == "needs a better tool"
    assert judge(at(9.81, settle.u_needed), SPRING).word == "good"
    unknown_scatter = judge(measure([9.81], CALIPER), SPRING).settle
    assert unknown_scatter.kind == "better tool"


def test_on_a_tolerance_limit_nothing_settles_it():
    assert judge(at(1.7), RECESS).settle.kind == "cannot"


def test_settled_needs_nothing():
    assert judge(at(1.45), RECESS).settle.text == ""


@pytest.mark.parametrize(
    ("limits", "match"),
    [
        ({}, "at least one"),
        ({"low": 2.0, "high": 1.0}, "no value"),
        ({"low": math.nan}, "finite"),
        ({"discard_below": 2.0, "high": 2.0}, "no value"),
    ],
)
def test_impossible_limits_are_refused(limits, match):
    with pytest.raises(ValueError, match=match):
        Limits(**limits)


def test_unknown_rule_is_refused():
    with pytest.raises(ValueError, match="unknown decision rule"):
        judge(at(1.0), RECESS, "guess")
    with pytest.raises(ValueError, match="unknown decision rule"):
        judge_steps(StepReading(1.3, 1.5), RECESS, "guess")


@pytest.mark.parametrize(
    ("low", "high", "word", "chance"),
    [
        (1.3, 1.5, "good", 1.0),
        (1.2, 1.7, "good", 1.0),
        (1.6, 1.8, "too close to call", 0.5),
        (1.8, 2.0, "out", 0.0),
        (1.5, None, "too close to call", None),
        (1.8, None, "out", 0.0),
        (None, 1.1, "out", 0.0),
        (None, 1.3, "too close to call", None),
    ],
)
def test_go_no_go(low, high, word, chance):
    verdict = judge_steps(StepReading(low, high), RECESS)
    assert verdict.word == word
    assert verdict.p_conform == (None if chance is None else pytest.approx(chance))
    assert (verdict.settle.text == "") == (word != "too close to call")


def test_go_no_go_at_a_discard_limit():
    assert judge_steps(StepReading(9.7, 9.8), SPRING).word == "out"
    assert judge_steps(StepReading(9.8, 9.9), SPRING).word == "too close to call"


def test_a_value_known_exactly_conforms_or_does_not():
    assert conformance_probability(1.5, Spread(0.0), RECESS) == 1.0
    assert conformance_probability(1.71, Spread(0.0), RECESS) == 0.0
