import math

import pytest

from pitwright.metrology.instruments import Instrument, InstrumentKind, step_reading

CALIPER = Instrument("caliper", InstrumentKind.CALIPER, 0.01, 0.02)
TOOL = Instrument(
    "depth tool",
    InstrumentKind.STEP_TOOL,
    steps=(1.1, 1.2, 1.3, 1.5, 1.7),
    max_permissible_error=0.01,
)


def test_resolution_and_error_are_rectangular():
    assert CALIPER.u_resolution == pytest.approx(0.01 / math.sqrt(12))
    assert CALIPER.u_error(10.0) == pytest.approx(0.02 / math.sqrt(3))
    assert CALIPER.u_zero == CALIPER.u_resolution


def test_a_stated_zero_uncertainty_wins():
    zeroed = Instrument("c", InstrumentKind.CALIPER, 0.01, 0.02, zero_uncertainty=0.004)
    assert zeroed.u_zero == 0.004


def test_torque_error_is_relative():
    driver = Instrument("driver", InstrumentKind.TORQUE_DRIVER, 0.1, relative_error=0.06)
    assert driver.u_error(5.0) == pytest.approx(0.3 / math.sqrt(3))


@pytest.mark.parametrize(
    "figures",
    [
        {"resolution": -0.01},
        {"resolution": math.nan},
        {"resolution": 0.01, "max_permissible_error": math.inf},
        {},
        {"resolution": 0.01, "steps": (1.2, 1.1)},
    ],
)
def test_impossible_tools_are_refused(figures):
    with pytest.raises(ValueError, match="thing"):
        Instrument("thing", InstrumentKind.CALIPER, **figures)


def test_a_step_tool_needs_steps():
    with pytest.raises(ValueError, match="two steps"):
        Instrument("tool", InstrumentKind.STEP_TOOL, resolution=0.1)


def test_step_reading_brackets_and_is_widened_by_the_tool_error():
    reading = step_reading(TOOL, 1.3)
    assert (reading.low, reading.high) == (pytest.approx(1.29), pytest.approx(1.51))
    assert reading.closed


def test_step_reading_is_open_past_the_ends():
    assert step_reading(TOOL, None).low is None
    assert step_reading(TOOL, None).high == pytest.approx(1.11)
    assert step_reading(TOOL, 1.7).high is None
    assert not step_reading(TOOL, 1.7).closed


@pytest.mark.parametrize("step", [1.0, 1.4, 2.0, math.nan])
def test_a_step_the_tool_lacks_is_refused(step):
    with pytest.raises(ValueError, match="no step"):
        step_reading(TOOL, step)


def test_steps_of_a_caliper_are_refused():
    with pytest.raises(ValueError, match="has no steps"):
        step_reading(CALIPER, 1.0)
