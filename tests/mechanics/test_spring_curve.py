"""A spring's own curve: against scipy, against the straight line, and through the clutch."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import isotonic_regression

from pitwright.mechanics.bite import bite_slopes, recess_for_bite
from pitwright.mechanics.clutch import Clutch, bite_speed, near_solid
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.monotone import cubic_pieces, rising
from pitwright.mechanics.spring_curve import Squeeze, fit_curve
from pitwright.mechanics.states import States

FREE, SOLID, K = 10.2e-3, 8.0e-3, 30.6e3
ROOM = FREE - SOLID
CLUTCH = Clutch(
    shoes=3, shoe_mass=1.2e-3, mass_radius=11e-3, clearance=0.25e-3, bell_radius=15e-3,
    wedge_angle=math.radians(45), wedge_friction=0.1, face_friction=0.1, bell_friction=0.3,
    spring_rate=K, free_length=FREE, solid_length=SOLID, recess_bottomed=2.125e-3, recess=1.35e-3,
    mass_lost_per_wear=0.28, worn=0.05e-3, softening=2.6e-4, spring_temperature_rise=20.0,
)  # fmt: skip


def squeezes(law, shares, u_length=0.0, u_force=0.0):
    return [Squeeze(FREE - s * ROOM, K * ROOM * law(s), u_length, u_force) for s in shares]


def stiff(s):
    return s + 0.8 * max(0.0, s - 0.7) ** 1.5


CURVED = fit_curve(squeezes(stiff, (0.35, 0.5, 0.65, 0.8, 0.9, 0.96)), FREE, SOLID, K, 900.0)


def test_the_cubics_are_scipys():
    # Data of Fritsch and Carlson 1980, table 1, RPN 15A (recalled).
    x = [7.99, 8.09, 8.19, 8.7, 9.2, 10.0, 12.0, 15.0, 20.0]
    y = [0.0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994]
    pieces, other = cubic_pieces(list(zip(x, y, strict=True))), PchipInterpolator(x, y)
    for (start, c0, c1, c2, c3), end in zip(pieces, x[1:], strict=True):
        for at in np.linspace(start, end, 7):
            d = at - start
            assert c0 + d * (c1 + d * (c2 + d * c3)) == pytest.approx(float(other(at)), abs=1e-13)


def test_the_pooling_is_scipys():
    rng = np.random.default_rng(5)
    for _ in range(50):
        values, weights = rng.normal(size=9).cumsum(), rng.uniform(0.1, 3.0, 9)
        expected = isotonic_regression(values, weights=weights).x
        assert rising(list(values), list(weights)) == pytest.approx(list(expected), abs=1e-12)


def test_the_pooling_is_that_of_rs_help_page():
    # R, help page of isoreg, first example (recalled); by hand: (1 + 0) / 2, then 21 / 7.
    found = rising([1.0, 0.0, 4.0, 3.0, 3.0, 5.0, 4.0, 2.0, 0.0], [1.0] * 9)
    assert found == pytest.approx([0.5, 0.5, *[3.0] * 7])


def test_a_straight_spring_comes_back_as_one_rate():
    fit = fit_curve(squeezes(lambda s: s, (0.4, 0.6, 0.9)), FREE, SOLID, K, 900.0)
    assert fit.rate == pytest.approx(K)
    for s in np.linspace(0, 1, 21):
        assert fit.curve.at(s) == pytest.approx(s, abs=1e-12)
    assert bite_speed(replace(CLUTCH, curve=fit.curve)) == pytest.approx(bite_speed(CLUTCH))


def test_it_goes_through_what_was_measured_and_never_falls():
    for s in (0.35, 0.5, 0.65, 0.8, 0.9, 0.96):
        assert CURVED.curve.at(s) == pytest.approx(stiff(s), abs=1e-9)
    values = [CURVED.curve.at(s) for s in np.linspace(0, 1, 501)]
    assert values[0] == 0.0
    assert min(np.diff(values)) > 0
    for s in (0.02, 0.4, 0.77, 0.93, 1.0):
        assert CURVED.curve.share_at(CURVED.curve.at(s)) == pytest.approx(s, abs=1e-12)
        step = 1e-6
        by_difference = (CURVED.curve.at(s) - CURVED.curve.at(s - step)) / step
        assert CURVED.curve.slope(s) == pytest.approx(by_difference, rel=1e-4)


def test_a_stiffening_spring_bites_later_and_is_known_near_solid():
    curved = replace(CLUTCH, curve=CURVED.curve, recess=1.6e-3)
    straight = replace(curved, curve=None)
    assert near_solid(straight)
    assert not near_solid(curved)
    assert bite_speed(curved) > bite_speed(straight) * 1.005
    assert recess_for_bite(curved, bite_speed(curved)) == pytest.approx(1.6e-3, abs=1e-12)


@pytest.mark.parametrize("recess", [0.9e-3, 1.35e-3, 1.6e-3])
def test_the_slopes_are_those_of_the_bite(recess):
    clutch = replace(CLUTCH, curve=CURVED.curve, recess=recess)
    slopes = bite_slopes(clutch)
    names = {f.name for f in fields(clutch)}
    assert "curve_shift" in slopes
    for name in set(slopes) & names - {"s_scale"}:
        at = getattr(clutch, name)
        step = 1e-5 * at if at else 1e-9
        high, low = (bite_speed(replace(clutch, **{name: at + d})) for d in (step, -step))
        assert slopes[name] == pytest.approx((high - low) / (2 * step), rel=1e-4, abs=1e-6), name


def test_many_states_follow_the_curve_of_one():
    clutch = replace(CLUTCH, curve=CURVED.curve)
    lengths, worn = np.array([10.2e-3, 10.1e-3, 10.0e-3]), np.array([0.0, 0.02e-3, 0.05e-3])
    found = States(clutch, lengths, worn, rise=20.0).bite(1.5e-3)
    for bite, length, wear in zip(found, lengths, worn, strict=True):
        one = replace(clutch, free_length=float(length), worn=float(wear), recess=1.5e-3)
        assert bite == pytest.approx(bite_speed(one), rel=1e-5)
    back = States(clutch, lengths, worn, rise=20.0).recess_for(found)
    assert back == pytest.approx(np.full(3, 1.5e-3), abs=1e-8)


def unsure(curve, *shares):
    """Standard uncertainty of the shape at a share, or of its difference between two."""
    first, *rest = (curve.doubts(s) for s in shares)
    for other in rest:
        first = {n: first.get(n, 0.0) - other.get(n, 0.0) for n in {*first, *other}}
    return math.hypot(*first.values())


LAWS = {
    "late and hard": lambda s: s + 3.0 * max(0.0, s - 0.85) ** 1.5,
    "early": lambda s: s + 0.5 * max(0.0, s - 0.6) ** 2,
    "coil by coil": lambda s: s + 0.5 * max(0.0, s - 0.75) + max(0.0, s - 0.9),
    "soft ends": lambda s: s - 0.02 * (1 - min(s / 0.3, 1.0)) * min(s / 0.1, 1.0),
    "one rate": lambda s: s,
}


def test_the_doubt_of_the_shape_holds_laws_the_curve_does_not_know():
    """How often twice the doubt holds what an exact scale would have read between squeezes."""
    rng, held, tried = np.random.default_rng(3), dict.fromkeys(LAWS, 0), 0
    for _ in range(60):
        shares = np.sort(rng.uniform(0.2, 0.95, rng.integers(2, 6)))
        shares[0] = rng.uniform(0.35, 0.65)
        asked = rng.uniform(0.05, 0.98, 20)
        tried += len(asked)
        for name, law in LAWS.items():
            curve = fit_curve(squeezes(law, sorted(shares)), FREE, SOLID, K, 900.0).curve
            for s in asked:
                off = abs(curve.share_at(law(s)) - s)
                held[name] += off <= 2 * unsure(curve, s) + 0.002
    assert min(held.values()) >= 0.93 * tried, held


def test_the_doubt_of_the_shape_is_nothing_at_a_squeeze_and_no_less_with_one_left_out():
    shares = (0.35, 0.5, 0.65, 0.8, 0.9)
    whole = fit_curve(squeezes(stiff, shares), FREE, SOLID, K, 900.0).curve
    assert all(unsure(whole, s) == pytest.approx(0.0, abs=1e-7) for s in (0.0, *shares))
    for left_out in shares[1:]:
        kept = [s for s in shares if s != left_out]
        fewer = fit_curve(squeezes(stiff, kept), FREE, SOLID, K, 900.0).curve
        for s in np.linspace(0, 1, 101):
            assert unsure(fewer, s) >= unsure(whole, s) - 1e-7
            apart = (s, min(s + 0.15, 1.0))
            assert unsure(fewer, *apart) >= 0.97 * unsure(whole, *apart) - 1e-7


def test_scale_and_card_are_weighed_by_their_doubts():
    stiffer = squeezes(lambda s: 1.04 * s, (0.4, 0.6, 0.9), u_force=1.0)
    rough = [replace(each, u_force=20.0) for each in stiffer]
    sure, unsure = (fit_curve(p, FREE, SOLID, K, 900.0) for p in (stiffer, rough))
    assert K < unsure.rate < sure.rate < 1.04 * K
    assert unsure.weight < sure.weight < 1


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([(9.1e-3, 33.0)], "at least two"),
        ([(9.1e-3, 33.0), (7.9e-3, 80.0)], "between solid"),
        ([(9.1e-3, 33.0), (10.3e-3, 1.0)], "between solid"),
        ([(9.1e-3, 33.0), (8.5e-3, 30.0)], "falls from 33 N to 30 N"),
        ([(8.4e-3, 55.0), (8.2e-3, 66.0)], "between 9.54 and 8.66 mm"),
    ],
)
def test_what_cannot_be_is_refused(points, reason):
    with pytest.raises(RangeError, match=reason):
        fit_curve([Squeeze(*each, 0.01e-3, 0.3) for each in points], FREE, SOLID, K, 900.0)


def test_the_point_without_force_is_the_free_length():
    worn = [Squeeze(10.0e-3, 0.0), Squeeze(9.0e-3, 30.0), Squeeze(8.5e-3, 45.0)]
    assert fit_curve(worn, FREE, SOLID, K, 1e6).rate == pytest.approx(30.0e3, rel=1e-6)
