"""One clutch in many states: the same figures as one state at a time, and both ways round."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pitwright.mechanics.bite import recess_for_bite
from pitwright.mechanics.clutch import Clutch, bite_speed, free_travel_left, let_go_speed
from pitwright.mechanics.engine import EngineTorque, constant_torque, torque_from_points
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.mechanics.states import States

BASE = Clutch(
    shoes=4, shoe_mass=0.9e-3, mass_radius=11e-3, clearance=0.35e-3, bell_radius=15e-3,
    wedge_angle=math.radians(38), wedge_friction=0.12, face_friction=0.08, bell_friction=0.3,
    spring_rate=31e3, free_length=10.2e-3, solid_length=8.0e-3, recess_bottomed=2.1e-3,
    recess=1.3e-3, mass_lost_per_wear=0.21, softening=0.00026, s_scale=1.13,
)  # fmt: skip
LENGTHS = np.array([10.2e-3, 10.05e-3, 9.9e-3])
WORN = np.array([0.0, 0.07e-3, 0.2e-3])
RISE = np.array([0.0, 25.0, 70.0])


def one(i: int, recess: float) -> Clutch:
    return replace(BASE, free_length=LENGTHS[i], worn=WORN[i], spring_temperature_rise=RISE[i],
                   recess=recess)  # fmt: skip


@pytest.mark.parametrize("recess", [1.1e-3, 1.3e-3, 1.5e-3])
def test_each_state_is_what_the_single_clutch_says(recess: float) -> None:
    states = States(BASE, LENGTHS, WORN, RISE)
    singles = [one(i, recess) for i in range(3)]
    assert states.bite(recess) == pytest.approx([bite_speed(c) for c in singles], rel=1e-12)
    assert states.let_go(recess) == pytest.approx([let_go_speed(c) for c in singles], rel=1e-12)
    room = states.most_recess - recess
    assert room == pytest.approx([free_travel_left(c) for c in singles], abs=1e-12)
    wanted = [recess_for_bite(c, 1290.0) for c in singles]
    assert states.recess_for(1290.0) == pytest.approx(wanted, rel=1e-12)


def test_the_share_is_a_factor_on_the_force() -> None:
    bite = States(BASE, LENGTHS, WORN).bite(1.3e-3)
    assert States(BASE, LENGTHS, WORN, share=1.21).bite(1.3e-3) == pytest.approx(1.1 * bite)


def test_a_loose_spring_bites_at_nothing() -> None:
    states = States(BASE, np.array([8.2e-3]), np.zeros(1))
    assert states.bite(0.5e-3).tolist() == [0.0]


RPM = 30 / math.pi
ENGINES = {
    "constant": constant_torque(0.4),
    "a curve": torque_from_points(
        [(8000 / RPM, 0.22), (16000 / RPM, 0.35), (24000 / RPM, 0.41), (36000 / RPM, 0.3)]
    ),
}


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES)
@pytest.mark.parametrize("friction", [1.0, 0.85])
def test_lock_up_is_what_the_single_clutch_says(engine: EngineTorque, friction: float) -> None:
    found = States(BASE, LENGTHS, WORN, RISE).lock_up(1.3e-3, engine, friction)
    singles = [replace(one(i, 1.3e-3), bell_friction=0.3 * friction) for i in range(3)]
    assert found == pytest.approx([lock_up_speed(c, engine) for c in singles], abs=0.2)  # 2 rpm


def test_a_clutch_that_never_holds_has_no_lock_up() -> None:
    weak = torque_from_points([(8000 / RPM, 0.3), (14000 / RPM, 0.4)])
    assert np.isnan(States(BASE, LENGTHS, WORN).lock_up(1.3e-3, weak)).all()
    assert lock_up_speed(BASE, weak) is None
