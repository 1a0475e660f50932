"""Metrology against published numbers; 'recalled' marks numbers written from memory."""

import math

import pytest
from scipy import stats
from uncertainties import ufloat

from pitwright.metrology.instruments import Instrument, InstrumentKind
from pitwright.metrology.spread import Spread
from pitwright.metrology.uncertainty import (
    Contribution,
    Measurement,
    PartTemperature,
    Repeatability,
    combine,
    coverage_factor,
    measure,
)
from pitwright.metrology.verdict import Limits, conformance_probability, guard_band, judge
from pitwright.student import t_quantile, t_rectangular_quantile

# GUM (JCGM 100:2008) H.1, the end gauge: standard uncertainties in nm with degrees of freedom.
# Result seen (31.66, printed 32; 16.75, printed 16); the lines of the budget recalled. They are
# printed in two or three digits: combined as printed they give 31.6656 and 16.7530, and the GUM
# rounds the first to 32 and cuts the second to 16.
END_GAUGE = (
    Contribution("standard", 25.0, 18),
    Contribution("repeated observations", 5.8, 24),
    Contribution("comparator, random", 3.9, 5),
    Contribution("comparator, systematic", 6.7, 8),
    Contribution("difference in expansion", 2.9, 50),
    Contribution("difference in temperature", 16.6, 2),
)


def test_gum_h1_end_gauge():
    u, dof = combine(END_GAUGE)
    assert u == pytest.approx(31.6656, abs=5e-5)
    assert dof == pytest.approx(16.7530, abs=5e-5)
    assert (round(u), math.floor(dof)) == (32, 16)
    # GUM H.1.6: t(99 %, 16) = 2.92 and U = 93 nm
    assert coverage_factor(16, 0.99) == pytest.approx(2.92, abs=0.005)
    assert round(coverage_factor(16, 0.99) * 32) == 93


def test_gum_h1_second_route_uncertainties():
    total = sum(ufloat(0.0, line.u) for line in END_GAUGE)
    assert combine(END_GAUGE)[0] == pytest.approx(total.std_dev, rel=1e-12)


def test_gum_h1_second_route_gtc():
    gtc = pytest.importorskip("GTC")
    total = sum(gtc.ureal(0.0, line.u, df=line.dof) for line in END_GAUGE)
    u, dof = combine(END_GAUGE)
    assert u == pytest.approx(total.u, rel=1e-12)
    assert dof == pytest.approx(total.df, rel=1e-9)


def test_a_whole_measurement_second_route_gtc():
    gtc = pytest.importorskip("GTC")
    readings = [10.15, 10.18, 10.16, 10.17]
    caliper = Instrument("caliper", InstrumentKind.CALIPER, 0.01, 0.02)
    hot = PartTemperature(60.0, 12e-6, 3.0, 1e-6)
    mine = measure(readings, caliper, zero_count=1, temperature=hot)
    mean = gtc.type_a.estimate(readings)
    read = (
        mean
        + gtc.ureal(0.0, gtc.type_b.uniform(0.005))
        + gtc.ureal(0.0, gtc.type_b.uniform(0.02))
        - gtc.ureal(0.0, gtc.type_b.uniform(0.005))
    )
    full = read / (1 + gtc.ureal(12e-6, 1e-6) * (gtc.ureal(60.0, 3.0) - 20.0))
    assert mine.value == pytest.approx(full.x, rel=1e-12)
    assert mine.u == pytest.approx(full.u, rel=1e-3)
    assert mine.dof == pytest.approx(full.df, rel=5e-3)


# GUM table G.2, seen: p, degrees of freedom, t
@pytest.mark.parametrize(("p", "dof", "t"), [(0.95, 1, 12.71), (0.9973, 5, 5.51), (0.90, 20, 1.72)])
def test_gum_table_g2(p, dof, t):
    assert coverage_factor(dof, p) == pytest.approx(t, abs=0.005)
    assert coverage_factor(dof, p) == pytest.approx(stats.t.ppf(0.5 + p / 2, dof), rel=1e-9)


def test_jcgm_106_zener_diode():
    # recalled: breakdown voltage -5.47 V, u 0.05 V, upper limit -5.40 V -> 0.92
    assert conformance_probability(-5.47, Spread(0.05), Limits(high=-5.40)) == pytest.approx(
        0.92, abs=0.005
    )


def test_jcgm_106_oil_viscosity():
    # recalled: 13.6, u 1.8, tolerance 12.5 to 16.3 -> 0.66
    chance = conformance_probability(13.6, Spread(1.8), Limits(low=12.5, high=16.3))
    assert chance == pytest.approx(0.66, abs=0.005)


def test_iso_14253_guard_band():
    # ISO 14253-1:2017 default, recalled: 95 % at a single limit, guard band about 1.65 u
    assert guard_band(Spread(1.0)) == pytest.approx(1.65)
    assert guard_band(Spread(1.0)) == pytest.approx(t_quantile(0.95, math.inf), abs=0.006)
    inside = Measurement(9.0 + 0.0165, 0.01, math.inf, 2.0, 1, None, math.inf, ())
    verdict = judge(inside, Limits(low=9.0))
    assert verdict.word == "good"
    assert verdict.p_conform == pytest.approx(0.95, abs=0.001)


def test_nist_tn_1900_e13_expansion():
    # NIST TN 1900 E13, seen: 1.4999 m at 288.15 K is 1.5021 m at 373.10 K, alpha 1.7266e-5 1/K
    bar = PartTemperature(373.10, 1.7266e-5, reference=288.15)
    assert bar.to_reference(1.5021) == pytest.approx(1.4999, abs=2e-5)


def test_nist_numacc1():
    # NIST StRD NumAcc1: 10000001 10000003 10000002 -> mean 10000002, sd 1
    tool = Instrument("counter", InstrumentKind.CALIPER, 1.0)
    m = measure([10000001.0, 10000003.0, 10000002.0], tool)
    assert m.value == 10000002.0
    assert m.sd == 1.0
    assert m.budget[-1].u == pytest.approx(1.0 / math.sqrt(3.0), rel=1e-15)


def test_card_repeatability_dof_is_a_quarter_uncertain():
    # GUM G.4.2, equation G.3: dof = 1/2 (relative uncertainty of u)^-2; 25 % -> 8 (printed example)
    assert Repeatability(0.01).dof == pytest.approx(0.5 * 0.25**-2)


def test_jcgm_101_a_wide_rectangle_among_narrow_errors():
    # JCGM 101:2008, 9.2.4, recalled: three errors of u = 1 and a rectangular one of u = 10 give u =
    # 10.1 and a 95 % interval of +- 17.0 by their distributions, +- 19.9 by the normal one. The
    # three narrow ones are rectangles too; three of them are near enough a normal error.
    half, u = 10.0 * math.sqrt(3.0), math.sqrt(103.0)
    assert u == pytest.approx(10.1, abs=0.06)
    reach = t_rectangular_quantile(0.975, math.sqrt(3.0), math.inf, half)
    assert reach == pytest.approx(17.0, abs=0.05)
    assert t_quantile(0.975, math.inf) * u == pytest.approx(19.9, abs=0.05)


def test_gum_table_g2_two_readings_of_a_tool_without_error():
    # GUM table G.2, seen: 12.71 for one degree of freedom and 95 %
    mean_of_two = Spread(0.01, 1.0, 0.01, 1.0)
    assert mean_of_two.quantile(0.975) == pytest.approx(0.1271, abs=5e-5)
