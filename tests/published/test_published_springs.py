"""Springs, and the straight line that rates and the nut's pitch are read from.

"Seen": numbers read from a copy and recomputed. "Recalled": from memory.
Tolerances are half a unit in the last printed digit unless a remark says otherwise.
"""

import math
from pathlib import Path

import pytest

from pitwright.mechanics.lines import fit_line
from pitwright.mechanics.springs import (
    MUSIC_WIRE_A_MPA_MM,
    MUSIC_WIRE_M,
    EndType,
    active_coils,
    bergstraesser_factor,
    index,
    music_wire_shear_modulus,
    rate,
    shear_stress,
    solid_length,
    strength_coefficient,
    stress_at_solid,
    tensile_strength,
    wahl_factor,
)

INCH = 0.0254
LBF = 4.4482216152605
PSI = LBF / INCH**2


class TestShigleyProblem10Dash3:
    """Shigley's Mechanical Engineering Design, 10th ed., problem 10-3, seen. 0.1 %."""

    d, OD, Nt, G = 2.5e-3, 31e-3, 14.0, 81e9
    D = OD - d

    def close(self, value: float) -> object:
        return pytest.approx(value, rel=1e-3)

    def test_geometry(self):
        assert index(self.d, self.D) == self.close(11.4)
        assert active_coils(self.Nt, EndType.PLAIN_GROUND) == 13.0
        assert solid_length(self.d, self.Nt, EndType.PLAIN_GROUND) == self.close(35e-3)

    def test_rate(self):
        assert rate(self.G, self.d, self.D, 13.0) == self.close(1.314e3)

    def test_strength(self):
        A = strength_coefficient(MUSIC_WIRE_A_MPA_MM, MUSIC_WIRE_M)
        Sut = tensile_strength(A, MUSIC_WIRE_M, self.d)
        assert Sut == self.close(1936e6)
        assert 0.45 * Sut == self.close(871.2e6)

    def test_force_to_solid_and_free_length(self):
        C = index(self.d, self.D)
        factor = bergstraesser_factor(C)
        assert factor == self.close(1.117)
        per_newton = shear_stress(1.0, self.d, self.D, factor)
        Fs = 871.2e6 / per_newton
        assert Fs == self.close(167.9)
        free = Fs / rate(self.G, self.d, self.D, 13.0) + 35e-3
        assert free == self.close(162.8e-3)
        k = rate(self.G, self.d, self.D, 13.0)
        assert stress_at_solid(k, 162.8e-3, 35e-3, self.d, self.D, factor) == self.close(871.2e6)


@pytest.mark.parametrize(("C", "percent", "half_digit"), [(4.0, 1.36, 5e-3), (12.0, 0.743, 5e-4)])
def test_shigley_problem_10_dash_1(C, percent, half_digit):
    """Shigley, 10th ed., problem 10-1, seen: 100 (Kw - KB) / Kw."""
    Kw, factor = wahl_factor(C), bergstraesser_factor(C)
    assert 100 * (Kw - factor) / Kw == pytest.approx(percent, abs=half_digit)


def test_sadhu_singh_8_dash_3():
    """Sadhu Singh, Machine Design I, example 8.3, seen."""
    F, d, C, coils, G = 40.0, 3e-3, 6.0, 15.0, 84e9
    Kw = wahl_factor(C)
    assert Kw == pytest.approx(1.2525, abs=5e-5)
    assert shear_stress(F, d, C * d, Kw) / 1e6 == pytest.approx(85.05, abs=5e-3)
    assert rate(G, d, C * d, coils) / 1e3 == pytest.approx(9.72, abs=5e-3)


@pytest.mark.parametrize(
    ("inches", "G"),
    [
        (0.020, 82.7e9),
        (0.032, 82.7e9),
        (0.033, 81.7e9),
        (0.063, 81.7e9),
        (0.064, 81.0e9),
        (0.125, 81.0e9),
        (0.126, 80.0e9),
    ],
)
def test_shigley_table_10_dash_5(inches, G):
    """Shigley, 9th ed., table 10-5, music wire, seen."""
    assert music_wire_shear_modulus(inches * INCH) == G


class TestShigleyExample10Dash1:
    """Shigley, 9th ed., example 10-1, recalled; 0.5 % as it is from memory."""

    d = 0.037 * INCH
    D = (7 / 16 - 0.037) * INCH
    G = 11.85e6 * PSI
    Na = active_coils(12.5, EndType.SQUARED)

    def test_rate(self):
        k = rate(self.G, self.d, self.D, self.Na)
        assert k / (LBF / INCH) == pytest.approx(4.13, rel=5e-3)

    def test_solid_length(self):
        assert solid_length(self.d, 12.5, EndType.SQUARED) / INCH == pytest.approx(0.5, rel=5e-3)

    def test_load_and_free_length(self):
        A = 201e3 * PSI * INCH**0.145
        Ssy = 0.45 * tensile_strength(A, 0.145, self.d)
        factor = bergstraesser_factor(index(self.d, self.D))
        load = Ssy / shear_stress(1.0, self.d, self.D, factor)
        assert load / LBF == pytest.approx(6.46, rel=5e-3)
        y = load / rate(self.G, self.d, self.D, self.Na)
        free = y + solid_length(self.d, 12.5, EndType.SQUARED)
        assert free / INCH == pytest.approx(2.06, rel=5e-3)


class TestThermometerOfTheGuide:
    """Propagation of uncertainty: GUM (JCGM 100:2008) H.3, seen in a metrology library's example.

    A fitted line's covariance carried to a prediction outside the readings.
    """

    t = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
    b = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
    line = fit_line([t - 20.0 for t in t], b)

    def test_coefficients(self):
        assert self.line.intercept == pytest.approx(-0.1712, abs=5e-5)
        assert self.line.u_intercept == pytest.approx(0.0029, abs=5e-5)
        assert self.line.slope == pytest.approx(0.00218, abs=5e-6)
        assert self.line.u_slope == pytest.approx(0.00067, abs=5e-6)

    def test_correlation_and_scatter(self):
        r = self.line.covariance / (self.line.u_intercept * self.line.u_slope)
        assert r == pytest.approx(-0.930, abs=5e-4)
        assert self.line.residual_sd == pytest.approx(0.0035, abs=5e-5)

    def test_prediction_at_30(self):
        value, u = self.line.at(10.0)
        assert value == pytest.approx(-0.1494, abs=5e-5)
        assert u == pytest.approx(0.0041, abs=5e-5)


def test_pearson_data_with_york_weights():
    """T. M. Huber, fits of Pearson's data with York's weights, results seen, data recalled.

    Uncertainties in y only: 6.100 +- 0.205, -0.6108 +- 0.0300, reduced chi-square 4.29; scaled by
    its root 0.424 and 0.0623, which is the form this fit gives when readings disagree.
    """
    x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
    y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
    weights = [1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0]
    line = fit_line(x, y, [1 / math.sqrt(w) for w in weights])
    assert line.intercept == pytest.approx(6.100, abs=5e-4)
    assert line.slope == pytest.approx(-0.6108, abs=5e-5)
    assert line.u_intercept == pytest.approx(0.424, abs=5e-4)
    assert line.u_slope == pytest.approx(0.0623, abs=5e-5)
    chi2 = (line.u_intercept / 0.205) ** 2
    # 0.205 is printed to half a unit in its third digit, which chi-square doubles.
    assert chi2 == pytest.approx(4.29, rel=2 * 5e-4 / 0.205 + 5e-3 / 4.29)


def test_norris():
    """NIST StRD, Norris, certified values seen; the data ship inside scipy."""
    scipy = pytest.importorskip("scipy")
    folder = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress"
    if not (folder / "Norris.dat").exists():
        pytest.skip("this scipy comes without its test data")
    rows = (folder / "Norris.dat").read_text().splitlines()[60:]
    pairs = [tuple(map(float, row.split())) for row in rows if row.strip()]
    assert len(pairs) == 36
    line = fit_line([x for _, x in pairs], [y for y, _ in pairs])
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)
    assert line.u_intercept == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.u_slope == pytest.approx(0.429796848199937e-03, rel=1e-11)
