"""The same functions on quantities that carry their unit: the dimension must come out right."""

import math

import pint
import pytest

from pitwright.mechanics import centrifugal, clutch, launch
from pitwright.mechanics.clutch import Clutch

ureg = pint.UnitRegistry()
Q = ureg.Quantity


def _is(value, unit):
    assert value.check(ureg.Unit(unit).dimensionality), f"{value.units} is no {unit}"
    return value.to(unit).magnitude


class TestLaws:
    def test_factors_have_none(self):
        for factor in (centrifugal.opening_factor, centrifugal.closing_factor):
            plain = factor(math.radians(45), 0.1, 0.1)
            assert factor(Q(45, "degree"), 0.1, 0.1) == pytest.approx(plain)

    def test_forces(self):
        force = centrifugal.centrifugal_force(3, Q(1.2, "g"), Q(11.25, "mm"), Q(2000.0, "rad/s"))
        assert _is(force, "newton") == pytest.approx(
            centrifugal.centrifugal_force(3, 1.2e-3, 11.25e-3, 2000.0)
        )

    def test_speeds(self):
        speed = centrifugal.balance_speed(Q(68.0, "N"), 3, Q(1.2, "g"), Q(11.25, "mm"))
        assert _is(speed, "1/s") == pytest.approx(
            centrifugal.balance_speed(68.0, 3, 1.2e-3, 11.25e-3)
        )
        plateau = centrifugal.take_up_speed(
            Q(68.0, "N"), Q(0.4, "N*m"), 0.3, Q(15, "mm"), 3, Q(1.2, "g"), Q(11.25, "mm")
        )
        assert _is(plateau, "1/s") > speed.to("1/s").magnitude

    def test_a_wrong_dimension_does_not_pass(self):
        with pytest.raises(pint.DimensionalityError):
            centrifugal.take_up_speed(
                Q(68.0, "N"), Q(0.4, "N"), 0.3, Q(15, "mm"), 3, Q(1.2, "g"), Q(11.25, "mm")
            )

    def test_capacity(self):
        torque = centrifugal.capacity(0.3, Q(15, "mm"), Q(90.0, "N"))
        assert _is(torque, "N*m") == pytest.approx(0.405)

    def test_launch_helpers(self):
        inertia = launch.reflected_inertia(Q(2500, "g"), Q(38.5, "mm"), 6.0)
        assert _is(inertia, "kg*m^2") == pytest.approx(launch.reflected_inertia(2.5, 0.0385, 6.0))
        grip = launch.grip_torque(1.2, Q(24.5, "N"), Q(38.5, "mm"), 6.0)
        assert _is(grip, "N*m") == pytest.approx(launch.grip_torque(1.2, 24.5, 0.0385, 6.0))


@pytest.fixture(scope="module")
def measured(generic):
    return Clutch(
        shoes=3,
        shoe_mass=Q(1.2, "g"),
        mass_radius=Q(11, "mm"),
        clearance=Q(0.25, "mm"),
        bell_radius=Q(15, "mm"),
        wedge_angle=Q(45, "degree"),
        wedge_friction=0.1,
        face_friction=0.1,
        bell_friction=0.3,
        spring_rate=Q(generic.spring_rate / 1000, "N/mm"),
        free_length=Q(10.2, "mm"),
        solid_length=Q(8.0, "mm"),
        recess_bottomed=Q(2.125, "mm"),
        recess=Q(1.35, "mm"),
        mass_lost_per_wear=Q(0.28, "g/mm"),
        worn=Q(0.05, "mm"),
        softening=Q(3e-4, "1/K"),
        spring_temperature_rise=Q(80.0, "K"),
    )


@pytest.mark.parametrize(
    ("function", "unit"),
    [
        (clutch.shoe_mass_now, "kg"),
        (clutch.clearance_now, "m"),
        (clutch.radius_at_bell, "m"),
        (clutch.rate_now, "N/m"),
        (clutch.preload, "m"),
        (clutch.axial_travel, "m"),
        (clutch.free_travel_left, "m"),
        (clutch.force_at_bell, "N"),
        (clutch.opening_force, "N"),
        (clutch.closing_force, "N"),
        (clutch.bite_speed, "1/s"),
        (clutch.let_go_speed, "1/s"),
        (clutch.inertia_term, "kg*m"),
        (clutch.torque_per_force, "m"),
        (lambda c: clutch.normal_force_rising(c, Q(2000, "1/s")), "N"),
        (lambda c: clutch.normal_force_falling(c, Q(1500, "1/s"), Q(2000, "1/s")), "N"),
        (lambda c: clutch.capacity_rising(c, Q(2000, "1/s")), "N*m"),
        (lambda c: clutch.capacity_falling(c, Q(1500, "1/s"), Q(2000, "1/s")), "N*m"),
        (lambda c: clutch.take_up_speed(c, Q(0.4, "N*m")), "1/s"),
    ],
)
def test_whole_clutch(measured, function, unit):
    assert _is(function(measured), unit) > 0


def test_units_change_no_number(measured, make_clutch):
    plain = make_clutch(worn=0.05e-3, softening=3e-4, spring_temperature_rise=80.0)
    for function in (clutch.bite_speed, clutch.let_go_speed):
        assert _is(function(measured), "1/s") == pytest.approx(function(plain), rel=1e-12)
