"""The whole way from a recording to its launches, in one pass, with progress."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
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
from pitwright.sound.ribbons import untangle
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
    progress: Callable[[float, float | None], None] | None = None,
) -> Hearing:
    """Find the launches of a recording and measure their take-ups.

    place: where the car was when it took up, seen from the microphone ("standstill", "abeam" or
    "anywhere"); car_speed_m_s: how fast it can have been, for the Doppler part of the uncertainty.
    """
    doppler_fraction(car_speed_m_s, place)  # refuse a bad value before the long work
    first, second, duration = follow(recording, progress=progress)
    ribbons = [(ribbon, find_rises(ribbon)) for ribbon in (first, *untangle(first, second))]
    # The ribbon that tells most of launches is shown; the first of equals is taken.
    track, rises = max(ribbons, key=lambda told: _worth(told[1]))
    launches = _launches(ribbons, track, place, car_speed_m_s)
    speeds = [launch.take_up for launch in launches if launch.take_up is not None]
    outcome, message = _outcome(track, duration, launches, len(speeds))
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
    ribbons: Sequence[tuple[Track, Sequence[Rise]]], shown: Track, place: Place, car_speed: float
) -> tuple[Launch, ...]:
    """The launches of all ribbons; of those that overlap in time, the best told one.

    A rise without a plateau counts on the ribbon shown only: elsewhere noise makes them.
    """
    every = [
        describe_launch(ribbon, rise, place=place, car_speed_m_s=car_speed)
        for ribbon, rises in ribbons
        for rise in rises
        if rise.kind == "launch" and (rise.plateau is not None or ribbon is shown)
    ]
    every = [launch for launch in every if not _is_ghost(launch, ribbons[0][0])]
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
    track: Track, duration_s: float, launches: tuple[Launch, ...], measured: int
) -> tuple[Outcome, str]:
    if duration_s < SHORTEST_S:
        return "too short", f"{duration_s:.2f} s of sound; a launch needs at least {SHORTEST_S} s"
    if float(np.max(track.level_db)) < SILENCE_DB:
        return "silent", "the recording is silent"
    if not heard_spans(track):
        return "no engine", "no engine speed could be followed in this recording"
    if not launches:
        return "no launch", "an engine is heard, but no launch: the speed never climbs from idle"
    if not measured:
        return "no plateau", launches[0].reason
    many = "launch" if len(launches) == 1 else "launches"
    return "measured", f"take-up heard in {measured} of {len(launches)} {many}"
