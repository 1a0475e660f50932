"""Torque, clamp and friction: what must hold for any screw."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import threads
from pitwright.mechanics.errors import RangeError

loads = st.floats(1.0, 1e4)
diameters = st.floats(2e-3, 12e-3)
pitches = st.floats(0.25e-3, 1.5e-3)
frictions = st.floats(0.02, 0.4)


@given(st.floats(0.05, 0.5), loads, diameters)
def test_clamp_load_undoes_torque(K, load, d):
    torque = threads.tightening_torque(K, load, d)
    assert threads.clamp_load(torque, K, d) == pytest.approx(load, rel=1e-12)


@given(loads, diameters, pitches)
def test_without_friction_the_work_is_kept(load, dm, lead):
    """One turn of torque lifts the load by one lead."""
    torque = threads.screw_torque(load, dm, lead, 0.0)
    assert 2 * math.pi * torque == pytest.approx(load * lead, rel=1e-12)
    assert threads.screw_back_torque(load, dm, lead, 0.0) == pytest.approx(-torque, rel=1e-12)


@given(loads, diameters, pitches, frictions)
def test_square_thread_by_angles(load, dm, lead, mu):
    """Second route: F dm/2 tan(lambda +- phi) with lead angle lambda and friction angle phi."""
    lam, phi = math.atan(lead / (math.pi * dm)), math.atan(mu)
    up = load * dm / 2 * math.tan(lam + phi)
    down = load * dm / 2 * math.tan(phi - lam)
    assert threads.screw_torque(load, dm, lead, mu) == pytest.approx(up, rel=1e-9)
    back = threads.screw_back_torque(load, dm, lead, mu)
    assert back == pytest.approx(down, rel=1e-9, abs=1e-12 * load)


@given(loads, diameters, pitches, frictions)
def test_a_vee_thread_rubs_more(load, dm, lead, mu):
    square = threads.screw_torque(load, dm, lead, mu)
    assert threads.screw_torque(load, dm, lead, mu, half_angle=math.pi / 6) > square


@given(loads, diameters, pitches, frictions, st.floats(0.0, 0.3))
def test_collar_adds_its_own(load, dm, lead, mu, mu_collar):
    bare = threads.screw_torque(load, dm, lead, mu)
    with_collar = threads.screw_torque(load, dm, lead, mu, mu_collar=mu_collar, d_collar=2 * dm)
    assert with_collar - bare == pytest.approx(load * mu_collar * dm, rel=1e-7, abs=1e-9 * load)


def test_a_fine_adjuster_thread_stays_put_where_a_steep_one_runs_back():
    assert threads.screw_back_torque(60.0, 9e-3, 0.75e-3, 0.1) > 0
    assert threads.screw_back_torque(60.0, 9e-3, 8e-3, 0.1) < 0


def test_nut_factor_is_the_friction_it_stands_for():
    """K = T/(F d) of a plain M3 with 0.15 in thread and under the head lies near 0.2."""
    torque = threads.screw_torque(
        1.0, 2.675e-3, 0.5e-3, 0.15, half_angle=math.pi / 6, mu_collar=0.15, d_collar=4.4e-3
    )
    assert torque / 3e-3 == pytest.approx(0.2, abs=0.02)


@given(diameters, pitches)
def test_stress_area_from_the_thread_triangle(d, P):
    """Second route, ISO 68-1: H = sqrt(3)/2 P, d2 = d - 3/4 H, d3 = d - 17/12 H."""
    H = math.sqrt(3) / 2 * P
    mean = (d - 3 / 4 * H + d - 17 / 12 * H) / 2
    if d > P / 0.8:
        # The standard prints the two factors in five decimals: 1e-5 P of a diameter, twice.
        assert threads.stress_area(d, P) == pytest.approx(
            math.pi / 4 * mean**2, rel=2e-5 * P / mean
        )


def test_window_lies_between_its_shares():
    window = threads.torque_window(0.2, 3e-3, 2920.0)
    assert threads.clamp_load(window.low, 0.2, 3e-3) == pytest.approx(0.60 * 2920, rel=1e-12)
    assert threads.clamp_load(window.high, 0.2, 3e-3) == pytest.approx(0.75 * 2920, rel=1e-12)


def test_a_stronger_or_larger_screw_bears_more():
    sizes = list(threads.PROOF_LOADS)
    for size in sizes:
        row = list(threads.PROOF_LOADS[size].values())
        assert row == sorted(row)
    for grade in ("8.8", "10.9", "12.9"):
        column = [threads.proof_load(size, grade) for size in sizes]
        assert column == sorted(column)


def test_caution_defers_to_the_maker():
    assert "maker" in threads.CAUTION
    assert "crank" in threads.CAUTION


@given(st.floats(0.001, 0.5), st.floats(0.01, 0.5))
def test_a_taper_holds_when_its_back_force_would_be_negative(half_angle, mu):
    """Second route: a wedge slides out when tan(half angle) exceeds tan of the friction angle."""
    slides = half_angle >= math.atan(mu)
    if abs(half_angle - math.atan(mu)) > 1e-9:
        assert threads.self_holding(half_angle, mu) is not slides


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: threads.tightening_torque(0.01, 100.0, 3e-3), "K"),
        (lambda: threads.stress_area(3e-3, 3e-3), "P"),
        (lambda: threads.screw_torque(10.0, 1e-3, 5e-3, 0.9), "mu"),
        (lambda: threads.torque_window(0.2, 3e-3, 2920.0, 0.8, 0.7), "share_low"),
        (lambda: threads.torque_window(0.2, 3e-3, 2920.0, 0.8, 1.2), "share_high"),
        (lambda: threads.taper_half_angle(-0.1), "taper"),
        (lambda: threads.self_holding(-0.1, 0.1), "half_angle"),
    ],
)
def test_what_is_out_of_range_is_named(call, argument):
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.argument == argument
