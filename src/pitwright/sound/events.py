"""What the engine did: idle, climb, plateau, pull, and the claps that mark a moment.

A launch is one rise of the speed from idle to its peak. In it the speed may stand still between a
climb and a pull: that is the take-up plateau, where the clutch carries what the engine gives.
Whether a rise is that, and not a rev on the stand, a lap, a voice or a tune, is a chance (see
``belief``), never a rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pitwright.sound.belief import Traits, chance_of, traits_of
from pitwright.sound.segments import Segments, Shape, lay_segments
from pitwright.sound.track import Track

Kind = Literal["idle", "climb", "plateau", "pull", "ramp", "blip"]
Numbers = NDArray[np.float64]

SURE = 0.5  # least confidence of a frame that counts
_BRIDGED = 0.15
_TURN_BACK = 0.18  # natural log: a rise ends when the speed has fallen this far
_LEAST_RISE = 0.25  # natural log, for a rise to be told at all
_LONGEST_BLIP_S = 0.35
_CLIMB_PER_S = 1.2  # log speed per second; a driver's slow ramp stays below
_LOOK_BACK_S = 1.5
LIKELY = 0.8
"""Chance from which a stand-still is told as a take-up."""


@dataclass(frozen=True)
class Event:
    """A stretch of one kind; speeds in rpm at its two ends, times in seconds."""

    kind: Kind
    start_s: float
    end_s: float
    start_rpm: float
    end_rpm: float


@dataclass(frozen=True)
class Rise:
    """A rise of the speed as found.

    kind: launch, blip (up and down at once) or ramp (slow); frame numbers of its foot, its peak
    and, if likely, its plateau [first, last]; chance: that this stand-still is a take-up, 0 when
    none could be laid; traits: what speaks for it and against; stand: the stand-still as laid,
    likely or not; clear: share of its frames heard with confidence.
    """

    kind: Literal["launch", "blip", "ramp"]
    foot: int
    peak: int
    plateau: tuple[int, int] | None
    chance: float
    traits: Traits | None
    stand: tuple[int, int] | None
    clear: float


def heard_spans(track: Track, longest_gap_s: float = 0.4) -> list[tuple[int, int]]:
    """Stretches [first, past last) in which an engine is heard, short losses bridged."""
    sure = np.flatnonzero(_steady_confidence(track) >= SURE)
    if not len(sure):
        return []
    gap = max(1, round(longest_gap_s / track.hop_s))
    cuts = np.flatnonzero(np.diff(sure) > gap)
    starts = np.concatenate((sure[:1], sure[cuts + 1]))
    ends = np.concatenate((sure[cuts], sure[-1:])) + 1
    least = round(0.2 / track.hop_s)
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True) if b - a >= least]


def find_rises(track: Track, shape: Shape | None = None) -> list[Rise]:
    """Every rise of the speed, in order of time: launches, blips and slow ramps.

    shape: what a launch of this clutch looks like; a launch of any clutch when not given.
    """
    shape = shape or Shape()
    log = smooth_log(track)
    found: list[Rise] = []
    for begin, end in heard_spans(track):
        for low, peak in _legs(log[begin:end]):
            rise = _describe(track, log, begin + low, begin + peak, shape)
            if rise is not None:
                found.append(rise)
    return sorted(found, key=lambda rise: rise.foot)


def find_events(track: Track, rises: Sequence[Rise]) -> list[Event]:
    """The recording told in stretches: idle, climb, plateau, pull, ramp and blip."""
    events: list[Event] = []
    log = smooth_log(track)
    last = 0
    for rise in rises:
        idle = _held_before(log, rise.foot, last, track.hop_s)
        if idle is not None:
            events.append(_event("idle", track, log, idle, rise.foot))
        if rise.kind != "launch":
            events.append(_event(rise.kind, track, log, rise.foot, rise.peak))
        elif rise.plateau is None:
            events.append(_event("climb", track, log, rise.foot, rise.peak))
        else:
            first, final = rise.plateau
            if first > rise.foot:
                events.append(_event("climb", track, log, rise.foot, first))
            events.append(_event("plateau", track, log, first, final))
            events.append(_event("pull", track, log, final, rise.peak))
        last = rise.peak
    return events


def find_claps(track: Track) -> list[float]:
    """Moments, in seconds, of short bursts far above the engine's treble: a clap, a knock.

    A clap rises by 12 dB within 15 ms over the half second around it and is gone within 0.15 s;
    an engine that opens up stays loud.
    """
    level = track.burst_db
    count = len(level)
    around = max(2, round(0.25 / track.hop_s))
    if count < 2 * around:
        return []
    near = max(1, round(0.075 / track.hop_s))
    claps: list[float] = []
    # Only the loudest frame of its neighbourhood can be a clap, so few need the full look.
    for at in _local_peaks(level, around):
        left = level[max(0, at - around) : max(0, at - near)]
        right = level[at + 2 * near : at + near + around]
        before = level[max(0, at - 3) : at + 1].min()
        if len(left) < 3 or len(right) < 3:
            continue
        rest = max(float(np.quantile(left, 0.9)), float(np.quantile(right, 0.9)))
        if level[at] - rest >= 12.0 and level[at] - before >= 10.0:
            claps.append(float(track.time_s[at]))
    return claps


def smooth_log(track: Track, first: int = 0, end: int | None = None) -> Numbers:
    """Natural logarithm of the speed of frames [first, end), the unsure ones bridged.

    A frame heard with almost no confidence is drawn straight between its neighbours; then a median
    of five takes out single wild ones.
    """
    log = np.asarray(np.log(np.maximum(track.rpm[first:end], 1.0)))
    sure = np.flatnonzero(track.confidence[first:end] >= _BRIDGED)
    if len(sure) >= 2:
        log = np.asarray(np.interp(np.arange(len(log)), sure, log[sure]))
    if len(log) < 5:
        return log
    padded = np.concatenate((log[:1], log[:1], log, log[-1:], log[-1:]))
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1))


def slopes(log: Numbers, hop_s: float, half: int) -> Numbers:
    """Least-squares slope of each frame's neighbourhood, per second; one-sided at the ends."""
    offsets = np.arange(-half, half + 1)
    padded = np.concatenate((np.full(half, log[0]), log, np.full(half, log[-1])))
    weight = offsets / np.sum(offsets**2) / hop_s
    return np.correlate(padded, weight, mode="valid")


def _steady_confidence(track: Track) -> Numbers:
    width = round(0.1 / track.hop_s)
    if len(track) < width:
        return track.confidence
    kernel = np.ones(width) / width
    return np.convolve(track.confidence, kernel, mode="same")


def _local_peaks(level: Numbers, around: int) -> list[int]:
    peaks: list[int] = []
    order = np.flatnonzero((level[1:-1] >= level[:-2]) & (level[1:-1] > level[2:])) + 1
    for at in order:
        here = level[max(0, at - around) : at + around + 1]
        if level[at] >= here.max():
            peaks.append(int(at))
    return peaks


def _legs(log: Numbers) -> list[tuple[int, int]]:
    """Rises from a low to the next high, turns smaller than the threshold ignored (zigzag)."""
    legs: list[tuple[int, int]] = []
    low = high = 0
    rising = False
    for at, value in enumerate(log.tolist()):
        if rising:
            if value > log[high]:
                high = at
            elif value < log[high] - _TURN_BACK:
                legs.append((low, high))
                rising, low = False, at
        elif value <= log[low]:
            low = at
        elif value > log[low] + _TURN_BACK:
            rising, high = True, at
    if rising:
        legs.append((low, high))
    return [(a, b) for a, b in legs if log[b] - log[a] >= _LEAST_RISE]


def _describe(track: Track, log: Numbers, low: int, peak: int, shape: Shape) -> Rise | None:
    hop = track.hop_s
    # The foot is where the speed leaves the low for good, not the lowest of many idle frames.
    under = np.flatnonzero(log[low : peak + 1] < log[low] + 0.08)
    foot = low + int(under[-1])
    top = foot + int(np.flatnonzero(log[foot : peak + 1] > log[peak] - 0.03)[0])
    begin = max(0, low + int(np.argmax(log[low : peak + 1] > log[low] + 0.1)) - _back(hop))
    laid = lay_segments(log[begin : peak + 1], track.confidence[begin : peak + 1], hop, shape)
    traits, chance, stand = None, 0.0, None
    if laid is not None:
        at = laid.moved(begin)
        traits = traits_of(track, log, at, shape)
        chance = chance_of(traits, shape, *_levels(log, at))
        stand = (at.first, at.last)
        if chance >= LIKELY:
            top = max(at.end, top)
            clear = _clear(track, at.foot, top)
            return Rise("launch", at.foot, top, stand, chance, traits, stand, clear)
    if top - foot < 2:
        return None
    clear = _clear(track, foot, top)
    kind: Literal["launch", "blip", "ramp"] = "launch"
    if float(slopes(log[foot : top + 1], hop, 3).max()) < _CLIMB_PER_S:
        kind = "ramp"
    elif (top - foot) * hop < _LONGEST_BLIP_S and _falls(log, top, hop):
        kind = "blip"
    return Rise(kind, foot, top, None, chance, traits, stand, clear)


def _back(hop_s: float) -> int:
    return round(_LOOK_BACK_S / hop_s)


def _clear(track: Track, first: int, last: int) -> float:
    return float(np.mean(track.confidence[first : last + 1] >= SURE))


def _levels(log: Numbers, at: Segments) -> tuple[float | None, float]:
    """Idle (None where it was not heard) and stand, in rpm."""
    idle = float(np.exp(np.median(log[at.idle : at.foot]))) if at.foot > at.idle else None
    return idle, float(np.exp(np.median(log[at.first : at.last + 1])))


def _falls(log: Numbers, peak: int, hop_s: float) -> bool:
    after = log[peak : peak + round(0.4 / hop_s)]
    return bool(len(after) and after.min() < log[peak] - _TURN_BACK)


def _held_before(log: Numbers, foot: int, last: int, hop_s: float) -> int | None:
    """First frame of the steady idle that ends at the foot, None when there is none."""
    start = foot
    while start > last and abs(log[start - 1] - log[foot]) < 0.10:
        start -= 1
    return start if (foot - start) * hop_s >= 0.1 else None


def _event(kind: Kind, track: Track, log: Numbers, first: int, final: int) -> Event:
    return Event(
        kind,
        float(track.time_s[first]),
        float(track.time_s[final]),
        float(np.exp(log[first])),
        float(np.exp(log[final])),
    )
