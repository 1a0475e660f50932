import math
from dataclasses import fields, replace
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pitwright.mechanics import clutch as c
from pitwright.mechanics.centrifugal import closing_factor, opening_factor
from pitwright.mechanics.errors import RangeError


class TestGenericCard:
    """The numbers that this card must give; each was found by two routes when it was designed."""

    def test_spring(self, generic):
        assert generic.spring_rate == pytest.approx(30.6e3, abs=50)
        assert generic.solid_length == pytest.approx(8.0e-3, rel=1e-12)

    def test_bite_and_let_go(self, generic, rpm):
        assert c.bite_speed(generic) / rpm == pytest.approx(12_350, abs=5)
        assert c.let_go_speed(generic) / rpm == pytest.approx(9_100, abs=10)

    def test_free_travel(self, generic):
        assert c.free_travel_left(generic) == pytest.approx(0.525e-3, abs=1e-12)
        deep = replace(generic, recess=1.7e-3)
        assert c.free_travel_left(deep) == pytest.approx(0.175e-3, abs=1e-12)
        assert not c.near_solid(generic)
        assert c.near_solid(deep)

    @pytest.mark.parametrize(("degrees", "bite"), [(30, 9_498), (60, 17_847)])
    def test_other_wedges(self, make_clutch, rpm, degrees, bite):
        # 45 degrees hides a tangent taken for a cotangent; these two do not.
        clutch = make_clutch(
            wedge_angle=math.radians(degrees), clearance=0.35e-3, shear_modulus=81.0e9
        )
        assert c.bite_speed(clutch) / rpm == pytest.approx(bite, abs=1.0)


@pytest.mark.parametrize("degrees", [20, 30, 45, 60])
@pytest.mark.parametrize(("mu_w", "mu_f"), [(0.0, 0.0), (0.1, 0.1), (0.2, 0.05)])
def test_wedge_factors_against_a_free_body(degrees, mu_w, mu_f):
    # Second route: the shoe as a free body, resolved into components with no friction angle.
    theta = math.radians(degrees)
    for sign, factor in ((+1, opening_factor), (-1, closing_factor)):
        mu = sign * mu_w
        normal = 1.0 / (math.cos(theta) - mu * math.sin(theta))  # axial balance with a unit spring
        radial = normal * (math.sin(theta) + mu * math.cos(theta)) + sign * mu_f
        assert factor(theta, mu_w, mu_f) == pytest.approx(radial, rel=1e-12)


def test_bite_against_a_quasi_static_climb(generic):
    # Second route: let the shoe creep out on the wedge as the speed rises, spring and all.
    theta, steps = generic.wedge_angle, 4000
    speed = 0.0
    for i in range(steps + 1):
        out = generic.clearance * i / steps
        axial = generic.spring_rate * (
            generic.free_length
            - (generic.solid_length + generic.recess_bottomed - generic.recess)
            + out * math.tan(theta)
        )
        normal = axial / (math.cos(theta) - 0.1 * math.sin(theta))
        needed = normal * (math.sin(theta) + 0.1 * math.cos(theta)) + 0.1 * axial
        arm = generic.shoes * generic.shoe_mass * (generic.mass_radius + out)
        speed = max(speed, math.sqrt(needed / arm))
    assert c.bite_speed(generic) == pytest.approx(speed, rel=1e-12)


class TestBranches:
    def test_force_is_zero_at_bite_and_at_let_go(self, generic):
        bite, let_go = c.bite_speed(generic), c.let_go_speed(generic)
        assert c.normal_force_rising(generic, bite) == pytest.approx(0.0, abs=1e-9)
        assert c.normal_force_rising(generic, 0.9 * bite) == 0.0
        assert c.normal_force_falling(generic, let_go, 2 * bite) == pytest.approx(0.0, abs=1e-9)

    def test_falling_holds_then_follows(self, generic):
        peak = 1.5 * c.bite_speed(generic)
        held = c.normal_force_rising(generic, peak)
        assert c.normal_force_falling(generic, peak, peak) == held
        assert c.normal_force_falling(generic, 0.999 * peak, peak) == held
        forces = [c.normal_force_falling(generic, f * peak, peak) for f in (1.0, 0.9, 0.8, 0.7)]
        assert all(a >= b for a, b in pairwise(forces))
        assert forces[-1] > c.normal_force_rising(generic, 0.7 * peak)

    def test_capacity_is_the_textbook_clutch(self, generic):
        speed = 2000.0
        force = 4 * 0.9e-3 * 11.25e-3 * speed**2 - c.opening_force(generic)
        assert c.capacity_rising(generic, speed) == pytest.approx(0.3 * 15e-3 * force, rel=1e-12)
        assert c.capacity_falling(generic, speed, speed) == c.capacity_rising(generic, speed)

    def test_take_up_speed_carries_its_torque(self, generic):
        speed = c.take_up_speed(generic, 0.3)
        assert c.capacity_rising(generic, speed) == pytest.approx(0.3, rel=1e-12)
        assert c.take_up_speed(generic, 0.0) == c.bite_speed(generic)

    def test_peak_below_speed_is_refused(self, generic):
        with pytest.raises(RangeError, match="peak_speed"):
            c.normal_force_falling(generic, 1500.0, 1400.0)


def test_idle_drag(generic):
    let_go = c.let_go_speed(generic)
    assert c.drags_at_idle(generic, let_go * 1.01)
    assert not c.drags_at_idle(generic, let_go * 0.99)


def test_scales_move_force_and_torque(generic):
    stiff = replace(generic, s_scale=1.21)
    assert c.bite_speed(stiff) == pytest.approx(1.1 * c.bite_speed(generic))
    assert c.let_go_speed(stiff) == pytest.approx(1.1 * c.let_go_speed(generic))
    slick = replace(generic, t_scale=2.0)
    assert c.bite_speed(slick) == c.bite_speed(generic)
    assert c.capacity_rising(slick, 2e3) == pytest.approx(c.capacity_rising(generic, 2e3) / 2)


def test_hot_spring_is_softer(generic):
    hot = replace(generic, softening=3e-4, spring_temperature_rise=100.0)
    assert c.rate_now(hot) == pytest.approx(0.97 * generic.spring_rate)
    assert c.bite_speed(hot) == pytest.approx(math.sqrt(0.97) * c.bite_speed(generic))


def test_wear_counts_through_mass_and_clearance(generic):
    worn = replace(generic, worn=0.1e-3)
    assert c.shoe_mass_now(worn) == pytest.approx(0.879e-3)
    assert c.clearance_now(worn) == pytest.approx(0.35e-3)
    by_hand = replace(generic, shoe_mass=0.879e-3, clearance=0.35e-3)
    assert c.bite_speed(worn) == pytest.approx(c.bite_speed(by_hand), rel=1e-12)


class TestRefusals:
    @pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, "1", None])
    def test_no_field_takes_nonsense(self, generic, bad):
        for field in fields(generic):
            if (
                bad is None and field.name in ("s_scale", "t_scale", "curve")
            ) or field.name == "kinds":
                continue
            with pytest.raises(RangeError):
                replace(generic, **{field.name: bad})

    @pytest.mark.parametrize(
        ("changes", "argument", "reason"),
        [
            ({"wedge_angle": math.radians(8)}, "wedge_angle", "self-locking"),
            ({"wedge_angle": math.radians(85)}, "wedge_angle", "90 degrees"),
            ({"recess": 2.2e-3}, "recess", "bottomed"),
            ({"free_length": 8.7e-3}, "recess", "loose"),
            ({"worn": 5e-3}, "worn", "nothing"),
            ({"softening": 0.01, "spring_temperature_rise": 100.0}, "spring_temp", "stiffness"),
            ({"shoe_mass": -1e-3}, "shoe_mass", "above zero"),
            ({"s_scale": 0.0}, "s_scale", "above zero"),
        ],
    )
    def test_states_that_cannot_be(self, generic, changes, argument, reason):
        with pytest.raises(RangeError, match=reason) as caught:
            replace(generic, **changes)
        assert caught.value.argument.startswith(argument)

    def test_spring_that_binds_before_the_bell(self, generic):
        bound = replace(generic, recess=1.95e-3)
        assert c.free_travel_left(bound) == pytest.approx(-0.075e-3)
        with pytest.raises(RangeError, match="binds before"):
            c.bite_speed(bound)

    def test_shoes_that_would_snap_open(self, generic):
        with pytest.raises(RangeError, match="snap open"):
            c.bite_speed(
                replace(generic, wedge_angle=math.radians(15), mass_radius=3e-3, face_friction=0.0)
            )


LENGTHS = (
    "mass_radius",
    "clearance",
    "bell_radius",
    "free_length",
    "solid_length",
    "recess_bottomed",
    "recess",
)


@given(recess=st.floats(0.9e-3, 1.8e-3), more=st.floats(1e-6, 0.05e-3))
def test_bite_rises_with_preload(generic, recess, more):
    low = c.bite_speed(replace(generic, recess=recess))
    assert c.bite_speed(replace(generic, recess=recess + more)) > low


@given(mass=st.floats(0.2e-3, 5e-3), factor=st.floats(1.001, 3.0))
def test_bite_falls_with_shoe_mass(generic, mass, factor):
    light = c.bite_speed(replace(generic, shoe_mass=mass))
    assert c.bite_speed(replace(generic, shoe_mass=mass * factor)) < light


@given(
    degrees=st.floats(25, 70),
    mu_w=st.floats(0, 0.25),
    mu_f=st.floats(0, 0.2),
    recess=st.floats(0.8e-3, 1.4e-3),
)
def test_let_go_never_above_bite(generic, degrees, mu_w, mu_f, recess):
    theta = math.radians(degrees)
    assume(math.tan(theta - math.atan(mu_w)) - mu_f > 1e-6)
    clutch = replace(
        generic, wedge_angle=theta, wedge_friction=mu_w, face_friction=mu_f, recess=recess
    )
    assert c.let_go_speed(clutch) <= c.bite_speed(clutch) * (1 + 1e-12)


@given(worn=st.floats(0, 0.3e-3), more=st.floats(1e-6, 0.1e-3))
def test_more_wear_bites_later(generic, worn, more):
    early = c.bite_speed(replace(generic, worn=worn))
    assert c.bite_speed(replace(generic, worn=worn + more)) > early


@given(length=st.floats(0.01, 100), mass=st.floats(0.01, 100), time=st.floats(0.01, 100))
def test_units_scale(generic, length, mass, time):
    scaled = replace(
        generic,
        **{name: getattr(generic, name) * length for name in LENGTHS},
        shoe_mass=generic.shoe_mass * mass,
        mass_lost_per_wear=generic.mass_lost_per_wear * mass / length,
        spring_rate=generic.spring_rate * mass / time**2,
    )
    assert c.bite_speed(scaled) == pytest.approx(c.bite_speed(generic) / time, rel=1e-9)
    torque = mass * length**2 / time**2
    assert c.capacity_rising(scaled, 2000.0 / time) == pytest.approx(
        c.capacity_rising(generic, 2000.0) * torque, rel=1e-9
    )
