"""Recordings whose truth is known: drive, voice and faults by lot, from a seed and a number."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from drives import (
    Drive,
    Strokes,
    clutch_launch,
    drawn_launch,
    feathered_lap,
    log_uniform,
    other_engine,
    passing,
    rolled_launch,
    slow_raise,
    stand_hold,
    two_speed,
)
from other_sounds import as_recorded, music, speech
from physical_voice import SOUND_M_S, physical_sound
from synthesis import engine_sound, random_voice

RATE = 24_000
VOICES = ("rung", "physical")
NO_LAUNCH = (
    "music",
    "speech",
    "slow raise",
    "feathered lap",
    "stand hold",
    "two-speed shift",
    "passes",
    "other engine",
)
_DRIVES = {
    "slow raise": slow_raise,
    "feathered lap": feathered_lap,
    "stand hold": stand_hold,
    "two-speed shift": two_speed,
    "passes": passing,
    "other engine": other_engine,
}


@dataclass
class Case:
    """A recording and what is true of it."""

    kind: str
    voice: str
    sound: np.ndarray
    drive: Drive | None
    stand: tuple[float, float, float] | None
    rate: int = RATE


def heard_law(drive: Drive, away_m: np.ndarray) -> Drive:
    """The law as it arrives at a microphone that far away: later, and raised or lowered."""
    arrives = drive.time_s + away_m / SOUND_M_S
    speed = np.gradient(away_m, drive.time_s)
    heard = drive.rpm / (1 + speed / SOUND_M_S)
    first = arrives[0]
    rpm = np.interp(drive.time_s, arrives - first, heard)
    load = np.interp(drive.time_s, arrives - first, drive.load)
    return Drive(drive.kind, drive.time_s, rpm, load, drive.car_rpm, drive.car_m_s, drive.stand)


def sing(drive: Drive, voice: str, rng, away_m=None) -> np.ndarray:
    """The drive in one of the two voices."""
    if voice == "physical":
        return physical_sound(
            drive.time_s, drive.rpm, RATE, rng, load=drive.load, car_rpm=drive.car_rpm,
            away_m=None if away_m is None else away_m - away_m[0],
        )  # fmt: skip
    told = drive if away_m is None else heard_law(drive, away_m)
    return engine_sound(
        told.time_s, told.rpm, RATE, voice=random_voice(rng), seed=int(rng.integers(2**31))
    )


def launch_case(
    seed: int, number: int, snr_db: float, *, make=None, faults=None, receding=False, **fixed
) -> Case:
    """One launch; make: drawn, clutch or rolled, by lot when not given.

    bent: a climb that turns into the pull without any stand, which is no take-up to be measured.
    """
    rng = np.random.default_rng([seed, number])
    voice = VOICES[number % 2]
    bent = fixed.pop("bent", False)
    if bent:
        fixed |= {"stand_s": 0.004, "drift": 0.0}
    make = make or ("drawn" if fixed else ("drawn", "clutch", "rolled")[number // 2 % 3])
    drive = {"drawn": drawn_launch, "clutch": clutch_launch, "rolled": rolled_launch}[make](
        rng, **fixed
    )
    away = drive.away(rng.uniform(2.0, 6.0)) if receding else None
    sound = sing(drive, voice, rng, away)
    sound = as_recorded(sound, RATE, rng, snr_db, _neighbour(rng, drive.time_s[-1]), faults)
    return Case(make, voice, sound, drive, None if bent else drive.stand)


def _neighbour(rng, seconds: float) -> np.ndarray:
    speed = log_uniform(rng, 6_000, 35_000)
    s = Strokes(speed).to(speed * rng.uniform(0.9, 1.1), seconds + 0.2, 0.5)
    drive = s.done("neighbour", rng)
    return sing(drive, VOICES[int(rng.integers(2))], rng)


def other_case(seed: int, number: int, kind: str, snr_db: float | None = None) -> Case:
    """One recording without a launch of ours."""
    rng = np.random.default_rng([seed, 77, NO_LAUNCH.index(kind), number])
    snr_db = float(rng.uniform(3, 25)) if snr_db is None else snr_db
    voice = VOICES[number % 2]
    seconds = rng.uniform(3.0, 5.0)
    drive = None
    if kind in _DRIVES:
        drive = _DRIVES[kind](rng)
        away = None
        if kind == "passes":
            assert drive.car_m_s is not None
            along = np.cumsum(drive.car_m_s) * 1e-3
            along -= rng.uniform(0.3, 0.7) * along[-1]
            away = np.hypot(along, rng.uniform(2, 6))
        sound = sing(drive, voice, rng, away)
        seconds = drive.time_s[-1]
    else:
        voice = "none"
        sound = (music if kind == "music" else speech)(rng, seconds, RATE)
    sound = as_recorded(sound, RATE, rng, snr_db, _neighbour(rng, seconds))
    return Case(kind, voice, sound, drive, None)


def launch_and_lap(seed: int, number: int, snr_db: float = 15.0) -> Case:
    """A launch at about 15,000, then a lap with feathered throttle."""
    rng = np.random.default_rng([seed, 99, number])
    voice = VOICES[number % 2]
    launch = drawn_launch(rng, level=15_000 * rng.uniform(0.95, 1.05), stand_s=0.2)
    lap = feathered_lap(rng, 6.0)
    keep = launch.time_s < launch.time_s[-1] - 0.5
    join = np.linspace(launch.rpm[keep][-1], lap.rpm[0], 250)
    rpm = np.concatenate((launch.rpm[keep], join, lap.rpm))
    load = np.concatenate((launch.load[keep], np.full(250, 0.5), lap.load))
    drive = Drive("launch and lap", np.arange(len(rpm)) * 1e-3, rpm, load, stand=launch.stand)
    sound = as_recorded(sing(drive, voice, rng), RATE, rng, snr_db, faults=())
    return Case("launch and lap", voice, sound, drive, launch.stand)
