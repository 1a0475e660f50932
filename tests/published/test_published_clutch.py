"""Clutches, cones, wedges and slip heat against printed examples.

"Seen": the numbers were read from a copy and recomputed. "Recalled": from memory.
Tolerances are half a unit in the last printed digit unless a remark says otherwise.
"""

import math

import pytest

from pitwright.mechanics.centrifugal import (
    balance_speed,
    capacity,
    centrifugal_force,
    closing_factor,
    opening_factor,
    take_up_speed,
)
from pitwright.mechanics.clutch import Clutch, bite_speed, capacity_rising, normal_force_rising
from pitwright.mechanics.corner_heat import slip_energy
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.slip import Motion, State, integrate

RPM = math.pi / 30


def _mass_by_torque(power, rpm, ratio, R, r, mu, shoes):
    """Shoe mass for a torque: with S = N m r (ratio w)^2, capacity is linear in m."""
    speed = rpm * RPM
    per_kg = capacity(
        mu,
        R,
        centrifugal_force(shoes, 1.0, r, speed) - centrifugal_force(shoes, 1.0, r, ratio * speed),
    )
    mass = power / speed / per_kg
    opening = centrifugal_force(shoes, mass, r, ratio * speed)
    assert balance_speed(opening, shoes, mass, r) == pytest.approx(ratio * speed)
    assert take_up_speed(opening, power / speed, mu, R, shoes, mass, r) == pytest.approx(speed)
    return mass


def test_khurmi_10_35():
    # Khurmi and Gupta, Theory of Machines, ex. 10.35, seen: 2.275 kg, Pc 2425 N, Ps 1364 N,
    # width 67.5 mm of shoes spanning 60 degrees at 0.1 N/mm^2.
    mass = _mass_by_torque(15e3, 900, 0.75, 0.150, 0.120, 0.25, 4)
    assert mass == pytest.approx(2.275, abs=5e-4)
    speed = 900 * RPM
    outward = centrifugal_force(1, mass, 0.120, speed)
    spring = centrifugal_force(1, mass, 0.120, 0.75 * speed)
    assert outward == pytest.approx(2425, abs=0.5)
    assert spring == pytest.approx(1364, abs=0.5)
    width = (outward - spring) / (0.1e6 * 0.150 * math.radians(60))
    assert width * 1e3 == pytest.approx(67.5, abs=0.05)


def _open_clutch(**fields):
    """A textbook clutch: a frictionless 45 degree wedge makes the axial spring a radial one."""
    return Clutch(
        wedge_angle=math.radians(45),
        wedge_friction=0.0,
        face_friction=0.0,
        solid_length=0.010,
        recess_bottomed=0.030,
        recess=0.010,
        **fields,
    )


def _spring(shoes, force, rate):
    """All shoes' springs as one: rate and free length for a preload at an installed 30 mm."""
    return {"spring_rate": shoes * rate, "free_length": 0.030 + force / rate}


def test_khurmi_10_36():
    # Khurmi and Gupta, ex. 10.36, seen: 36.05 kW (with w = 52.37 in the book), Pc 3619 N,
    # Ps 750 N, 688.5 N m.
    clutch = _open_clutch(
        shoes=4, shoe_mass=8.0, mass_radius=0.160, clearance=0.005, bell_radius=0.200,
        bell_friction=0.3, **_spring(4, 500.0, 50e3),
    )  # fmt: skip
    speed = 500 * RPM
    assert centrifugal_force(1, 8.0, 0.165, speed) == pytest.approx(3619, abs=0.5)
    per_shoe = normal_force_rising(clutch, speed) / 4
    assert centrifugal_force(1, 8.0, 0.165, speed) - per_shoe == pytest.approx(750.0)
    torque = capacity_rising(clutch, speed)
    assert torque == pytest.approx(688.5, abs=0.05)
    assert torque * speed == pytest.approx(36.05e3, abs=5.0)


def test_bhandari_11_12():
    # Bhandari, Design of Machine Elements, ex. 11.12, seen: 2.6806 kg.
    mass = _mass_by_torque(20e3, 750, 500 / 750, 0.165, 0.140, 0.3, 4)
    assert mass == pytest.approx(2.6806, abs=5e-5)


def test_khurmi_exercise_25_kw():
    # Multiple-choice bank after Khurmi, bissoy.com, question 380114, seen: 1.866 kg.
    mass = _mass_by_torque(25e3, 1200, 0.5, 0.100, 0.075, 0.3, 4)
    assert mass == pytest.approx(1.866, abs=5e-4)


def test_khurmi_exercise_with_clearance():
    # Same bank, question 380116, seen: Pc 1684.58 N, Ps 1450 N, 82.1 N m, 3439.31 W. The clearance
    # adds spring travel and radius, as on our clutch. The printed speed is rounded to 41.89 rad/s.
    clutch = _open_clutch(
        shoes=4, shoe_mass=6.0, mass_radius=0.150, clearance=0.010, bell_radius=0.250,
        bell_friction=0.35, **_spring(4, 700.0, 75e3),
    )  # fmt: skip
    assert centrifugal_force(1, 6.0, 0.160, 41.89) == pytest.approx(1684.58, abs=0.05)
    assert bite_speed(clutch) == pytest.approx(math.sqrt(1450.0 / (6.0 * 0.160)), rel=1e-9)
    torque = capacity_rising(clutch, 41.89)
    assert torque == pytest.approx(82.1, abs=0.05)
    assert torque * 41.89 == pytest.approx(3439.31, abs=5e-3)


def test_three_shoes_on_tension_springs():
    # BrainMass question 223190 "Centrifugal clutch", seen: three shoes of 5 kg at 0.2 m, 200 N
    # each, begin to move at 14.14 rad/s, 135 rpm.
    speed = balance_speed(3 * 200.0, 3, 5.0, 0.2)
    assert speed == pytest.approx(14.14, abs=0.005)
    assert speed / RPM == pytest.approx(135, abs=0.5)


def test_cone_khurmi_10_32():
    # Khurmi and Gupta, ex. 10.32, seen: 45 kW at 1000 rpm, 12.5 degrees, D 500 mm, mu 0.2,
    # 0.1 N/mm^2 -> b 54.7 mm, engaging force 3538 N. Pushing the cone in is climbing a wedge: the
    # axial force is the force across the cone times our opening factor, tan(a + phi).
    torque = 45e3 / (1000 * RPM)
    normal = torque / (0.2 * 0.250)
    assert normal / (0.1e6 * 2 * math.pi * 0.250) * 1e3 == pytest.approx(54.7, abs=0.05)
    angle, mu = math.radians(12.5), 0.2
    across = normal * (math.cos(angle) - mu * math.sin(angle))
    assert across * opening_factor(angle, mu, 0.0) == pytest.approx(3538, abs=0.5)


class TestWedgeFriction:
    def test_screw_jack_of_statics(self):
        # Adaptive Books, Statics, problem 5.6.1-2 (screw threads), seen: 10 000 lb on a square
        # thread, two threads per inch, mean diameter 2 in, mu 0.2 -> 2840 in lb.
        helix = math.atan(0.5 / (math.pi * 2.0))
        torque = 10_000 * opening_factor(helix, 0.2, 0.0) * 1.0
        assert torque == pytest.approx(2840, abs=5)

    def test_power_screw_of_khurmi(self):
        # Khurmi and Gupta, ch. 10, power screw (recalled): 75 kN, mean diameter 37 mm, pitch 6 mm,
        # mu 0.1, 300 mm/min -> effort 11.43 kN, torque 211.45 N m, power 1.108 kW. The book goes on
        # from the rounded effort (211.455, cut) and from 50 rpm as 5.24 rad/s.
        helix = math.atan(6 / (math.pi * 37))
        effort = 75e3 * opening_factor(helix, 0.1, 0.0)
        assert effort == pytest.approx(11.43e3, abs=5)
        torque = round(effort, -1) * 18.5e-3
        assert torque == pytest.approx(211.45, abs=5.1e-3)
        assert torque * 5.24 == pytest.approx(1108, abs=0.5)

    @pytest.mark.parametrize("mu", [0.05, 0.1, 0.25])
    def test_a_wedge_stays_in_up_to_twice_its_friction_angle(self, mu):
        # Mathalino, Engineering Mechanics, problem 535 (splitting wedge; problem seen, answer
        # recalled): it stays in the log up to a full angle of 2 phi, a half angle of phi. Our wedge
        # lets go from that half angle on, and holds below it.
        phi = math.atan(mu)
        assert closing_factor(phi * 1.001, mu, 0.0) > 0
        with pytest.raises(RangeError, match="self-locking"):
            closing_factor(phi * 0.999, mu, 0.0)

    def test_overhauling_screw_is_less_than_half_efficient_when_it_locks(self):
        # Shigley, ch. 8 (recalled): a screw that locks itself cannot pass half the work;
        # efficiency is tan(helix) / tan(helix + phi).
        phi = math.atan(0.15)
        assert math.tan(phi) / opening_factor(phi, 0.15, 0.0) < 0.5
        small = math.tan(phi / 50) / opening_factor(phi / 50, math.tan(phi / 50), 0.0)
        assert small == pytest.approx(0.5, abs=1e-3)


def test_khurmi_10_27_clutch_heat():
    # Khurmi and Gupta, ex. 10.27, seen: both sides of a plate, radii 110 and 80 mm, 570 N, mu 0.35;
    # armature 800 kg at 0.2 m, rotor 1300 kg at 0.18 m, 1250 rpm, current off -> 56.51 rad/s after
    # 62.8 s, E 155 794 J (printed 156 000).
    armature, rotor, speed = 800 * 0.2**2, 1300 * 0.18**2, 1250 * RPM
    torque = capacity(0.35, (0.110 + 0.080) / 2, 2 * 570.0)
    motion = Motion(lambda w: 0.0, lambda w: torque, armature, rotor)
    start = State(0.0, speed, 0.0, 0.0, 0.0)
    state, _ = integrate(motion, start, 0.0, 2 * speed, [], None)
    assert state.car_speed == pytest.approx(56.51, abs=5e-3)
    assert state.time == pytest.approx(62.8, abs=0.05)
    assert state.heat == pytest.approx(155_794, abs=0.5)
    energy = slip_energy(armature, rotor, speed, 0.0, torque)
    assert energy == pytest.approx(state.heat, rel=1e-9)


@pytest.mark.parametrize(("j1", "j2", "difference"), [(2.0, 3.0, 10.0), (4e-6, 1e-4, 1800.0)])
def test_two_inertias(j1, j2, difference):
    # The textbook J1 J2 dw^2 / (2 (J1 + J2)), no outside torque; any clutch torque gives the same.
    expected = j1 * j2 * difference**2 / (2 * (j1 + j2))
    for torque in (0.1, 1.0, 7.0):
        found = slip_energy(j1, j2, difference, 0.0, torque)
        assert found == pytest.approx(expected, rel=1e-12)


def test_two_inertias_with_engine_torque():
    # Derived: E = Tc dw^2 / (2 (Tc (1/J1 + 1/J2) - Te/J1)); second route: average slip times Tc
    # times the slip time.
    j1, j2, difference, te, tc = 0.02, 0.35, 90.0, 4.0, 11.0
    closing = tc / j2 - (te - tc) / j1
    time = difference / closing
    assert slip_energy(j1, j2, difference, te, tc) == pytest.approx(tc * difference / 2 * time)
