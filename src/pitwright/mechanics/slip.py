"""Integrating a slipping clutch: Dormand-Prince 5(4) with events that are found, not stepped over.

A crossing inside a step is found by taking the step anew with a shorter length until the crossing
sits at its end, so that the event is as exact as the steps themselves.

References:
    [1] E. Hairer, S. P. Norsett and G. Wanner, Solving Ordinary Differential Equations I, 2nd ed.,
        II.4 (step size control) and table II.5.2 (Dormand-Prince).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from pitwright.mechanics.errors import RangeError

TOLERANCE = 1e-9
"""Local error allowed per step, relative."""
MOST_STEPS = 20_000
LONGEST = 60.0
"""Seconds after which a launch that has not locked up is given up."""


class State(NamedTuple):
    """Where the launch stands: time [s], speeds [rad/s], engine work and slip heat [J]."""

    time: float
    engine_speed: float
    car_speed: float
    work: float
    heat: float


@dataclass(frozen=True, slots=True)
class Motion:
    """The two torques as functions of engine speed [N m], and the two inertias [kg m^2]."""

    engine_torque: Callable[[float], float]
    clutch_torque: Callable[[float], float]
    engine_inertia: float
    car_inertia: float

    def rates(self, engine_speed: float, car_speed: float) -> tuple[float, float, float, float]:
        """Rates of engine speed, car speed, engine work and slip heat."""
        drive = self.engine_torque(engine_speed)
        passed = self.clutch_torque(engine_speed)
        return (
            (drive - passed) / self.engine_inertia,
            passed / self.car_inertia,
            drive * engine_speed,
            passed * (engine_speed - car_speed),
        )


def integrate(
    motion: Motion,
    start: State,
    low: float,
    high: float,
    kinks: Sequence[float],
    hold_at: float | None,
) -> tuple[State, bool]:
    """Run until the speeds meet, or until the engine comes up to ``hold_at``.

    Args:
        motion: torques and inertias.
        start: first state.
        low, high: engine speeds between which the engine's torque is known [rad/s].
        kinks: engine speeds at which the clutch torque changes its law; steps end there.
        hold_at: engine speed at which to stop, or None.

    Returns:
        The last state, and whether ``hold_at`` was what ended it.

    Raises:
        RangeError: the engine leaves the range of its curve, or the speeds do not meet in time.

    >>> motion = Motion(lambda w: 0.0, lambda w: 5.0, 2.0, 2.0)
    >>> state, _ = integrate(motion, State(0.0, 10.0, 0.0, 0.0, 0.0), 0.0, 20.0, [], None)
    >>> round(state.time, 9), round(state.heat, 9)
    (2.0, 50.0)
    """
    state = start
    if hold_at is not None and state.engine_speed >= hold_at:
        return state, True
    pending = list(kinks)
    speed_unit = start.engine_speed
    energy_unit = 0.5 * (motion.engine_inertia + motion.car_inertia) * speed_unit**2
    units = (speed_unit, speed_unit, energy_unit, energy_unit)
    rate = motion.rates(state.engine_speed, state.car_speed)
    fastest = max(abs(rate[0]), rate[1], 1e-9 * speed_unit)
    length = 0.01 * speed_unit / fastest
    for _ in range(MOST_STEPS):
        new, error = _step(motion, state, length, units)
        if error > 1.0:
            length *= max(0.2, 0.9 * error**-0.2)
            continue
        taken, event = length, None
        for name, gap in _gaps(pending, hold_at):
            if (gap(state) < 0 <= gap(new)) or (name == "kink" and gap(state) > 0 >= gap(new)):
                taken, event = _shorten(motion, state, taken, units, gap), name
                new, _ = _step(motion, state, taken, units)
        if not low * (1 - 1e-12) <= new.engine_speed <= high * (1 + 1e-12):
            raise RangeError(
                "engine",
                new.engine_speed,
                "runs off its torque curve before the clutch locks: extend the curve",
            )
        went_up = new.engine_speed > state.engine_speed
        if event == "kink":
            pending = [
                kink
                for kink in pending
                if (kink > new.engine_speed * (1 + 1e-12)) == went_up
                and abs(kink - new.engine_speed) > 1e-12 * kink
            ]
        elif event is not None:
            return new, event == "hold"
        state = new
        if state.time > LONGEST:
            break
        length *= min(5.0, 0.9 * max(error, 1e-8) ** -0.2)
    raise RangeError("engine", state.engine_speed, "does not bring the clutch to lock-up")


Gap = Callable[[State], float]


def _gaps(kinks: Sequence[float], hold_at: float | None) -> list[tuple[str, Gap]]:
    """Functions of the state that pass zero at an event; the earliest in a step is kept."""
    gaps: list[tuple[str, Gap]] = [("meet", lambda s: s.car_speed - s.engine_speed)]
    if hold_at is not None:
        gaps.append(("hold", lambda s: s.engine_speed - hold_at))
    for kink in kinks:
        gaps.append(("kink", lambda s, kink=kink: s.engine_speed - kink))  # type: ignore[misc]
    return gaps


def _shorten(
    motion: Motion, state: State, length: float, units: Sequence[float], gap: Gap
) -> float:
    """Step length that ends on the crossing (Illinois rule)."""
    a, b = 0.0, length
    fa, fb = gap(state), gap(_step(motion, state, length, units)[0])
    best, side = (abs(fb), b), 0
    for _ in range(100):
        if fb == fa:
            break
        middle = b - fb * (b - a) / (fb - fa)
        if not a < middle < b:
            break
        f = gap(_step(motion, state, middle, units)[0])
        best = min(best, (abs(f), middle))
        if f == 0:
            break
        if (f > 0) == (fb > 0):
            b, fb = middle, f
            fa, side = (0.5 * fa if side == 1 else fa), 1
        else:
            a, fa = middle, f
            fb, side = (0.5 * fb if side == -1 else fb), -1
    return best[1]


def _step(motion: Motion, state: State, h: float, units: Sequence[float]) -> tuple[State, float]:
    """One Dormand-Prince step of length h, and its error in units of what is allowed."""
    rates = motion.rates
    time, e, c, work, heat = state
    e1, c1, w1, q1 = rates(e, c)
    e2, c2, _, _ = rates(e + h * 0.2 * e1, c + h * 0.2 * c1)
    e3, c3, w3, q3 = rates(
        e + h * (3 / 40 * e1 + 9 / 40 * e2),
        c + h * (3 / 40 * c1 + 9 / 40 * c2),
    )
    e4, c4, w4, q4 = rates(
        e + h * (44 / 45 * e1 - 56 / 15 * e2 + 32 / 9 * e3),
        c + h * (44 / 45 * c1 - 56 / 15 * c2 + 32 / 9 * c3),
    )
    e5, c5, w5, q5 = rates(
        e + h * (19372 / 6561 * e1 - 25360 / 2187 * e2 + 64448 / 6561 * e3 - 212 / 729 * e4),
        c + h * (19372 / 6561 * c1 - 25360 / 2187 * c2 + 64448 / 6561 * c3 - 212 / 729 * c4),
    )
    e6, c6, w6, q6 = rates(
        e
        + h * (9017 / 3168 * e1 - 355 / 33 * e2 + 46732 / 5247 * e3 + 49 / 176 * e4)
        - h * 5103 / 18656 * e5,
        c
        + h * (9017 / 3168 * c1 - 355 / 33 * c2 + 46732 / 5247 * c3 + 49 / 176 * c4)
        - h * 5103 / 18656 * c5,
    )

    def advance(k1: float, k3: float, k4: float, k5: float, k6: float) -> float:
        return h * (
            35 / 384 * k1 + 500 / 1113 * k3 + 125 / 192 * k4 - 2187 / 6784 * k5 + 11 / 84 * k6
        )

    new = State(
        time + h,
        e + advance(e1, e3, e4, e5, e6),
        c + advance(c1, c3, c4, c5, c6),
        work + advance(w1, w3, w4, w5, w6),
        heat + advance(q1, q3, q4, q5, q6),
    )
    e7, c7, w7, q7 = rates(new.engine_speed, new.car_speed)

    def error(k1: float, k3: float, k4: float, k5: float, k6: float, k7: float) -> float:
        return abs(
            h
            * (
                71 / 57600 * k1
                - 71 / 16695 * k3
                + 71 / 1920 * k4
                - 17253 / 339200 * k5
                + 22 / 525 * k6
                - 1 / 40 * k7
            )
        )

    worst = max(
        error(e1, e3, e4, e5, e6, e7) / units[0],
        error(c1, c3, c4, c5, c6, c7) / units[1],
        error(w1, w3, w4, w5, w6, w7) / units[2],
        error(q1, q3, q4, q5, q6, q7) / units[3],
    )
    return new, worst / TOLERANCE
