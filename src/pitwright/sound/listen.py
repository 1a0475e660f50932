"""The whole way from a recording to its launches, in one pass, with progress."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import log
from typing import Literal

import numpy as np

from pitwright.sound.events import (
    SURE,
    Event,
    Rise,
    find_claps,
    find_events,
    find_rises,
    heard_spans,
)
from pitwright.sound.read_audio import Recording
from pitwright.sound.ribbons import ribbons
from pitwright.sound.segments import Shape
from pitwright.sound.spectrum import SpectrumStream
from pitwright.sound.takeup import (
    Launch,
    Place,
    Repeats,
    describe_launch,
    doppler_fraction,
    repeats,
)
from pitwright.sound.track import SILENCE_DB, Track, Tracker

Outcome = Literal["measured", "no plateau", "no launch", "no engine", "silent", "too short"]
SHORTEST_S = 0.3
_GHOSTS = (1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 2, 2.0, 3.0, 4.0)


@dataclass(frozen=True)
class Hearing:
    """What was heard.

    outcome and message: the result in a word and in a sentence; launches in order of time;
    together: their take-ups pooled, None without any; claps_s: moments of claps; notes: remarks on
    the file itself; every_second_share: part of the heard time firing every second turn.
    """

    outcome: Outcome
    message: str
    duration_s: float
    track: Track
    events: tuple[Event, ...]
    launches: tuple[Launch, ...]
    together: Repeats | None
    claps_s: tuple[float, ...]
    every_second_share: float
    notes: tuple[str, ...]


def follow(
    recording: Recording,
    *,
    block_s: float = 10.0,
    progress: Callable[[float, float | None], None] | None = None,
) -> tuple[Track, Track, float]:
    """Engine speed against time, the same of a second engine, and the seconds of sound really read.

    progress is called after each block with the seconds done and the length, when it is known.
    Reading errors of the recording (AudioError) pass through.
    """
    stream = SpectrumStream(recording.rate_hz)
    tracker = Tracker(stream.hop_s, stream.frame_s)
    samples = 0
    for block in recording.blocks(block_s):
        tracker.feed(stream.feed(block))
        samples += len(block)
        if progress is not None:
            progress(samples / recording.rate_hz, recording.duration_s)
    tracker.feed(stream.finish())
    first, second = tracker.finish()
    return first, second, samples / recording.rate_hz


def listen(
    recording: Recording,
    *,
    place: Place = "anywhere",
    car_speed_m_s: float = 12.0,
    pull_m_s_2: float | None = None,
    shape: Shape | None = None,
    progress: Callable[[float, float | None], None] | None = None,
) -> Hearing:
    """Find the launches of a recording and measure their take-ups.

    place: where the car was when it took up, seen from the microphone ("standstill", "abeam" or
    "behind", the phone behind it, or "anywhere"); car_speed_m_s: how fast it can have been, for
    the Doppler part of the uncertainty; pull_m_s_2: how it pulls away; shape: what a launch of this
    clutch looks like, a launch of any when not given.
    """
    doppler_fraction(car_speed_m_s, place)  # refuse a bad value before the long work
    first, second, duration = follow(recording, progress=progress)
    told = [(ribbon, find_rises(ribbon, shape)) for ribbon in ribbons(first, second)]
    # The ribbon that tells most of launches is shown; the first of equals is taken.
    track, rises = max(told, key=lambda each: _worth(each[1]))
    describe = partial(
        describe_launch, place=place, car_speed_m_s=car_speed_m_s, pull_m_s_2=pull_m_s_2
    )
    launches = _launches(told, track, describe)
    speeds = [launch.take_up for launch in launches if launch.take_up is not None]
    outcome, message = _outcome(track, duration, launches, rises)
    heard = track.confidence >= SURE
    share = float(track.every_second[heard].mean()) if heard.any() else 0.0
    return Hearing(
        outcome,
        message,
        duration,
        track,
        tuple(find_events(track, rises)),
        launches,
        repeats(speeds),
        tuple(find_claps(track)),
        share,
        tuple(recording.notes),
    )


def _worth(rises: Sequence[Rise]) -> tuple[int, int]:
    launches = [rise for rise in rises if rise.kind == "launch"]
    return sum(rise.plateau is not None for rise in launches), len(launches)


def _launches(
    told: Sequence[tuple[Track, Sequence[Rise]]],
    shown: Track,
    describe: Callable[[Track, Rise], Launch],
) -> tuple[Launch, ...]:
    """The launches of all ribbons; of those that overlap in time, the best told one.

    A rise without a plateau counts on the ribbon shown only: elsewhere noise makes them.
    """
    every = [
        describe(ribbon, rise)
        for ribbon, rises in told
        for rise in rises
        if rise.kind == "launch" and (rise.plateau is not None or ribbon is shown)
    ]
    every = [launch for launch in every if not _is_ghost(launch, told[0][0])]
    every.sort(key=_weight)
    kept: list[Launch] = []
    for launch in reversed(every):
        if all(launch.start_s >= k.end_s or launch.end_s <= k.start_s for k in kept):
            kept.append(launch)
    return tuple(sorted(kept, key=lambda launch: launch.start_s))


def _is_ghost(launch: Launch, loudest: Track) -> bool:
    """Whether the take-up is but a multiple or part of the speed that is heard best at the time."""
    if launch.take_up is None:
        return False
    span = (launch.take_up.start_s, launch.take_up.end_s)
    first, last = np.searchsorted(loudest.time_s, span)
    ratio = launch.take_up.rpm / float(np.median(loudest.rpm[first : last + 1]))
    return any(abs(ratio / ghost - 1.0) < 0.04 for ghost in _GHOSTS)


def _weight(launch: Launch) -> float:
    """The trace that left another engine for this one half-way shows only part of the pull."""
    if launch.take_up is None:
        return 0.0
    return launch.take_up.confidence * log(launch.top_rpm / launch.take_up.rpm)


def _outcome(
    track: Track, duration_s: float, launches: tuple[Launch, ...], rises: Sequence[Rise]
) -> tuple[Outcome, str]:
    measured = sum(launch.take_up is not None for launch in launches)
    if duration_s < SHORTEST_S:
        return "too short", f"{duration_s:.2f} s of sound; a launch needs at least {SHORTEST_S} s"
    if float(np.max(track.level_db)) < SILENCE_DB:
        return "silent", "the recording is silent"
    if not heard_spans(track):
        return "no engine", "no engine speed could be followed in this recording"
    if not launches:
        return "no launch", _no_launch(rises)
    if not measured:
        return "no plateau", launches[0].reason
    many = "launch" if len(launches) == 1 else "launches"
    return "measured", f"take-up heard in {measured} of {len(launches)} {many}"


def _no_launch(rises: Sequence[Rise]) -> str:
    heard = "an engine is heard, but no launch"
    if any(rise.kind == "ramp" for rise in rises):
        return (
            f"{heard}: the throttle was raised slowly. For the creep speed, put the cursor where "
            "the wheels just begin to turn and press c"
        )
    if rises:
        return f"{heard}: it was blipped, up and down at once"
    return f"{heard}: the speed never climbs from idle"
