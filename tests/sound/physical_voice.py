"""A second, independent voice: the gas pulses of a small two-stroke through its tuned pipe.

Nothing here is shared with ``synthesis``. Each firing is a blowdown pulse whose width is a share of
the turn and which differs from the last as real cycles do (a drifting strength, a burnt-late one
now and then, one missed here and there); the intake answers at another place of the turn. The pipe
is a travelling wave that comes back with the opposite sign after the way there and back (a digital
waveguide, J. O. Smith, Computer Music Journal 16, 1992; recalled), the muffler and the body add
broad resonances, the ground a second path, the gears a whine at the speed of the *car*, and the
carburettor a hiss that follows the load. All figures are invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

SOUND_M_S = 343.0


@dataclass(frozen=True)
class Pipe:
    """What makes one engine sound different from the next."""

    way_back_s: float = 0.0011
    reflects: float = 0.55
    dull: float = 0.4
    bodies: tuple[tuple[float, float, float], ...] = ((700.0, 6.0, 0.5), (2300.0, 8.0, 0.35))
    open_share: float = 0.28
    uneven: float = 0.10
    drifts: float = 0.6
    missed: float = 0.01
    loose: float = 0.004
    intake: float = 0.35
    whine: float = 0.05
    hiss: float = 0.10
    idle_db: float = -5.0
    rich: float = 0.0


def draw_pipe(rng: np.random.Generator) -> Pipe:
    """An engine drawn by lot; one in eight fires every second turn weaker (rich)."""
    return Pipe(
        way_back_s=rng.uniform(0.0007, 0.0016),
        reflects=rng.uniform(0.3, 0.75),
        dull=rng.uniform(0.2, 0.6),
        bodies=tuple(
            (float(np.exp(rng.uniform(np.log(400), np.log(4500)))), rng.uniform(3, 12), w)
            for w in rng.uniform(0.2, 0.7, int(rng.integers(2, 4)))
        ),
        open_share=rng.uniform(0.18, 0.4),
        uneven=rng.uniform(0.05, 0.2),
        drifts=rng.uniform(0.0, 0.8),
        missed=rng.choice([0.0, 0.0, 0.01, 0.03]),
        loose=rng.uniform(0.001, 0.008),
        intake=rng.uniform(0.1, 0.5),
        whine=rng.choice([0.0, 0.04, 0.1]),
        hiss=rng.uniform(0.02, 0.2),
        idle_db=rng.uniform(-8.0, -2.0),
        rich=rng.choice([0.0] * 7 + [rng.uniform(0.2, 0.6)]),
    )


def pulse_train(time_s, rpm, load, pipe: Pipe, rate: int, rng, away_m=None) -> np.ndarray:
    """Gas pulses as they arrive; away_m: distance of the car from the microphone over time."""
    fine = np.arange(time_s[0], time_s[-1], 1e-3)
    speed, gas = np.interp(fine, time_s, rpm), np.interp(fine, time_s, load)
    turns = np.concatenate(([0.0], np.cumsum(speed[:-1]))) * 1e-3 / 60.0
    count = int(turns[-1])
    wobble = pipe.loose * rng.standard_normal(count)
    fired = np.interp(np.arange(1, count + 1) + wobble, turns, fine)
    white = pipe.uneven * rng.standard_normal(count)
    own = lfilter([np.sqrt(1 - pipe.drifts**2)], [1, -pipe.drifts], white)
    strength = np.exp(own)
    strength[rng.random(count) < pipe.missed] *= 0.15
    strength[rng.random(count) < 0.02] *= 0.6
    strength[1::2] *= 1.0 - pipe.rich
    strength *= 10 ** (pipe.idle_db / 20 * (1 - np.interp(fired, fine, gas)))
    period = 60.0 / np.interp(fired, fine, speed)
    arrives = fired
    if away_m is not None:
        there = np.interp(fired, time_s, away_m)
        arrives = fired + there / SOUND_M_S
        strength = strength * (there.min() + 2.0) / (there + 2.0)
    out = np.zeros(int((time_s[-1] - time_s[0]) * rate) + 1)
    _drop(out, arrives - time_s[0], strength, rate)
    _drop(out, arrives - time_s[0] + 0.45 * period, -pipe.intake * strength, rate)
    # One width for all pulses would be a fixed filter: split them by the length of their turn.
    width = pipe.open_share * float(np.median(period))
    rise, fall = np.exp(-1 / (rate * 0.00015)), np.exp(-1 / (rate * width / 2))
    return lfilter([1 - rise], [1, -rise], lfilter([1.0], [1, -fall], out))


def _drop(out, moments, strength, rate):
    at = moments * rate
    whole = at.astype(int)
    part = at - whole
    fits = (whole >= 0) & (whole < len(out) - 1)
    np.add.at(out, whole[fits], (strength * (1 - part))[fits])
    np.add.at(out, whole[fits] + 1, (strength * part)[fits])


def through_pipe(pulses: np.ndarray, pipe: Pipe, rate: int) -> np.ndarray:
    """The pipe, the bodies and the radiation from the end (a derivative)."""
    way = max(2, round(pipe.way_back_s * rate))
    back = np.zeros(way + 2)
    back[0] = 1.0
    back[way] += pipe.reflects * (1 - pipe.dull)
    back[way + 1] += pipe.reflects * pipe.dull
    sound = lfilter([1.0], back, pulses)
    sound = lfilter([1.0, -0.95], [1.0], sound)
    total = sound / (np.std(sound) + 1e-12)
    for tone, sharp, weight in pipe.bodies:
        if tone < 0.42 * rate:
            turn, r = 2 * np.pi * tone / rate, np.exp(-np.pi * tone / sharp / rate)
            rung = lfilter([1 - r], [1, -2 * r * np.cos(turn), r * r], sound)
            total = total + weight * rung / (np.std(rung) + 1e-12)
    return total


def physical_sound(
    time_s, rpm, rate: int, rng, *, pipe=None, load=None, car_rpm=None, away_m=None
) -> np.ndarray:
    """The engine as heard in the open, unit RMS. load: 0 to 1; car_rpm: the bell's speed."""
    time_s, rpm = np.asarray(time_s, float), np.asarray(rpm, float)
    pipe = pipe or draw_pipe(rng)
    load = np.ones_like(rpm) if load is None else np.asarray(load, float)
    pulses = pulse_train(time_s, rpm, load, pipe, rate, rng, away_m)
    sound = through_pipe(pulses, pipe, rate)
    clock = np.arange(len(sound)) / rate + time_s[0]
    gas = np.interp(clock, time_s, load)
    hiss = lfilter([1, -0.9], [1], rng.standard_normal(len(sound)))
    sound = sound + pipe.hiss * (0.3 + gas) * hiss
    if car_rpm is not None and pipe.whine:
        teeth = int(rng.integers(14, 24))
        turn = np.cumsum(np.interp(clock, time_s, car_rpm)) / 60.0 / rate
        whine = np.sin(2 * np.pi * teeth * turn) + 0.4 * np.sin(4 * np.pi * teeth * turn)
        slow = np.interp(clock, time_s, car_rpm) * teeth / 60 < 0.45 * rate
        sound = sound + pipe.whine * whine * slow
    delay = int(rng.uniform(0.0002, 0.0025) * rate)
    ground = np.zeros_like(sound)
    ground[delay:] = sound[: len(sound) - delay]
    sound = sound + rng.uniform(0.2, 0.6) * ground
    return sound / np.sqrt(np.mean(sound**2))
