"""Whether the generic card's answers could be true of a clutch of this class, and why."""

import math

import pytest

from pitwright.mechanics import clutch as c
from pitwright.mechanics.engine import torque_from_points
from pitwright.mechanics.launch import HeatSink, grip_torque, launch, reflected_inertia
from pitwright.mechanics.lockup import lock_up_speed

KRPM = 1000 * math.pi / 30


@pytest.fixture(scope="module")
def engine():
    # A 3.5 cm^3 two-stroke gives near 1.8 kW at 33 000 rpm (common practice, no source), so about
    # 0.5 N m there, and less below.
    return torque_from_points(
        [
            (6 * KRPM, 0.22),
            (12 * KRPM, 0.32),
            (20 * KRPM, 0.42),
            (28 * KRPM, 0.5),
            (38 * KRPM, 0.42),
        ]
    )


def test_bite_lies_between_idle_and_half_of_peak_speed(generic):
    # Such an engine idles at 8 to 11 thousand and peaks above 30 (common practice, no source): a
    # bite below idle would creep on the grid, one above half of peak would slip all the way.
    assert 10 * KRPM < c.bite_speed(generic) < 17 * KRPM


def test_let_go_leaves_room_above_idle_but_not_much(generic):
    # Wedge and faces at mu 0.1 return about half of the force, so the speed falls by about a
    # quarter. At an idle of 8 500 the clutch is free; at 9 500 it would drag after each stop.
    ratio = c.let_go_speed(generic) / c.bite_speed(generic)
    assert 0.65 < ratio < 0.85
    assert not c.drags_at_idle(generic, 8.5 * KRPM)
    assert c.drags_at_idle(generic, 9.5 * KRPM)


def test_lock_up_lies_where_the_engine_pulls(generic, engine):
    # Above the bite, or it would grab; below peak power, or it would never stop slipping.
    lock = lock_up_speed(generic, engine)
    assert 1.2 * c.bite_speed(generic) < lock < 28 * KRPM


def test_spring_force_is_one_a_hand_tool_can_set(generic):
    # Some 50 N, five kilograms: a nut turned with a small key, not with a press.
    assert 20 < c.force_at_bell(generic) < 120


def test_shoes_press_no_harder_than_their_lining_bears(generic, engine):
    # Three shoes of about 8 by 20 mm. Dry linings bear about 1 MPa (Khurmi takes 0.1 for big slow
    # clutches, makers of small ones go to 1; recalled).
    force = c.normal_force_rising(generic, lock_up_speed(generic, engine))
    assert 0.05e6 < force / (3 * 8e-3 * 20e-3) < 1e6


class TestLaunch:
    @pytest.fixture(scope="class")
    def arguments(self, generic, engine):
        # Engine side: crank and a 35 g flywheel of 15 mm radius, 0.5 m r^2 = 3.9e-6, and the shoes.
        # Car: 2.5 kg, 77 mm tyres, clutch turns 6 times per wheel turn in first gear.
        return generic, engine, 4.5e-6, reflected_inertia(2.5, 38.5e-3, 6.0), 8.5 * KRPM

    def test_full_throttle(self, arguments):
        run = launch(*arguments, grip=grip_torque(1.2, 2.5 * 9.81, 38.5e-3, 6.0))
        # 0.4 N m at the clutch is 62 N on a 2.5 kg car, two and a half g: more than any tyre holds,
        # so full throttle spins the wheels. With tyres that held it would take half a second.
        assert run.wheelspin
        assert 0.2 < run.time < 1.0
        # From standstill about as much goes into heat as into the car: half the lock-up speed
        # squared times the car's inertia, some 200 J.
        car = 0.5 * arguments[3] * run.lock_speed**2
        assert run.slip_energy == pytest.approx(car, rel=0.1)
        assert 100 < run.slip_energy < 400

    def test_held_at_the_grip(self, arguments):
        grip = grip_torque(1.2, 2.5 * 9.81, 38.5e-3, 6.0)
        run = launch(*arguments, grip=grip, hold_grip=True)
        assert not run.wheelspin
        # At 1.2 g the car needs (wheel speed at lock-up) / (1.2 g): a fraction of a second to one.
        wheel = run.lock_speed / 6.0 * 38.5e-3
        assert run.time == pytest.approx(wheel / (1.2 * 9.81), rel=0.1)
        assert 0.5 < run.time < 1.5
        assert 80 < run.slip_energy < 250

    def test_one_launch_warms_and_does_not_burn(self, arguments):
        # A 20 g steel bell takes 10 J per kelvin: one launch warms it by about 10 K, while a main
        # of hundreds of launches and corners makes it too hot to touch.
        run = launch(*arguments, heat_sink=HeatSink(20e-3, 486.0, 1000.0))
        assert 3 < run.bell_rise < 30
        assert 5 < run.shoe_rise < 80
