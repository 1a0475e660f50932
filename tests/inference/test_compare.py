import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from pitwright.inference.compare import (
    Comparison,
    HeatFigure,
    compare_many,
    heats_for_verdict,
    holm,
)
from pitwright.inference.follow import SettingFigure, follow_setting
from pitwright.inference.need import FOUR_IN_FIVE, heats_needed
from pitwright.inference.shift import hodges_lehmann
from pitwright.inference.track import confounded, time_overlap
from pitwright.inference.wording import OPENING, SCATTER, Measure, how_many

NOISE = [0.021, -0.034, 0.012, 0.045, -0.027, 0.008, -0.041, 0.03, -0.006, 0.017, -0.019, 0.026]
NOISE += [0.004, -0.029, 0.037, -0.011]


def compare_states(figures: list[HeatFigure], a: str, b: str, **more: Measure) -> Comparison:
    return compare_many(figures, [(a, b)], **more)[0]


def heats(order: str, effect: float, drift: float = 0.0, **by_state: float) -> list[HeatFigure]:
    shifts = {"A": 0.0, "B": effect, **by_state}
    return [
        HeatFigure(state, float(i), 18.0 + shifts[state] + NOISE[i] + drift * i)
        for i, state in enumerate(order)
    ]


def test_a_clear_difference_between_interleaved_heats_is_likely_real() -> None:
    result = compare_states(heats("ABABABABAB", -0.15), "A", "B")
    assert result.verdict == "likely real"
    assert result.p < 0.05
    assert result.low < result.shift < result.high < 0.0
    assert result.shift == pytest.approx(-0.15, abs=0.05)
    assert result.sentence.startswith("B is 0.1")
    assert result.sentence.endswith("five heats each; likely real.")
    assert "quicker than A (0." in result.sentence


def test_a_slower_state_is_called_slower() -> None:
    result = compare_states(heats("ABABABABAB", 0.15), "A", "B")
    assert result.verdict == "likely real"
    assert "slower than A (0." in result.sentence


def test_turning_the_question_round_turns_the_answer_round() -> None:
    given_heats = heats("ABBABAABBA", -0.11, 0.01)
    one, other = compare_states(given_heats, "A", "B"), compare_states(given_heats, "B", "A")
    assert other.p == pytest.approx(one.p)
    assert (other.shift, other.low, other.high) == pytest.approx((-one.shift, -one.high, -one.low))
    assert other.verdict == one.verdict


def test_three_each_says_that_luck_does_it_two_times_in_twenty() -> None:
    result = compare_states(heats("ABABAB", -0.5), "A", "B")
    assert result.verdict == "cannot tell yet"
    assert result.p == pytest.approx(0.1)
    assert result.smallest_p == pytest.approx(0.1)
    assert result.more_each == 1
    assert result.sentence == (
        "Three heats each: even a clean sweep happens by luck two times in twenty, "
        "cannot tell yet; one more of each would make it possible."
    )


def test_three_against_nine_still_cannot_be_called_real() -> None:
    result = compare_states(heats("BBABBABBABBB", -0.5), "A", "B")
    assert result.smallest_p < 0.05
    assert result.verdict == "cannot tell yet"
    assert "at least four of each are needed" in result.sentence


@pytest.mark.parametrize(
    ("order", "part"),
    [
        ("AAAAABBBBB", "one ran before the other"),
        ("AABBBBBBAA", "single block"),
        ("BBBAAABA", "changed places only three times"),
        ("AAABBB", "one ran before the other"),
        ("ABBAABBAAB", "follows the time of the weekend or of the day"),
        ("ABBBAAABBA", "follows the time of the weekend or of the day"),
        ("AAAAABABBBABBBBB", "follows the time of the weekend"),
    ],
)
def test_states_that_follow_the_time_are_never_called_different(order: str, part: str) -> None:
    result = compare_states(heats(order, -0.8), "A", "B")
    assert result.verdict == "cannot be told from the track changing"
    assert result.confounded
    assert part in result.sentence
    assert "go back and forth" in result.sentence


def test_a_small_difference_says_how_many_heats_would_show_it() -> None:
    result = compare_states(heats("ABABABABAB", -0.06), "A", "B")
    assert result.verdict == "cannot tell yet"
    assert result.more_each == 0
    assert "looks 0.0" in result.sentence
    assert "heats each would show it" in result.sentence


def test_drift_is_taken_out_when_it_shows() -> None:
    still = compare_states(heats("ABABABABAB", -0.15), "A", "B")
    assert still.drift is None
    moving = compare_states(heats("ABABABABAB", -0.15, -0.05), "A", "B")
    assert moving.drift == pytest.approx(-0.05, abs=0.01)
    assert moving.verdict == "likely real"
    assert moving.shift == pytest.approx(-0.15, abs=0.05)


def test_drift_is_always_taken_out_where_the_states_lean_on_time() -> None:
    result = compare_states(heats("AABABABB", 0.0), "A", "B")
    assert time_overlap([0, 0, 1, 0, 1, 0, 1, 1], list(range(8)), bend=False) > 0.05
    assert result.drift is not None


def test_the_shift_is_of_figures_without_the_drift() -> None:
    result = compare_states(heats("AABABABBAB", -0.15, -0.05), "A", "B")
    assert result.drift == pytest.approx(-0.05, abs=0.01)
    # B ran 1.2 heats later on the whole: left in, the drift would make it 0.06 s quicker still
    assert result.shift == pytest.approx(-0.15, abs=0.03)


def test_heats_of_other_states_keep_the_running_order() -> None:
    result = compare_states(heats("ACBCACBCACBCACBC", -0.15, 0.03, C=1.0), "A", "B")
    assert result.drift == pytest.approx(0.03, abs=0.01)
    assert (result.n_a, result.n_b) == (4, 4)


def test_the_order_given_does_not_matter_only_the_order_run() -> None:
    given_heats = heats("ABBABAABBA", -0.11, 0.01)
    assert compare_states(given_heats[::-1], "A", "B") == compare_states(given_heats, "A", "B")


def test_several_comparisons_are_owned_up_to() -> None:
    figures = heats("ABCABCABCABCABC", -0.16, C=0.01)
    alone = compare_states(figures, "A", "B")
    several = compare_many(figures)
    assert [(r.a, r.b) for r in several] == [("A", "B"), ("A", "C"), ("B", "C")]
    assert all(r.family == 3 for r in several)
    assert several[0].p == alone.p
    assert several[0].p_adjusted > alone.p_adjusted
    assert "one of three comparisons" in several[0].sentence
    assert compare_many(figures, [("A", "B")])[0] == alone


def test_what_one_comparison_would_call_real_three_may_not() -> None:
    figures = heats("ABCABCABCABCABC", -0.02, C=0.0)
    alone, among = compare_states(figures, "A", "B"), compare_many(figures)[0]
    assert alone.p < 0.05 < among.p_adjusted
    assert alone.verdict == "likely real"
    assert among.verdict == "cannot tell yet"


def test_four_each_cannot_be_enough_for_three_comparisons() -> None:
    assert heats_for_verdict(1) == 4
    assert heats_for_verdict(3) == 5
    several = compare_many(heats("ABCABCABCABC", -0.5, C=0.5))
    assert all(r.verdict == "cannot tell yet" and r.more_each == 1 for r in several)
    assert all("one more of each" in r.sentence for r in several)
    assert not any("luck two times in 70" in r.sentence for r in compare_many([]))


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8])
def test_holm_agrees_with_statsmodels(size: int) -> None:
    ps = np.random.default_rng(size).beta(0.3, 2.0, size=size).tolist()
    assert holm(ps) == pytest.approx(multipletests(ps, method="holm")[1])
    assert holm([0.01, 0.04, 0.01, 0.9]) == pytest.approx((0.04, 0.08, 0.04, 0.9))


@given(
    st.lists(st.tuples(st.sampled_from("ABC"), st.integers(1700, 1900)), min_size=2, max_size=14)
)
@settings(deadline=None, max_examples=80)
def test_whatever_was_run_the_answer_is_whole(figures: list[tuple[str, int]]) -> None:
    given_heats = [HeatFigure(s, float(i), v / 100.0) for i, (s, v) in enumerate(figures)]
    for r in compare_many(given_heats):
        assert 0.0 < r.p <= r.p_adjusted <= 1.0
        assert r.low <= r.shift <= r.high
        assert r.p >= r.smallest_p - 1e-12
        assert r.sentence[0].isupper() or not r.sentence[0].isalpha()
        assert r.sentence.endswith(".")
        if r.verdict == "likely real":
            assert min(r.n_a, r.n_b) >= 4
            assert r.p_adjusted < 0.05
            assert not r.confounded
            assert r.low > 0.0 or r.high < 0.0


def test_other_measures_have_their_own_words() -> None:
    figures = heats("ABABABABAB", -0.15)
    assert (
        "s of scatter steadier than A"
        in compare_states(figures, "A", "B", measure=SCATTER).sentence
    )
    assert (
        "s over the opening laps quicker"
        in compare_states(figures, "A", "B", measure=OPENING).sentence
    )


@pytest.mark.parametrize(
    ("figures", "a", "b"),
    [
        ([HeatFigure("A", 0.0, 18.0)], "A", "B"),
        ([HeatFigure("A", 0.0, 18.0)], "A", "A"),
        ([HeatFigure("A", 0.0, float("nan")), HeatFigure("B", 1.0, 18.0)], "A", "B"),
        ([HeatFigure("A", float("inf"), 18.0), HeatFigure("B", 1.0, 18.0)], "A", "B"),
    ],
)
def test_questions_without_an_answer_are_refused(figures: list[HeatFigure], a: str, b: str) -> None:
    with pytest.raises(ValueError, match=r"no heat|one and the same|finite"):
        compare_states(figures, a, b)


def test_confounding_by_its_rule() -> None:
    assert confounded(4, 4, 3, 0.0)
    assert not confounded(4, 4, 4, 0.5)
    assert confounded(4, 4, 4, 0.51)
    assert confounded(8, 8, 6, 0.0)
    assert not confounded(8, 8, 7, 0.0)
    assert not confounded(3, 3, 2, 0.9)
    assert confounded(2, 3, 1, 0.0)


def test_more_heats_find_smaller_effects() -> None:
    rows = list(FOUR_IN_FIVE.items())
    assert all(n < m and x > y for (n, x), (m, y) in itertools.pairwise(rows))
    assert heats_needed(0.15, 0.07) == 5
    assert heats_needed(1.0, 0.0) == 4
    assert heats_needed(0.0, 0.07) is None
    assert heats_needed(0.001, 0.07) is None
    counts = [heats_needed(0.07 * ratio, 0.07) for ratio in np.arange(3.0, 0.55, -0.05)]
    known = [n for n in counts if n is not None]
    assert known == sorted(known)
    with pytest.raises(ValueError, match="finite"):
        heats_needed(-0.1, 0.07)


def settings_run(recesses: list[float], slope: float) -> list[SettingFigure]:
    return [
        SettingFigure(r, float(i), 18.0 + slope * (r - 1.4) + NOISE[i])
        for i, r in enumerate(recesses)
    ]


MIXED = [1.3, 1.5, 1.4, 1.6, 1.3, 1.5, 1.6, 1.4, 1.3, 1.6]


def test_pace_that_follows_the_recess() -> None:
    found = follow_setting(settings_run(MIXED, -1.0), name="recess", step=0.1, step_text="0.1 mm")
    assert found is not None
    assert found.verdict == "likely real"
    assert found.low < found.slope < found.high < 0.0
    assert found.slope == pytest.approx(-1.0, abs=0.3)
    assert found.sentence.startswith("0.1 mm more recess is 0.1")
    span = f"({-0.1 * found.high:.2f} to {-0.1 * found.low:.2f})"
    assert (
        f"0.1 mm more recess is {-0.1 * found.slope:.2f} s a lap quicker {span}" in found.sentence
    )
    assert "ten heats on four settings; likely real." in found.sentence


def test_a_recess_that_only_crept_up_says_nothing() -> None:
    creep = [1.2 + 0.05 * i for i in range(10)]
    found = follow_setting(settings_run(creep, -1.0), name="recess", step=0.1, step_text="0.1 mm")
    assert found is not None
    assert found.verdict == "cannot be told from the track changing"
    assert "went one way" in found.sentence


def test_too_few_heats_or_settings_for_a_slope() -> None:
    def follow(figures: list[SettingFigure]) -> str:
        found = follow_setting(figures, name="recess", step=0.1, step_text="0.1 mm")
        assert found is not None
        assert found.verdict == "cannot tell yet"
        return found.sentence

    assert "at least eight heats" in follow(settings_run(MIXED[:6], -1.0))
    assert "two settings" in follow(settings_run([1.3, 1.5] * 5, -1.0))
    assert "luck alone" in follow(settings_run(MIXED, 0.0))
    assert follow_setting(settings_run([1.3] * 9, 0.0), name="r", step=1.0, step_text="1") is None
    assert follow_setting([], name="r", step=1.0, step_text="1") is None


def test_a_slope_refuses_what_it_cannot_take() -> None:
    with pytest.raises(ValueError, match="step"):
        follow_setting([], name="r", step=0.0, step_text="0")
    with pytest.raises(ValueError, match="finite"):
        follow_setting(settings_run([1.3, float("nan"), 1.4], 0.0), name="r", step=1, step_text="1")


def test_four_each_are_the_fewest_that_can_be_real() -> None:
    result = compare_states(heats("ABABABAB", -0.5), "A", "B")
    assert result.verdict == "likely real"
    # 2 of the C(8, 4) = 70 arrangements are as far apart, less the two that are a step themselves.
    assert result.p == pytest.approx(2 / 68)
    assert "four heats each; likely real" in result.sentence


def test_below_four_each_the_interval_is_the_shift_s_own_and_says_what_it_holds() -> None:
    figures = heats("ABABAB", -0.5)
    result = compare_states(figures, "A", "B")
    own = hodges_lehmann(
        [f.value for f in figures if f.state == "A"], [f.value for f in figures if f.state == "B"]
    )
    assert (result.low, result.high) == pytest.approx((own.low, own.high))
    assert result.confidence == pytest.approx(0.9)


def test_eight_heats_on_enough_settings_are_told_of_luck_not_of_more_heats() -> None:
    found = follow_setting(settings_run(MIXED[:8], 0.0), name="r", step=0.1, step_text="0.1 mm")
    assert found is not None
    assert "luck alone" in found.sentence


@pytest.mark.parametrize(
    ("n_a", "n_b", "said"),
    [
        (18, 24, "18 heats of A and 24 of B"),
        (24, 1, "24 heats of A and one of B"),
        (18, 20, "eighteen heats of A and twenty of B"),
        (2, 3, "two heats of A and three of B"),
    ],
)
def test_counts_of_heats_are_all_words_or_all_figures(n_a, n_b, said):
    assert how_many(SimpleNamespace(n_a=n_a, n_b=n_b, a="A", b="B")) == said


def test_with_three_of_one_state_no_drift_is_taken_out_however_many_of_the_other() -> None:
    assert compare_states(heats("BABBABBBABBB", -0.15, -0.05), "A", "B").drift is None
