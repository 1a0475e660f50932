import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from pitwright.metrology.instruments import Instrument, InstrumentKind, StepReading
from pitwright.metrology.uncertainty import (
    Contribution,
    PartTemperature,
    Repeatability,
    combine,
    coverage_factor,
    format_measurement,
    measure,
    measure_steps,
    round_uncertainty,
)

CALIPER = Instrument("caliper", InstrumentKind.CALIPER, 0.01, 0.02)
ROD = Instrument("rod", InstrumentKind.DEPTH_ROD, 0.01, 0.03, zero_uncertainty=0.005)


def names(m):
    return [line.name for line in m.budget]


def test_one_reading_counts_the_tool_and_says_what_it_leaves_out():
    m = measure([10.15], CALIPER)
    assert m.u == pytest.approx(math.hypot(0.01 / math.sqrt(12), 0.02 / math.sqrt(3)))
    assert names(m) == ["resolution", "tool error"]
    assert m.k == pytest.approx(2.0, abs=1e-4)
    assert m.text() == "10.15 ± 0.03 mm"
    assert m.sd is None
    assert any("scatter not known" in note for note in m.notes)


def test_a_known_scatter_stands_in_for_one_reading():
    m = measure([10.15], CALIPER, repeatability=Repeatability(0.015))
    assert m.u == pytest.approx(math.sqrt(0.01**2 / 12 + 0.02**2 / 3 + 0.015**2))
    assert m.notes == ()


def test_repeats_shrink_by_root_n_and_widen_by_t():
    m = measure([10.15, 10.18, 10.16], CALIPER)
    s = 0.015275252316519
    assert m.value == pytest.approx(10.163333333)
    assert m.budget[-1].u == pytest.approx(s / math.sqrt(3), rel=1e-9)
    assert m.dof == pytest.approx(m.u**4 / ((s / math.sqrt(3)) ** 4 / 2), rel=1e-9)
    assert 2.0 < m.k < 4.6


def test_known_scatter_is_pooled_with_few_repeats():
    m = measure([10.15, 10.17], CALIPER, repeatability=Repeatability(0.01, 8))
    own = 0.02 / math.sqrt(2)
    assert m.sd == pytest.approx(math.sqrt((8 * 0.01**2 + own**2) / 9))
    assert [c.how for c in m.budget if c.name == "repeatability"] == ["2 readings"]
    assert m.sd_dof == 9
    certain = measure([10.15, 10.17], CALIPER, repeatability=Repeatability(0.01, math.inf))
    assert certain.sd == 0.01


def test_wild_repeats_are_not_averaged_away():
    m = measure([10.0, 10.3], CALIPER, repeatability=Repeatability(0.01, 8))
    assert m.sd == pytest.approx(0.3 / math.sqrt(2))
    assert m.sd_dof == 1
    assert any("scatter more than usual" in note for note in m.notes)


def test_what_varies_leaves_the_tool_error_out():
    m = measure([10.15], CALIPER, repeatability=Repeatability(0.015))
    assert m.u_varying == pytest.approx(math.hypot(0.015, 0.01 / math.sqrt(12)))


def test_zeroing_counts_where_a_difference_is_taken():
    plain, recess = measure([1.5], ROD), measure([1.5], ROD, zero_count=1)
    assert recess.u**2 - plain.u**2 == pytest.approx(0.005**2)
    twice = measure([1.5], ROD, zero_count=2)
    assert twice.u**2 - plain.u**2 == pytest.approx(2 * 0.005**2)


def test_a_hot_part_is_brought_to_20_degrees():
    # second route: the uncertainties package differentiates the same relation by itself
    hot = PartTemperature(80.0, 23.6e-6, 5.0, 2e-6)
    m = measure([10.15], CALIPER, temperature=hot)
    length = ufloat(10.15, measure([10.15], CALIPER).u)
    exact = length / (1 + ufloat(23.6e-6, 2e-6) * (ufloat(80.0, 5.0) - 20.0))
    assert m.value == pytest.approx(exact.nominal_value, rel=1e-12)
    assert m.u == pytest.approx(exact.std_dev, rel=3e-3)
    at_20 = measure([10.15], CALIPER, temperature=PartTemperature(20.0, 23.6e-6, 1.0))
    assert at_20.value == 10.15
    assert "expansion coefficient" not in names(at_20)


def test_torque_error_grows_with_the_reading():
    driver = Instrument("driver", InstrumentKind.TORQUE_DRIVER, 0.1, relative_error=0.06)
    m = measure([6.0], driver)
    assert m.u == pytest.approx(math.hypot(0.36 / math.sqrt(3), 0.1 / math.sqrt(12)))


def test_a_fixed_coverage_factor_is_kept():
    assert measure([10.15, 10.2], CALIPER, k=2.0).k == 2.0


def test_go_no_go_is_rectangular():
    m = measure_steps(StepReading(1.3, 1.5))
    assert m.value == pytest.approx(1.4)
    assert m.u == pytest.approx(0.1 / math.sqrt(3))
    assert m.n == 1
    with pytest.raises(ValueError, match="only one side"):
        measure_steps(StepReading(1.7, None))


@pytest.mark.parametrize("bad", [[], [math.nan], [10.0, math.inf]])
def test_useless_readings_are_refused(bad):
    with pytest.raises(ValueError, match="finite reading"):
        measure(bad, CALIPER)


@pytest.mark.parametrize(("sd", "dof"), [(-1.0, 8.0), (math.nan, 8.0), (0.01, 0.0)])
def test_useless_repeatability_is_refused(sd, dof):
    with pytest.raises(ValueError, match="repeatability needs"):
        Repeatability(sd, dof)


def test_nothing_to_combine():
    assert combine([]) == (0.0, math.inf)
    assert combine([Contribution("nil", 0.0, 2)]) == (0.0, math.inf)


def test_coverage_factor_of_the_default_probability_is_two():
    assert coverage_factor(math.inf) == pytest.approx(2.0, abs=1e-4)
    assert coverage_factor(1.0) == pytest.approx(13.97, abs=0.01)  # GUM table G.2, recalled


@pytest.mark.parametrize(
    ("value", "U", "text"),
    [
        (10.1537, 0.0254, "10.15 ± 0.03 mm"),
        (10.1, 0.03, "10.10 ± 0.03 mm"),
        (10.1537, 0.0201, "10.15 ± 0.02 mm"),
        (10.1537, 0.0119, "10.154 ± 0.012 mm"),
        (10.1537, 0.0197, "10.154 ± 0.019 mm"),
        (10.1537, 0.097, "10.15 ± 0.10 mm"),
        (10.1537, 0.3, "10.2 ± 0.3 mm"),
        (12350.0, 140.0, "12350 ± 140 mm"),
        (12351.0, 230.0, "12400 ± 300 mm"),
        (-0.0004, 0.02, "0.00 ± 0.02 mm"),
        (0.1 + 0.2, 0.1 + 0.2, "0.3 ± 0.3 mm"),
        (10.1537, None, "10.1537 mm"),
        (10.1537, 0.0, "10.1537 mm"),
    ],
)
def test_shown_digits(value, U, text):
    assert format_measurement(value, U) == text
    assert format_measurement(value, U, ascii_only=True) == text.replace("±", "+-")


def test_no_unit_leaves_no_blank():
    assert format_measurement(1.5, 0.03, "") == "1.50 ± 0.03"


@given(st.floats(1e-6, 1e6))
def test_rounded_uncertainty_never_flatters_and_has_at_most_two_digits(U):
    shown = round_uncertainty(U)
    assert 0.949 * U <= float(shown) <= 2.0 * U
    digits = shown.as_tuple().digits
    while len(digits) > 1 and digits[-1] == 0 and shown == shown.to_integral_value():
        digits = digits[:-1]
    assert len(digits) <= (2 if digits[0] == 1 else 1)


@given(st.floats(-1e4, 1e4), st.floats(1e-4, 1e2))
def test_shown_value_is_within_half_a_step_and_ends_on_the_same_digit(value, U):
    text = format_measurement(value, U, "")
    shown, plus_minus, expanded = text.split()
    assert plus_minus == "±"
    step = Decimal(1).scaleb(round_uncertainty(U).as_tuple().exponent)
    assert abs(Decimal(shown) - Decimal(repr(value))) <= step / 2
    if "." in expanded:
        assert len(shown.split(".")[1]) == len(expanded.split(".")[1])


@pytest.mark.parametrize("U", [0.0, -1.0, math.inf, math.nan])
def test_rounding_refuses_what_is_no_uncertainty(U):
    with pytest.raises(ValueError, match="above zero"):
        round_uncertainty(U)
