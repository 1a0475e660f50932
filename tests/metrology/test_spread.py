"""The spread of an error against quadrature with scipy, a second route to every number."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from pitwright.metrology.instruments import Instrument, InstrumentKind
from pitwright.metrology.uncertainty import Repeatability, coverage_factor, measure, pooled
from pitwright.student import t_rectangular_quantile, t_rectangular_tail

CALIPER = Instrument("caliper", InstrumentKind.CALIPER, 0.01, 0.02)


def summed_tail(x: float, scale: float, dof: float, half: float) -> float:
    """P(scale T + R > x) by quadrature over the rectangle."""
    told = integrate.quad(
        lambda at: stats.t.sf((x - at) / scale, dof), -half, half, points=[max(-half, min(half, x))]
    )
    return float(told[0]) / (2.0 * half)


@pytest.mark.parametrize("dof", [1.0, 1.5, 2.0, 5.0, 9.0, math.inf])
@pytest.mark.parametrize(("scale", "half"), [(0.1, 1.0), (1.0, 1.0), (3.0, 0.2)])
def test_t_plus_rectangle(dof: float, scale: float, half: float) -> None:
    for x in (-0.7, 0.0, 0.3, 1.2, 5.0):
        expected = summed_tail(x, scale, dof, half)
        assert t_rectangular_tail(x, scale, dof, half) == pytest.approx(expected, abs=2e-7)
    for p in (0.6, 0.95, 0.97725):
        x = t_rectangular_quantile(p, scale, dof, half)
        assert summed_tail(x, scale, dof, half) == pytest.approx(1.0 - p, abs=2e-7)


def test_one_part_alone_is_that_part() -> None:
    assert t_rectangular_tail(2.0, 1.0, 3.0, 0.0) == pytest.approx(stats.t.sf(2.0, 3))
    assert t_rectangular_tail(0.5, 0.0, 3.0, 1.0) == 0.25
    assert t_rectangular_tail(2.0, 0.0, 3.0, 1.0) == 0.0
    assert t_rectangular_quantile(0.95, 2.0, 3.0, 0.0) == pytest.approx(2.0 * stats.t.ppf(0.95, 3))
    assert t_rectangular_quantile(0.95, 0.0, 3.0, 2.0) == pytest.approx(1.8)
    with pytest.raises(ValueError, match="between a half and 1"):
        t_rectangular_quantile(0.3, 1.0, 1.0, 1.0)


def test_two_readings_add_their_t_to_the_tool_s_rectangle() -> None:
    m = measure([10.15, 10.18], CALIPER)
    scatter = 0.03 / math.sqrt(2.0) / math.sqrt(2.0)
    half = math.sqrt(3.0) * math.hypot(0.01 / math.sqrt(12.0), 0.02 / math.sqrt(3.0))
    assert summed_tail(m.U, scatter, 1.0, half) == pytest.approx(0.5 * (1.0 - 0.9545), abs=1e-7)
    assert m.k > coverage_factor(m.dof)
    assert any("a third narrows" in note for note in m.notes)


def test_two_readings_that_agree_are_as_good_as_the_tool() -> None:
    m = measure([10.15, 10.15], CALIPER)
    assert (m.k, m.notes) == (pytest.approx(2.0, abs=1e-4), ())


@pytest.mark.parametrize("sd", [0.003, 0.01, 0.03])
def test_a_known_scatter_and_many_repeats_change_by_no_more_than_rounding(sd: float) -> None:
    known = measure([10.15], CALIPER, repeatability=Repeatability(sd))
    two = measure([10.15, 10.15 + sd], CALIPER, repeatability=Repeatability(sd))
    zigzag = [10.15 + sd * (-1) ** n for n in range(12)]
    for m in (known, two, measure(zigzag, CALIPER)):
        assert 1.0 <= m.k / coverage_factor(m.dof) < 1.025


def test_the_chance_on_either_side_is_one() -> None:
    spread = measure([10.15, 10.18], CALIPER).spread
    for distance in (0.01, 0.05, 0.3):
        assert spread.beyond(distance) + spread.beyond(-distance) == pytest.approx(1.0)
        assert spread.beyond(spread.quantile(0.95)) == pytest.approx(0.05)
    assert spread.beyond(0.05) >= stats.t.sf(0.05 / spread.u, spread.dof)


def test_earlier_repeats_are_pooled_once_there_are_enough() -> None:
    groups = [[10.15, 10.17], [9.98, 10.0, 10.01], [1.4, 1.42]]
    own = [(np.var(g, ddof=1), len(g) - 1) for g in groups]
    expected = math.sqrt(sum(v * n for v, n in own) / 4)
    found = pooled(groups)
    assert found is not None
    assert (found.sd, found.dof) == (pytest.approx(expected), 4.0)
    assert pooled(groups[:2]) is None
    assert pooled([]) is None
