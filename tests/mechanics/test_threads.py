"""Torque, clamp and friction: what must hold for any screw."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import threads
from pitwright.mechanics.errors import RangeError

loads = st.floats(1.0, 1e4)
diameters = st.floats(2e-3, 12e-3)


@given(st.floats(0.05, 0.5), loads, diameters)
def test_clamp_load_undoes_torque(K, load, d):
    torque = threads.tightening_torque(K, load, d)
    assert threads.clamp_load(torque, K, d) == pytest.approx(load, rel=1e-12)


def test_nut_factor_is_the_friction_it_stands_for():
    """K = T/(F d) of a plain M3 with 0.15 in thread and under the head lies near 0.2."""
    # Shigley, eq. 8-1, 8-5 and 8-6: thread 2.675 mm in the mean, pitch 0.5 mm, head 4.4 mm.
    mean, lead, rub = 2.675e-3, 0.5e-3, 0.15 / math.cos(math.pi / 6)
    thread = mean / 2 * (lead + math.pi * rub * mean) / (math.pi * mean - rub * lead)
    assert (thread + 0.15 * 4.4e-3 / 2) / 3e-3 == pytest.approx(0.2, abs=0.02)


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
