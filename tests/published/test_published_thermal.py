"""Heat and lengths. "Seen": read from a copy and recomputed. "Recalled": from memory.

Tolerances are half a unit in the last printed digit unless a remark says otherwise.
"""

import tomllib
from importlib.resources import files

import pytest

from pitwright.mechanics.thermal import (
    SPECIFIC_HEAT,
    Part,
    elongation,
    hot_end_play,
    temperature_rise,
)


def test_callister_expansion():
    """Callister, table B.6, seen, 1e-6/K: alloy steel 4140 12.3, as the template has it."""
    template = files("pitwright.store").joinpath("templates", "clutch.toml").read_text("utf-8")
    for part in tomllib.loads(template)["shims"]["hot"]:
        assert part["expansion"]["value"] == "0.0000123 1/K"


def test_callister_specific_heat():
    """Callister, 8th ed., table 19.1, seen, J/(kg K)."""
    table = {"aluminium": 900.0, "steel": 486.0, "brass": 375.0}
    assert {metal: SPECIFIC_HEAT[metal] for metal in table} == table


def test_nist_tn_1900_e13():
    """NIST TN 1900, example E13, seen: copper bar 1.4999 m at 288.15 K, 1.5021 m at 373.10 K.

    The expansion is printed as 1.7266e-5, so the bar may differ by half of its last digit.
    """
    assert elongation(1.4999, 1.7266e-5, 373.10 - 288.15) == pytest.approx(
        1.5021 - 1.4999, abs=1.4999 * (373.10 - 288.15) * 5e-10
    )


def test_two_bars_close_a_gap():
    """A physics forum's worked problem, seen: brass 2.0 m and aluminium 1.0 m, gap 1.3 mm.

    The gap closes after 21.3 K (printed with three digits).
    """
    for rise, sign in ((21.25, 1), (21.35, -1)):
        bars = [Part(2.0, 19e-6, rise), Part(1.0, 23e-6, rise)]
        assert sign * hot_end_play(1.3e-3, bars) > 0


def test_bridge():
    """A school page's example, seen: 200 m of steel, 12e-6, 20 C to -30 C and to 40 C."""
    assert elongation(200.0, 12e-6, -50.0) == pytest.approx(-12.0e-2, abs=5e-4)
    assert elongation(200.0, 12e-6, 20.0) == pytest.approx(4.8e-2, abs=5e-4)


def test_long_bridge():
    """A physics forum's worked problem, seen: 215 m, 18 cm, 12e-6 -> 69.767 K."""
    assert elongation(215.0, 12e-6, 69.767) == pytest.approx(0.18, abs=215 * 12e-6 * 5e-4)


def test_warming_aluminium():
    """A school page's example, seen: 13 500 J warm 3 kg of aluminium (0.90 J/gK) by 5 K."""
    assert temperature_rise(13500.0, 3.0, SPECIFIC_HEAT["aluminium"]) == pytest.approx(
        5.0, abs=1e-9
    )


def test_callister_wire():
    """Callister, problem 19.4, recalled: 10 m of aluminium wire from 38 C to -1 C, -9.2 mm."""
    assert elongation(10.0, 23.6e-6, -39.0) * 1e3 == pytest.approx(-9.2, abs=0.05)
