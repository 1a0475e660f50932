"""What an engine does, by lot: launches of three makes, and everything that is no launch.

``drawn`` launches are straight strokes with rounded corners, so that each of their figures can be
chosen; ``clutch`` launches follow the project's own clutch; ``rolled`` launches have an equation of
motion of their own (throttle that lags, tyres that slip, a car with drag), written without it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

STEP_S = 1e-3
_RPM = 30 / math.pi


@dataclass
class Drive:
    """One engine over time. stand: (start s, end s, rpm) of the take-up, None without one."""

    kind: str
    time_s: np.ndarray
    rpm: np.ndarray
    load: np.ndarray
    car_rpm: np.ndarray | None = None
    car_m_s: np.ndarray | None = None
    stand: tuple[float, float, float] | None = None

    def away(self, start_m: float) -> np.ndarray:
        """Distance of a car that leaves from start_m straight away from the microphone."""
        assert self.car_m_s is not None
        return start_m + np.concatenate(([0.0], np.cumsum(self.car_m_s[:-1]) * STEP_S))


class Strokes:
    """A speed law put together of strokes, straight in time; corners rounded at the end."""

    def __init__(self, rpm: float) -> None:
        self.t, self.r, self.g = [0.0], [rpm], [0.1]

    def to(self, rpm: float, seconds: float, load: float = 0.9) -> Strokes:
        """Go to this speed in so many seconds."""
        self.t.append(self.t[-1] + max(seconds, 2e-3))
        self.r.append(rpm)
        self.g.append(load)
        return self

    def hold(self, seconds: float, load: float = 0.3) -> Strokes:
        """Stay."""
        return self.to(self.r[-1], seconds, load)

    def done(self, kind: str, rng, *, wander: float = 0.003, rounded: int = 9) -> Drive:
        """The law with a slow wander that no engine is without."""
        time_s = np.arange(0, self.t[-1], STEP_S)
        rpm = np.interp(time_s, self.t, self.r)
        half = rounded // 2
        rpm = np.convolve(np.pad(rpm, half, mode="edge"), np.ones(rounded) / rounded, "valid")
        knots = rng.standard_normal(int(self.t[-1] / 0.12) + 3)
        rpm = rpm * np.exp(wander * np.interp(time_s, np.arange(len(knots)) * 0.12, knots))
        load = np.interp(time_s, self.t, self.g)
        return Drive(kind, time_s, rpm, np.clip(load, 0, 1))


def log_uniform(rng, low: float, high: float) -> float:
    """A number between two, even in its logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def drawn_launch(rng, **fixed) -> Drive:
    """A launch of straight strokes.

    fixed: level (rpm), stand_s, drift (relative over the stand), roll_on_s, gap (level less idle,
    rpm), pull (rpm/s at its start), idle_s; what is not given is drawn.
    """
    level = fixed.get("level") or log_uniform(rng, 9_000, 27_000)
    gap = fixed.get("gap")
    idle = level - gap if gap else rng.uniform(0.35, 0.75) * level
    idle = max(idle, 4_800.0)
    stand_s = fixed.get("stand_s") or log_uniform(rng, 0.08, 0.45)
    drift = fixed["drift"] if "drift" in fixed else rng.uniform(-0.01, 0.02)
    roll_on = fixed.get("roll_on_s") or log_uniform(rng, 0.03, 0.12)
    pull = fixed.get("pull") or level * log_uniform(rng, 0.5, 2.0)
    idle_s = fixed["idle_s"] if "idle_s" in fixed else rng.uniform(0.6, 1.6)
    top = min(41_000.0, level * rng.uniform(1.4, 2.0))
    s = Strokes(idle).hold(idle_s, 0.1).to(level * (1 - drift / 2), roll_on)
    a = s.t[-1]
    s.to(level * (1 + drift / 2), stand_s)
    b = s.t[-1]
    begin = s.r[-1]
    rate = pull / begin
    # The pull slackens as drag and power take over.
    seconds = np.log(top / begin) / rate * 1.3
    for part in np.linspace(0, 1, 16)[1:]:
        s.to(begin * (top / begin) ** (1.3 * part - 0.3 * part**2), seconds / 15)
    s.hold(rng.uniform(0.2, 0.5), 0.9).to(0.6 * top, 0.25, 0.0).hold(0.2, 0.2)
    found = s.done("launch", rng, wander=rng.uniform(0.0005, 0.003))
    found.stand = (a, b, level)
    caught_up = level * (found.time_s - a) / (b - a)
    car = np.where(found.time_s < a, 0.0, np.minimum(found.rpm, caught_up))
    found.car_rpm = car
    found.car_m_s = car / level * rng.uniform(3, 8)
    return found


def clutch_launch(rng) -> Drive:
    """A launch of the project's own clutch, drawn, with an engine of constant torque that lags."""
    from pitwright.mechanics.clutch import Clutch, capacity_rising, take_up_speed

    while True:
        clutch = Clutch(
            shoes=int(rng.choice([2, 3, 4])), shoe_mass=rng.uniform(0.8e-3, 1.6e-3),
            mass_radius=11e-3, clearance=rng.uniform(0.15e-3, 0.4e-3), bell_radius=15e-3,
            wedge_angle=math.radians(rng.uniform(35, 55)), wedge_friction=0.1, face_friction=0.1,
            bell_friction=rng.uniform(0.22, 0.38), spring_rate=30.6e3, free_length=10.2e-3,
            solid_length=8.0e-3, recess_bottomed=2.125e-3, recess=rng.uniform(1.2e-3, 1.65e-3),
        )  # fmt: skip
        most = rng.uniform(0.2, 0.5)
        level = take_up_speed(clutch, most) * _RPM
        if 8_000 < level < 29_000:
            break
    idle = rng.uniform(0.4, 0.75) * level / _RPM
    j_engine = rng.uniform(0.8e-5, 2e-5)
    stand_s = log_uniform(rng, 0.08, 0.5)
    j_car = most * stand_s / (level / _RPM)
    arm = rng.uniform(6.0, 14.0) * stand_s / (level / _RPM)
    opening = rng.uniform(0.02, 0.08)
    speeds, bell, load = [], [], []
    engine, car, locked, opened = idle, 0.0, False, 0.0
    idle_s = rng.uniform(0.6, 1.6)
    for _ in range(int(idle_s / STEP_S)):
        speeds.append(engine)
        bell.append(0.0)
        load.append(0.1)
    top = min(41_000, level * rng.uniform(1.4, 1.9)) / _RPM
    met = 0
    while engine < top and len(speeds) < 4000:
        for _ in range(5):
            opened = min(1.0, opened + STEP_S / 5 / opening)
            if locked:
                engine += STEP_S / 5 * opened * most / (j_engine + j_car)
            else:
                passed = capacity_rising(clutch, engine)
                engine += STEP_S / 5 * (opened * most - passed) / j_engine
                car += STEP_S / 5 * passed / j_car
                locked = car >= engine
                met = len(speeds)
        speeds.append(engine)
        bell.append(min(car, engine) if not locked else engine)
        load.append(1.0)
    return _told(rng, "clutch", speeds, bell, load, met, [arm * w for w in bell])


def rolled_launch(rng) -> Drive:
    """A launch by an equation of motion of its own: tyres that slip, drag, a throttle that lags.

    Drawn again until it stands for 0.06 to 0.9 s.
    """
    while True:
        found = _roll(rng)
        assert found.stand is not None
        if 0.06 <= found.stand[1] - found.stand[0] <= 0.9:
            return found


def _roll(rng) -> Drive:
    bite = log_uniform(rng, 6_500, 20_000)
    idle = max(4_800.0, bite * rng.uniform(0.45, 0.9))
    torque = rng.uniform(0.25, 0.5)
    stiff = torque / ((bite * rng.uniform(1.12, 1.5)) ** 2 - bite**2)
    peak = bite * rng.uniform(1.8, 2.6)
    j_engine, mass = rng.uniform(0.8e-5, 2.0e-5), rng.uniform(2.4, 3.8)
    arm = rng.uniform(5.5e-3, 9e-3)
    grip = rng.uniform(0.8, 2.0) * mass * 9.81
    wheel_mass = rng.uniform(0.15, 0.35)
    lag, drag = rng.uniform(0.015, 0.06), rng.uniform(0.004, 0.012)

    def engine_torque(n: float, gas: float) -> float:
        shape = 1.0 - 0.35 * (n / peak - 1.0) ** 2
        return torque * gas * shape - 0.02 * (1 - gas)

    n, wheel, speed, gas = idle, 0.0, 0.0, 0.0
    speeds, bell, load, v = [], [], [], []
    idle_s = rng.uniform(0.6, 1.6)
    for _ in range(int(idle_s / STEP_S)):
        speeds.append(idle / _RPM)
        bell.append(0.0)
        load.append(0.1)
        v.append(0.0)
    top, met, locked = min(41_000, bite * rng.uniform(1.9, 2.6)), 0, False
    h = STEP_S / 10
    while n < top and len(speeds) < 4500:
        for _ in range(10):
            gas += h / lag * (1 - gas)
            slip = wheel - speed
            tyre = grip * math.tanh(slip / (0.08 * max(speed, 1.0) + 0.3))
            if locked:
                total = j_engine + wheel_mass * arm**2
                n += h * _RPM * (engine_torque(n, gas) - tyre * arm) / total
                wheel = n / _RPM * arm
            else:
                passed = max(0.0, stiff * (n * n - bite * bite))
                n += h * _RPM * (engine_torque(n, gas) - passed) / j_engine
                wheel += h * (passed / arm - tyre) / wheel_mass
                locked = wheel / arm * _RPM >= n
                met = len(speeds)
            speed += h * (tyre - drag * mass * speed**1.5) / mass
        speeds.append(n / _RPM)
        bell.append(wheel / arm)
        load.append(gas)
        v.append(speed)
        if locked and len(speeds) - met > 2500:
            break
    return _told(rng, "rolled", speeds, bell, load, met, v)


def _told(rng, kind, speeds, bell, load, met, v) -> Drive:
    rpm = np.array(speeds) * _RPM
    # The stand: the flattest stretch before engine and bell met, within 2 % of where they did.
    last = rpm[met]
    first = met
    while first > 0 and abs(rpm[first - 1] / last - 1) < 0.025:
        first -= 1
    a, b = first * STEP_S, met * STEP_S
    level = float(np.median(rpm[first : met + 1]))
    tail = np.linspace(rpm[-1], 0.7 * rpm[-1], 250)
    rpm = np.concatenate((rpm, tail))
    bell = np.concatenate((np.array(bell) * _RPM, tail))
    gas = np.concatenate((load, np.zeros(250)))
    time_s = np.arange(len(rpm)) * STEP_S
    knots = rng.standard_normal(int(time_s[-1] / 0.12) + 3)
    rpm = rpm * np.exp(0.0015 * np.interp(time_s, np.arange(len(knots)) * 0.12, knots))
    m_s = np.concatenate((v, np.full(250, v[-1])))
    return Drive(kind, time_s, rpm, np.asarray(gas), bell, np.asarray(m_s), (a, b, level))


# What is no launch


def slow_raise(rng) -> Drive:
    """Idle, the throttle raised slowly until the wheels just turn, with a rest or two, and back."""
    idle = log_uniform(rng, 5_000, 12_000)
    top = idle * rng.uniform(1.25, 2.1)
    s = Strokes(idle).hold(rng.uniform(0.5, 1.2), 0.1)
    parts = int(rng.integers(1, 5))
    marks = [*np.sort(rng.uniform(idle, top, parts - 1)).tolist(), top]
    seconds = rng.uniform(1.2, 4.5) / parts
    for mark in marks:
        s.to(mark, seconds * rng.uniform(0.4, 1.3), 0.4)
        if rng.random() < 0.6:
            s.hold(rng.uniform(0.08, 0.5), 0.4)
    if rng.random() < 0.4:
        s.to(s.r[-1] * rng.uniform(1.1, 1.35), rng.uniform(0.3, 0.8), 0.5)
    s.to(idle, rng.uniform(0.2, 0.5), 0.05).hold(0.3, 0.1)
    drive = s.done("slow raise", rng, wander=rng.uniform(0.002, 0.008))
    bite = idle + rng.uniform(0.55, 0.85) * (top - idle)
    drive.car_rpm = np.clip(drive.rpm - bite, 0.0, None)
    return drive


def feathered_lap(rng, seconds: float = 4.0) -> Drive:
    """Driving: lifts, steady throttle, pulls; never at idle."""
    speed = rng.uniform(16_000, 33_000)
    s = Strokes(speed)
    while s.t[-1] < seconds:
        kind = rng.random()
        if kind < 0.3:
            s.to(max(12_000, s.r[-1] * rng.uniform(0.5, 0.85)), rng.uniform(0.15, 0.5), 0.05)
            if rng.random() < 0.7:
                s.hold(rng.uniform(0.1, 0.6), 0.4)
        elif kind < 0.5:
            s.hold(rng.uniform(0.1, 0.5), 0.4)
        elif kind < 0.65:
            s.to(s.r[-1] * rng.uniform(1.05, 1.3), rng.uniform(0.04, 0.15), 0.8)
            s.hold(rng.uniform(0.08, 0.4), 0.5)
        else:
            s.to(min(40_000, s.r[-1] * rng.uniform(1.2, 1.8)), rng.uniform(0.3, 0.9), 0.9)
    return s.done("feathered lap", rng, wander=0.004)


def stand_hold(rng) -> Drive:
    """Revved on the stand: climb, hold, fall; sometimes in two steps, sometimes a blip."""
    idle = log_uniform(rng, 5_000, 12_000)
    s = Strokes(idle).hold(rng.uniform(0.5, 1.0), 0.1)
    for _ in range(int(rng.integers(1, 3))):
        level = idle * rng.uniform(1.4, 2.6)
        s.to(level, log_uniform(rng, 0.04, 0.3), 0.6).hold(rng.uniform(0.05, 0.8), 0.3)
        if rng.random() < 0.3:
            s.to(min(42_000, level * rng.uniform(1.3, 2.0)), rng.uniform(0.04, 0.10), 0.8)
            s.hold(rng.uniform(0.02, 0.4), 0.4)
        s.to(idle, rng.uniform(0.2, 0.5), 0.0).hold(rng.uniform(0.2, 0.6), 0.1)
    return s.done("stand hold", rng, wander=rng.uniform(0.001, 0.005))


def two_speed(rng) -> Drive:
    """A straight in second gear's car: pull, the gearbox shifts, pull again."""
    speed = rng.uniform(17_000, 26_000)
    s = Strokes(speed)
    if rng.random() < 0.6:
        s.hold(rng.uniform(0.2, 0.6), 0.4)
    for _ in range(int(rng.integers(1, 3))):
        top = rng.uniform(29_000, 38_000)
        s.to(top, rng.uniform(0.5, 1.2), 0.9)
        drop = top / rng.uniform(1.2, 1.45)
        s.to(drop, rng.uniform(0.03, 0.12), 0.9).hold(rng.uniform(0.02, 0.2), 0.9)
        s.to(min(40_000, drop * rng.uniform(1.2, 1.45)), rng.uniform(0.5, 1.2), 0.9)
        s.to(s.r[-1] * rng.uniform(0.5, 0.7), rng.uniform(0.2, 0.5), 0.0)
        s.hold(rng.uniform(0.1, 0.4), 0.3)
    return s.done("two-speed shift", rng, wander=0.002)


def passing(rng) -> Drive:
    """A car at speed comes and goes."""
    speed = rng.uniform(22_000, 38_000)
    s = Strokes(speed).to(speed * rng.uniform(0.95, 1.1), rng.uniform(1.5, 3.0), 0.9)
    if rng.random() < 0.5:
        s.to(speed * 0.6, 0.4, 0.0).hold(0.3, 0.3).to(speed * 1.1, 0.8, 0.9)
    drive = s.done("passes", rng, wander=0.003)
    drive.car_m_s = np.full(len(drive.time_s), rng.uniform(12, 25))
    return drive


def other_engine(rng) -> Drive:
    """Another engine: one that runs steadily, is blipped, warmed up, or hunts."""
    idle = log_uniform(rng, 4_800, 16_000)
    s = Strokes(idle).hold(rng.uniform(0.3, 0.8), 0.2)
    kind = rng.integers(4)
    if kind == 0:
        s.to(idle * rng.uniform(0.9, 1.1), rng.uniform(2, 4), 0.4)
    elif kind == 1:
        for _ in range(int(rng.integers(2, 5))):
            s.to(idle * rng.uniform(1.4, 2.8), rng.uniform(0.05, 0.25), 0.7)
            s.to(idle, rng.uniform(0.15, 0.5), 0.0).hold(rng.uniform(0.1, 0.6), 0.2)
    elif kind == 2:
        for _ in range(6):
            s.to(idle * rng.uniform(0.8, 1.3), rng.uniform(0.2, 0.7), 0.3)
    else:
        s.to(idle * rng.uniform(1.5, 2.5), rng.uniform(0.4, 1.5), 0.5)
        s.hold(rng.uniform(0.5, 1.5), 0.3).to(idle, 0.6, 0.0).hold(0.4, 0.2)
    return s.done("other engine", rng, wander=rng.uniform(0.002, 0.01))
