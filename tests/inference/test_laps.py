import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.inference.laps import SetAsideRule, laps_from_taps, set_aside

STEADY = [18.1, 18.3, 18.0, 18.2, 18.1, 18.3, 18.2, 18.0, 18.1, 18.2]


def reasons(laps: list[float], rule: SetAsideRule | None = None) -> dict[int, str]:
    return {mark.lap: mark.reason for mark in set_aside(laps, rule)}


def test_steady_laps_are_all_kept() -> None:
    assert reasons(STEADY) == {}


def test_a_stop_a_mistake_and_a_short_lap_are_told_apart() -> None:
    laps = [*STEADY, 31.0, 20.0, 9.0]
    assert reasons(laps) == {11: "stop", 12: "mistake", 13: "short"}


def test_opening_laps_may_be_slow_but_not_stops() -> None:
    assert reasons([20.0, 19.5, *STEADY]) == {}
    assert reasons([20.0, 19.5, *STEADY], SetAsideRule(opening=0)) == {1: "mistake", 2: "mistake"}
    assert reasons([30.0, 19.5, *STEADY]) == {1: "stop"}


def test_many_stops_do_not_hide_a_mistake() -> None:
    laps = [*STEADY, *[60.0] * 8, 20.0]
    found = reasons(laps)
    assert found[19] == "mistake"
    assert sum(reason == "stop" for reason in found.values()) == 8


def test_too_few_laps_have_no_mistakes() -> None:
    assert reasons([18.0, 18.0, 18.1, 20.0]) == {}
    assert reasons([18.0, 18.0, 18.1, 20.0, 40.0]) == {5: "stop"}


def test_a_very_even_driver_is_not_punished_for_a_tenth() -> None:
    assert reasons([18.0] * 10 + [18.1]) == {}


def test_the_rule_is_adjustable_and_says_itself() -> None:
    rule = SetAsideRule(stop_ratio=2.0, mistake_ratio=1.1)
    assert reasons([*STEADY, 31.0, 19.5], rule) == {11: "mistake"}
    assert "over 2 times" in rule.sentence
    assert "10 % over" in rule.sentence


@pytest.mark.parametrize(
    "bad",
    [
        {"stop_ratio": 1.0},
        {"mistake_ratio": 0.9},
        {"mistake_ratio": 1.6},
        {"short_ratio": 1.0},
        {"mistake_spreads": 0.0},
        {"opening": -1},
        {"stop_ratio": float("nan")},
    ],
)
def test_a_rule_that_would_bin_ordinary_laps_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be"):
        SetAsideRule(**bad)  # type: ignore[arg-type]


@pytest.mark.parametrize("laps", [[], [18.0, 0.0], [18.0, float("nan")], [-1.0]])
def test_laps_that_cannot_be_are_refused(laps: list[float]) -> None:
    with pytest.raises(ValueError, match=r"no laps|takes more than 0 s"):
        set_aside(laps)


@given(st.lists(st.floats(5.0, 200.0), min_size=1, max_size=60), st.floats(0.2, 5.0))
def test_the_rule_does_not_depend_on_the_unit(laps: list[float], factor: float) -> None:
    # rounding may move a lap that sits exactly on a limit, so limits are kept off round numbers
    rule = SetAsideRule(stop_ratio=1.50713, mistake_ratio=1.03117, short_ratio=0.70319)
    scaled = [lap * factor for lap in laps]
    assert {m.lap for m in set_aside(laps, rule)} == {m.lap for m in set_aside(scaled, rule)}


def test_taps_make_the_laps_between_them() -> None:
    assert laps_from_taps([100.0, 118.5, 136.75]) == (18.5, 18.25)
    assert laps_from_taps([100.0]) == ()
    assert laps_from_taps([]) == ()


@pytest.mark.parametrize("taps", [[1.0, 1.0], [2.0, 1.0], [1.0, float("nan")], [float("inf")]])
def test_taps_that_do_not_move_on_are_refused(taps: list[float]) -> None:
    with pytest.raises(ValueError, match="tap"):
        laps_from_taps(taps)
