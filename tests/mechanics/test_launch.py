import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import RK45, solve_ivp
from scipy.integrate._ivp.rk import rk_step
from scipy.optimize import brentq

from pitwright.mechanics import clutch as c
from pitwright.mechanics.corner_heat import slip_energy
from pitwright.mechanics.engine import constant_torque, torque_from_points
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.launch import (
    HeatSink,
    grip_torque,
    launch,
    reflected_inertia,
)
from pitwright.mechanics.slip import TOLERANCE, Motion, State, _step, integrate

JE, JC = 4e-6, 1.03e-4
IDLE = 800.0
SINK = HeatSink(bell_mass=0.02, bell_heat_capacity=486.0, shoe_heat_capacity=1000.0)


@pytest.fixture(scope="module")
def engine():
    return torque_from_points(
        [(600.0, 0.20), (1250.0, 0.30), (2100.0, 0.42), (3100.0, 0.45), (4200.0, 0.30)]
    )


def _scipy(clutch, engine, start, grip=None):
    """Second route: scipy's own integrator and events; engine held at the grip limit if given."""
    at_grip = math.inf if grip is None else c.take_up_speed(clutch, grip)

    def rates(_, y):
        passed = c.capacity_rising(clutch, max(y[0], 0.0))
        drive = engine.clamped(y[0])
        if y[0] >= at_grip:
            drive = passed = grip
        return [
            (drive - passed) / JE,
            passed / JC,
            drive * y[0],
            passed * (y[0] - y[1]),
        ]

    def meet(_, y):
        return y[1] - y[0]

    meet.terminal = True
    return solve_ivp(
        rates, (0, 10), [start, 0.0, 0.0, 0.0], method="LSODA", rtol=1e-10, atol=1e-10, events=meet
    )


class TestAgainstScipy:
    @pytest.mark.parametrize("start", [700.0, 1300.0, 1700.0])
    def test_full_throttle(self, generic, engine, start):
        run, second = launch(generic, engine, JE, JC, start), _scipy(generic, engine, start)
        assert run.time == pytest.approx(second.t[-1], rel=1e-6)
        assert run.lock_speed == pytest.approx(second.y[0, -1], rel=1e-6)
        assert run.engine_work == pytest.approx(second.y[2, -1], rel=1e-6)
        assert run.slip_energy == pytest.approx(second.y[3, -1], rel=1e-6)

    def test_holding_the_grip(self, generic, engine):
        run = launch(generic, engine, JE, JC, IDLE, grip=0.2, hold_grip=True)
        second = _scipy(generic, engine, IDLE, grip=0.2)
        assert run.time == pytest.approx(second.t[-1], rel=1e-5)
        assert run.slip_energy == pytest.approx(second.y[3, -1], rel=1e-5)
        assert run.peak_torque == pytest.approx(0.2, rel=1e-9)


class TestClosedForms:
    @pytest.mark.parametrize("torque", [0.15, 0.40, 0.80])
    def test_constant_engine_torque(self, generic, torque):
        # With constant T and capacity q (A w^2 - S), the engine follows a hyperbolic tangent toward
        # its take-up speed, and the car follows from the balance of angular momentum.
        run = launch(generic, constant_torque(torque), JE, JC, IDLE)
        bite, plateau = c.bite_speed(generic), c.take_up_speed(generic, torque)
        wait = JE * (bite - IDLE) / torque
        rate = c.torque_per_force(generic) * c.inertia_term(generic) * plateau / JE
        begin = math.atanh(bite / plateau)

        def engine_speed(t):
            return plateau * math.tanh(rate * t + begin)

        def car_speed(t):
            return (torque * t - JE * (engine_speed(t) - bite)) / JC

        slip = brentq(lambda t: engine_speed(t) - car_speed(t), 1e-6, 50.0, xtol=1e-14)
        assert run.time == pytest.approx(wait + slip, rel=1e-7)
        assert run.lock_speed == pytest.approx(engine_speed(slip), rel=1e-7)
        assert run.plateau_speed == pytest.approx(plateau, rel=1e-9)

    def test_started_on_the_plateau_half_the_work_is_heat(self, generic):
        # Engine speed and both torques stay constant: E = Tc dw^2 / (2 (Tc (1/J1 + 1/J2) - Te/J1)).
        start = c.take_up_speed(generic, 0.4)
        run = launch(generic, constant_torque(0.4), JE, JC, start)
        expected = slip_energy(JE, JC, start, 0.4, 0.4)
        assert run.slip_energy == pytest.approx(expected, rel=1e-7)
        assert run.slip_energy == pytest.approx(run.engine_work / 2, rel=1e-7)

    @settings(max_examples=30)
    @given(
        j1=st.floats(0.1, 10),
        j2=st.floats(0.1, 10),
        difference=st.floats(1, 500),
        drive=st.floats(0, 5),
        excess=st.floats(1.05, 5),
    )
    def test_two_inertias(self, j1, j2, difference, drive, excess):
        passed = excess * max(drive * j2 / (j1 + j2), 0.1)
        motion = Motion(lambda w: drive, lambda w: passed, j1, j2)
        start = State(0.0, difference, 0.0, 0.0, 0.0)
        if passed * (1 / j1 + 1 / j2) - drive / j1 < difference / 50:
            return
        state, _ = integrate(motion, start, -1e9, 1e9, [], None)
        expected = slip_energy(j1, j2, difference, drive, passed)
        assert state.heat == pytest.approx(expected, rel=1e-7)

    def test_without_drive_it_is_the_textbook_formula(self):
        expected = 3.0 * 5.0 * 40.0**2 / (2 * (3.0 + 5.0))
        assert slip_energy(3.0, 5.0, 40.0, 0.0, 7.7) == pytest.approx(expected)


@settings(max_examples=40)
@given(
    start=st.floats(610.0, 3500.0),
    je=st.floats(2e-6, 2e-5),
    jc=st.floats(2e-5, 4e-4),
    grip=st.floats(0.05, 0.6),
    hold=st.booleans(),
)
def test_energy_balance_closes(generic, engine, start, je, jc, grip, hold):
    run = launch(generic, engine, je, jc, start, grip=grip, hold_grip=hold)
    assert run.energy_gap < 1e-6
    assert run.time > 0
    assert run.slip_energy > 0
    if hold:
        assert run.peak_torque <= max(grip, 0.0) * (1 + 1e-9) or run.dips


def test_dips_only_from_above(generic, engine):
    from_idle = launch(generic, engine, JE, JC, IDLE)
    assert not from_idle.dips
    assert from_idle.lock_speed <= from_idle.plateau_speed * (1 + 1e-9)
    revved = launch(generic, engine, JE, JC, 2600.0)
    assert revved.dips
    assert revved.plateau_speed < 2600.0
    assert revved.lock_speed == pytest.approx(revved.plateau_speed, rel=1e-4)
    assert revved.peak_torque == pytest.approx(c.capacity_rising(generic, 2600.0))


def test_wheelspin(generic, engine):
    assert launch(generic, engine, JE, JC, IDLE).wheelspin is None
    assert launch(generic, engine, JE, JC, IDLE, grip=0.2).wheelspin is True
    assert launch(generic, engine, JE, JC, IDLE, grip=0.6).wheelspin is False
    held = launch(generic, engine, JE, JC, IDLE, grip=0.2, hold_grip=True)
    assert held.wheelspin is False
    assert held.plateau_speed == pytest.approx(c.take_up_speed(generic, 0.2))


def test_grip_that_is_never_reached_changes_nothing(generic, engine):
    free = launch(generic, engine, JE, JC, IDLE)
    held = launch(generic, engine, JE, JC, IDLE, grip=0.6, hold_grip=True)
    assert held.time == pytest.approx(free.time, rel=1e-9)
    assert held.slip_energy == pytest.approx(free.slip_energy, rel=1e-9)


def test_heat(generic, engine):
    run = launch(generic, engine, JE, JC, IDLE, heat_sink=SINK)
    assert run.bell_rise == pytest.approx(0.5 * run.slip_energy / (0.02 * 486.0))
    assert run.shoe_rise == pytest.approx(0.5 * run.slip_energy / (3.6e-3 * 1000.0))
    assert launch(generic, engine, JE, JC, IDLE).bell_rise is None
    with pytest.raises(RangeError, match="bell_share"):
        launch(generic, engine, JE, JC, IDLE, heat_sink=replace(SINK, bell_share=1.5))


def test_tighter_steps_do_not_move_the_answer(generic, engine, monkeypatch):
    run = launch(generic, engine, JE, JC, IDLE)
    monkeypatch.setattr("pitwright.mechanics.slip.TOLERANCE", 1e-12)
    tight = launch(generic, engine, JE, JC, IDLE)
    assert run.time == pytest.approx(tight.time, rel=1e-7)
    assert run.slip_energy == pytest.approx(tight.slip_energy, rel=1e-7)


class TestRefusals:
    def test_engine_that_runs_off_its_curve(self, generic):
        short = torque_from_points([(600.0, 0.3), (1500.0, 0.4)])
        with pytest.raises(RangeError, match="runs off"):
            launch(generic, short, JE, JC, IDLE)

    def test_engine_without_torque(self, generic):
        dead = torque_from_points([(600.0, 0.2), (900.0, 0.0), (3000.0, 0.0)])
        with pytest.raises(RangeError, match="does not bring"):
            launch(generic, dead, JE, JC, IDLE)

    def test_start_outside_the_curve(self, generic, engine):
        with pytest.raises(RangeError, match="outside the torque curve"):
            launch(generic, engine, JE, JC, 500.0)

    def test_grip_unknown(self, generic, engine):
        with pytest.raises(RangeError, match="grip"):
            launch(generic, engine, JE, JC, IDLE, hold_grip=True)

    @pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
    def test_nonsense(self, generic, engine, bad):
        for arguments in ((bad, JC, IDLE), (JE, bad, IDLE), (JE, JC, bad)):
            with pytest.raises(RangeError):
                launch(generic, engine, *arguments)
        for function in (reflected_inertia, grip_torque):
            good = [1.0] * (3 if function is reflected_inertia else 4)
            for i in range(len(good)):
                with pytest.raises(RangeError):
                    function(*[*good[:i], bad, *good[i + 1 :]])


def test_car_inertia_by_kinetic_energy():
    # Second route: the same kinetic energy at 10 m/s.
    speed, mass, radius, drive = 10.0, 2.5, 0.0385, 6.2
    clutch_speed = speed / radius * drive
    energy = 0.5 * reflected_inertia(mass, radius, drive) * clutch_speed**2
    assert energy == pytest.approx(0.5 * mass * speed**2)


def test_grip_by_power():
    force, speed, radius, drive = 1.2 * 24.5, 3.0, 0.0385, 6.2
    clutch_speed = speed / radius * drive
    assert grip_torque(1.2, 24.5, radius, drive) * clutch_speed == pytest.approx(force * speed)


def test_a_longer_launch_for_a_heavier_car(generic, engine):
    times = [launch(generic, engine, JE, j, IDLE).time for j in np.linspace(5e-5, 2e-4, 4)]
    assert times == sorted(times)


def test_one_step_is_scipy_s_own_dormand_prince_step():
    motion = Motion(lambda w: 0.3 + 1e-4 * w, lambda w: 2e-7 * w * w, JE, JC)
    start, h = State(0.0, 1300.0, 20.0, 0.0, 0.0), 2e-4

    def rates(_, y):
        return np.array(motion.rates(y[0], y[1]))

    y = np.array([start.engine_speed, start.car_speed, start.work, start.heat])
    k = np.empty((7, 4))
    expected, _ = rk_step(rates, 0.0, y, rates(0.0, y), h, RK45.A, RK45.B, RK45.C, k)
    units = np.array([1.0, 1.0, 1.0, 1.0])
    new, error = _step(motion, start, h, list(units))
    found = (new.engine_speed, new.car_speed, new.work, new.heat)
    assert found == pytest.approx(expected, rel=1e-14)
    assert error * TOLERANCE == pytest.approx(np.abs(h * (k.T @ RK45.E)).max(), rel=1e-6)
