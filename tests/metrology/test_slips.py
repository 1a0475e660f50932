import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.metrology.slips import Expected, check_slip, expect

LENGTH = Expected("free length", 10.0, 10.3, 10.15)
RECESS = Expected("nut recess", 1.0, 1.95, 1.5)
CLEARANCE = Expected("bell clearance", 0.15, 0.45, 0.25)
FORM = (LENGTH, RECESS, CLEARANCE)


@pytest.mark.parametrize(
    ("typed", "kind", "suggestion"),
    [
        (101.5, "ten times", 10.15),
        (1.02, "a tenth", 10.2),
        (1015.0, "decimal point lost", 10.15),
        (10150.0, "decimal point lost", 10.15),
        (10.51, "digits swapped", 10.15),
        (1.015, "a tenth", 10.15),
        (0.4, "inches as millimetres", 10.16),
        (257.81, "millimetres as inches", 10.15),
        (9.0, "large change", None),
        (12.0, "large change", None),
        (0.0, "large change", None),
    ],
)
def test_slips_of_a_spring_length(typed, kind, suggestion):
    slip = check_slip(typed, LENGTH)
    assert slip is not None
    assert slip.kind == kind
    assert slip.suggestion == (None if suggestion is None else pytest.approx(suggestion, abs=1e-3))
    assert slip.question.endswith((")", "Keep it?"))


def test_another_field_is_named():
    slip = check_slip(1.5, LENGTH, FORM)
    assert slip is not None
    assert (slip.kind, slip.field) == ("another field", "nut recess")
    assert "nut recess" in slip.question
    back = check_slip(10.15, RECESS, FORM)
    assert back is not None
    assert back.field == "free length"


def test_a_slip_that_lands_better_than_the_other_field_is_asked_first():
    # 1.02 could be a recess far from the last 1.5, but is a tenth of a spring length
    slip = check_slip(1.02, LENGTH, FORM)
    assert slip is not None
    assert (slip.kind, slip.suggestion) == ("a tenth", pytest.approx(10.2))


def test_the_question_is_plain():
    slip = check_slip(101.5, LENGTH)
    assert slip is not None
    assert slip.question == (
        "101.5 mm: ten times what was expected. Did you mean 10.15 mm? (last reading 10.15 mm)"
    )
    without_history = check_slip(9.0, Expected("end play", 0.1, 0.4))
    assert without_history is not None
    assert "expected 0.1 to 0.4 mm" in without_history.question


@given(st.floats(10.0, 10.3))
def test_a_plausible_value_is_never_asked_about(value):
    assert check_slip(value, LENGTH, FORM) is None


@given(st.floats(10.0, 10.3), st.sampled_from([10.0, 0.1, 100.0, 1000.0, 1 / 25.4]))
def test_every_scaled_plausible_value_is_asked_about_and_put_right(value, factor):
    slip = check_slip(value * factor, LENGTH)
    assert slip is not None
    assert slip.suggestion is not None
    assert LENGTH.fits(slip.suggestion)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=0.0, max_value=1000.0))
def test_a_suggestion_is_always_plausible(value):
    slip = check_slip(value, LENGTH, FORM)
    assert slip is None or slip.suggestion is None or LENGTH.fits(slip.suggestion)


def test_nothing_known_means_nothing_asked():
    assert check_slip(101.5, None) is None
    assert expect("x") is None
    assert expect("x", low=0.0) is None
    assert expect("x", low=2.0, high=1.0) is None
    assert expect("x", history=[0.0]) is None


def test_expectations():
    one_limit = expect("free length", low=9.8)
    assert one_limit is not None
    assert one_limit.fits(10.2)
    assert not one_limit.fits(101.5)
    band = expect("nut recess", low=1.2, high=1.7)
    assert band is not None
    # half as far beyond either end as the ends are apart
    assert (band.low, band.high) == pytest.approx((0.95, 1.95))
    near_zero = expect("end play", low=0.2, high=0.3)
    assert near_zero is not None
    assert near_zero.low >= 0.0


@pytest.mark.parametrize(("low", "high"), [(1.0, 1.0), (2.0, 1.0), (math.nan, 1.0)])
def test_an_empty_range_is_refused(low, high):
    with pytest.raises(ValueError, match="plausible range"):
        Expected("x", low, high)


def spring_life(rng):
    """A spring over a weekend: run-in drop, then wear, read with a caliper."""
    true = rng.uniform(10.2, 10.3)
    readings = [round(true + rng.gauss(0, 0.015), 2)]
    true -= rng.uniform(0.03, 0.1)
    for _ in range(10):
        readings.append(round(true + rng.gauss(0, 0.015), 2))
        true -= rng.uniform(0.0, 0.04)
    return readings


@pytest.mark.parametrize("only", [None, "falls"])
def test_false_alarms_over_real_looking_weekends_are_rare(only):
    rng = random.Random(20260516)
    asked = total = 0
    for _ in range(500):
        readings = spring_life(rng)
        for i, value in enumerate(readings):
            expected = expect(
                "free length", history=readings[:i], low=9.8, high=10.3, u=0.018, only=only
            )
            total += 1
            asked += check_slip(value, expected, FORM) is not None
    assert total == 5500
    assert asked <= 5  # one in a thousand


def test_a_worn_part_that_grew_is_asked_about_however_fast_it_wore():
    """9.94 mm after 10.18 mm may go on to 9.70 mm, but 10.15 mm is another spring."""
    fast = [10.23, 10.18, 9.94]
    falls = expect("free length", history=fast, u=0.018, only="falls")
    assert falls is not None
    assert falls.fits(9.70)
    assert falls.fits(9.97)
    slip = check_slip(10.15, falls, FORM)
    assert slip is not None
    assert slip.kind == "large change"
    rises = expect("bell bore", history=[30.0, 30.5], u=0.018, only="rises")
    assert rises is not None
    assert rises.fits(31.0)
    assert not rises.fits(30.0)


def test_slips_in_real_looking_weekends_are_caught():
    rng = random.Random(7)
    missed = 0
    for _ in range(300):
        readings = spring_life(rng)
        i = rng.randrange(1, len(readings))
        value = readings[i] * rng.choice([10.0, 0.1, 100.0, 1 / 25.4])
        expected = expect("free length", history=readings[:i], low=9.8, high=10.3, u=0.018)
        missed += check_slip(value, expected, FORM) is None
    assert missed == 0


def test_without_a_last_reading_the_middle_of_the_range_is_expected():
    assert Expected("free length", 9.8, 10.4).centre == pytest.approx(10.1)
    assert LENGTH.centre == 10.15
