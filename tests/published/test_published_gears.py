"""Gears and road speed. "Seen": read from a copy and recomputed. "Recalled": from memory.

Tolerances are half a unit in the last printed digit unless a remark says otherwise.
"""

import math

import pytest

from pitwright.mechanics.gears import (
    backlash,
    centre_distance,
    final_drive,
    pitch_diameter,
    road_speed,
)

RPM = math.pi / 30


def test_jindal_25_dash_1():
    """Jindal, Machine Design, 25-1, seen: module 5, 25 and 60 teeth."""
    assert pitch_diameter(5e-3, 25) == pytest.approx(125e-3, rel=1e-12)
    assert pitch_diameter(5e-3, 60) == pytest.approx(300e-3, rel=1e-12)
    assert centre_distance(5e-3, 25, 60) == pytest.approx(212.5e-3, rel=1e-12)


def test_standard_spur_gear():
    """A gear maker's technical reference, standard spur gear of module 3, 12 and 24 teeth.

    Recalled: pitch diameters 36 and 72, centre distance 54.
    """
    assert pitch_diameter(3e-3, 12) == pytest.approx(36e-3, rel=1e-12)
    assert pitch_diameter(3e-3, 24) == pytest.approx(72e-3, rel=1e-12)
    assert centre_distance(3e-3, 12, 24) == pytest.approx(54e-3, rel=1e-12)


def test_backlash_from_centre_distance():
    """Centre distance opened by 0.1 mm at 212.5 mm, 20 degrees, seen: 0.0728 mm."""
    assert backlash(0.1e-3) * 1e3 == pytest.approx(0.0728, abs=5e-5)


@pytest.mark.parametrize(
    ("rpm", "drive", "diameter", "kmh"),
    [
        # A tool page's worked example, seen: 3.90 final drive, 0.71 top gear, 195/65R15.
        (3000, 0.71 * 3.90, 0.6345, 129.6),
        # A car club's worked example, seen: circumference 2.288 m, 0.76 and 4.10.
        (2200, 0.76 * 4.10, 2.288 / math.pi, 96.9),
    ],
)
def test_road_speed(rpm, drive, diameter, kmh):
    assert road_speed(rpm * RPM, drive, diameter) * 3.6 == pytest.approx(kmh, abs=0.05)


def test_ring_and_pinion():
    """The same tool page, seen: a 39-tooth ring on a 10-tooth pinion gives 3.90."""
    assert final_drive(10, 39) == pytest.approx(3.90, rel=1e-12)
