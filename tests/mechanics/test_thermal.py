"""Heat: lengths there and back, and what opens or closes an end play."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwright.mechanics import thermal
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.thermal import Part

lengths = st.floats(1e-3, 0.1)
# Callister, table B.6: steel 4140 and aluminium 7075, 1/K.
STEEL, ALUMINIUM = 12.3e-6, 23.4e-6
alphas = st.sampled_from([STEEL, ALUMINIUM])


@given(lengths, alphas, st.floats(-40, 300))
def test_one_metal_throughout_keeps_its_play(L, alpha, rise):
    loop = [
        Part(L, alpha, rise, opens=True),
        Part(0.4 * L, alpha, rise),
        Part(0.6 * L, alpha, rise),
    ]
    assert thermal.hot_end_play(0.25e-3, loop) == pytest.approx(0.25e-3, abs=1e-15)


def test_no_parts_no_change():
    assert thermal.hot_end_play(0.25e-3, []) == 0.25e-3


def test_customary_play_is_not_all_heat():
    """The usual 0.2-0.3 mm (common practice, no source) is far more than heat takes.

    A steel crank stub and an aluminium bell of 20 mm, 80 K warmer, lose under 0.04 mm.
    """
    loop = [
        Part(0.020, STEEL, 80.0, opens=True),
        Part(0.020, ALUMINIUM, 80.0),
    ]
    lost = 0.25e-3 - thermal.hot_end_play(0.25e-3, loop)
    assert 0 < lost < 0.04e-3


def test_a_hot_bell_on_a_cool_shaft_can_bind():
    loop = [Part(0.030, ALUMINIUM, 150.0)]
    assert thermal.hot_end_play(0.05e-3, loop) < 0


@given(st.floats(0.0, 1e4), st.floats(1e-3, 1.0), st.floats(100.0, 1000.0))
def test_heat_in_is_heat_stored(energy, mass, c):
    rise = thermal.temperature_rise(energy, mass, c)
    assert rise * mass * c == pytest.approx(energy, rel=1e-12)


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: thermal.elongation(0.02, 12.3, 80.0), "alpha"),
        (lambda: thermal.elongation(0.0, 12e-6, 80.0), "L"),
        (lambda: thermal.temperature_rise(-1.0, 0.03, 486.0), "energy"),
        (lambda: thermal.temperature_rise(1.0, 0.0, 486.0), "mass"),
    ],
)
def test_what_is_out_of_range_is_named(call, argument):
    with pytest.raises(RangeError) as caught:
        call()
    assert caught.value.argument == argument
