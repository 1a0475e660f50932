"""The spring: physics that must hold for any spring, and what is refused."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import springs
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.springs import EndType
from pitwright.mechanics.squeeze import rate_from_squeeze

wires = st.floats(0.5e-3, 3e-3)
indices = st.floats(3.0, 20.0)
coils = st.floats(2.0, 30.0)
moduli = st.floats(60e9, 90e9)


@given(moduli, wires, indices, coils)
def test_rate_by_castigliano(G, d, C, Na):
    """Second route: energy of a bar in torsion, k = F^2 / (2 U), U = T^2 L / (2 G J)."""
    D = C * d
    torsion, length = D / 2, math.pi * D * Na
    J = math.pi * d**4 / 32
    compliance = torsion**2 * length / (G * J)
    assert springs.rate(G, d, D, Na) == pytest.approx(1 / compliance, rel=1e-12)


@given(moduli, wires, indices, coils, st.floats(0.5, 2.0))
def test_rate_scales_with_size(G, d, C, Na, scale):
    """A spring twice as large in every length is twice as stiff."""
    once = springs.rate(G, d, C * d, Na)
    assert springs.rate(G, d * scale, C * d * scale, Na) == pytest.approx(once * scale, rel=1e-12)


@given(indices)
def test_curvature_factors_agree_within_two_percent(C):
    Kw, Kb = springs.wahl_factor(C), springs.bergstraesser_factor(C)
    assert 1 < Kb < Kw < 1.02 * Kb


@given(
    st.floats(10e-3, 11e-3), st.floats(7e-3, 8e-3), st.floats(1.8e-3, 2.3e-3), st.floats(0, 1.7e-3)
)
def test_deeper_is_tighter_and_one_for_one(L_free, L_solid, bottomed, recess):
    C = springs.cavity_from_bottomed(L_solid, bottomed)
    x = springs.preload(L_free, C, recess)
    assert springs.preload(L_free, C, recess + 1e-4) == pytest.approx(x + 1e-4, abs=1e-15)
    assert springs.preload(L_free - 2e-4, C, recess + 2e-4) == pytest.approx(x, abs=1e-15)


@given(st.floats(7e-3, 8e-3), st.floats(1.8e-3, 2.3e-3), st.floats(0, 1.7e-3), st.floats(0, 0.3e-3))
def test_margin_is_recess_left_less_travel(L_solid, bottomed, recess, travel):
    C = springs.cavity_from_bottomed(L_solid, bottomed)
    margin = springs.coil_bind_margin(C, recess, L_solid, travel)
    assert margin == pytest.approx(bottomed - recess - travel, abs=1e-15)


def test_bottomed_out_leaves_no_margin_and_full_preload():
    C = springs.cavity_from_bottomed(7.5e-3, 2.125e-3)
    assert springs.coil_bind_margin(C, 2.125e-3, 7.5e-3) == pytest.approx(0.0, abs=1e-15)
    assert springs.preload(10.2e-3, C, 2.125e-3) == pytest.approx(10.2e-3 - 7.5e-3, abs=1e-15)


def test_trade_settings_lie_on_one_line():
    """Common practice, no source: new spring (10.2, 1.5) and run-in spring (10.0, 1.7)."""
    C = 9.625e-3
    new, run_in = springs.preload(10.2e-3, C, 1.5e-3), springs.preload(10.0e-3, C, 1.7e-3)
    assert new == pytest.approx(run_in, abs=1e-15)


def test_a_loose_spring_shows_as_negative_preload_and_has_no_force():
    x = springs.preload(9.0e-3, 9.625e-3, 0.1e-3)
    assert x == pytest.approx(-0.525e-3, abs=1e-15)
    with pytest.raises(RangeError) as caught:
        springs.force(30e3, x)
    assert caught.value.argument == "x"


@pytest.mark.parametrize(
    ("end", "active", "solid"),
    [
        (EndType.PLAIN, 10.0, 11.0),
        (EndType.PLAIN_GROUND, 9.0, 10.0),
        (EndType.SQUARED, 8.0, 11.0),
        (EndType.SQUARED_GROUND, 8.0, 10.0),
    ],
)
def test_ends(end, active, solid):
    """Shigley, table 10-1: dead coils and solid length of ten coils of 1 mm wire."""
    assert springs.active_coils(10.0, end) == active
    assert springs.solid_length(1e-3, 10.0, end) == pytest.approx(solid * 1e-3, rel=1e-15)
    assert springs.solid_length(1e-3, 10.0, end.value) == springs.solid_length(1e-3, 10.0, end)


def test_strength_coefficient_gives_the_same_strength_in_either_unit():
    A = springs.strength_coefficient(2211.0, 0.145)
    for mm in (0.5, 1.5, 3.0):
        in_table_units = 2211.0 / mm**0.145
        assert springs.tensile_strength(A, 0.145, mm * 1e-3) == pytest.approx(
            in_table_units * 1e6, rel=1e-12
        )


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: springs.rate(81e9, 2e-3, 2e-3, 4.0), "D"),
        (lambda: springs.active_coils(2.0, EndType.SQUARED), "Nt"),
        (lambda: springs.wahl_factor(1.0), "C"),
        (lambda: springs.bergstraesser_factor(0.75), "C"),
        (lambda: springs.stress_at_solid(30e3, 7e-3, 7.5e-3, 1.5e-3, 9e-3), "L_free"),
        (lambda: springs.installed_length(9e-3, 9e-3), "recess"),
        (lambda: springs.music_wire_shear_modulus(7e-3), "d"),
        (lambda: springs.coil_bind_margin(9e-3, 1e-3, 7e-3, -1e-6), "travel"),
    ],
)
def test_what_is_out_of_range_is_named(call, argument):
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.argument == argument


class TestSqueeze:
    @given(
        st.floats(5e3, 80e3),
        st.floats(8e-3, 12e-3),
        st.floats(0.1e-3, 1e-3),
        st.floats(0.1e-3, 1e-3),
    )
    def test_two_points_are_exact(self, k, L_free, first, more):
        points = [(L_free - x, k * x) for x in (first, first + more)]
        fit = rate_from_squeeze(points)
        assert fit.rate == pytest.approx(k, rel=1e-8)
        assert fit.free_length == pytest.approx(L_free, rel=1e-9)
        assert fit.standard_error is None

    def test_more_points_by_scipy(self):
        stats = pytest.importorskip("scipy.stats")
        lengths = [9.8e-3, 9.4e-3, 9.1e-3, 8.7e-3, 8.3e-3]
        forces = [12.4, 24.1, 33.9, 45.6, 58.3]
        fit = rate_from_squeeze(list(zip(lengths, forces, strict=True)))
        reference = stats.linregress(lengths, forces)
        assert fit.rate == pytest.approx(-reference.slope, rel=1e-11)
        assert fit.standard_error == pytest.approx(reference.stderr, rel=1e-9)
        assert fit.free_length == pytest.approx(-reference.intercept / reference.slope, rel=1e-11)

    @given(st.permutations([0, 1, 2, 3]))
    def test_order_does_not_matter(self, order):
        points = [(9.8e-3, 12.4), (9.4e-3, 24.1), (9.1e-3, 33.9), (8.7e-3, 45.6)]
        fit = rate_from_squeeze([points[i] for i in order])
        assert fit.rate == pytest.approx(rate_from_squeeze(points).rate, rel=1e-11)

    @pytest.mark.parametrize(
        "points",
        [
            [],
            [(9e-3, 30.0)],
            [(9e-3, 30.0), (9e-3, 31.0)],
            [(9e-3, 30.0), (8e-3, 20.0)],
            [(9e-3, 30.0), (8e-3, 20.0), (7e-3, 10.0)],
            [(9e-3, 30.0), (8e-3, math.nan)],
            [(9e-3, 30.0), (-8e-3, 40.0)],
            [(9e-3, 30.0)] * 3,
        ],
    )
    def test_senseless_squeezes_are_refused(self, points):
        with pytest.raises(RangeError) as caught:
            rate_from_squeeze(points)
        assert caught.value.argument == "points"


@given(wires, indices, st.floats(1.0, 500.0), st.floats(1.0, 500.0))
def test_stress_is_proportional_to_force(d, C, F, more):
    ratio = springs.shear_stress(F, d, C * d) / springs.shear_stress(more, d, C * d)
    assert ratio == pytest.approx(F / more, rel=1e-12)
