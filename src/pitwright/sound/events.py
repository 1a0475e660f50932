"""What the engine did: idle, climb, plateau, pull, and the claps that mark a moment.

A launch is one rise of the speed from idle to its peak. In it the speed may stand still between a
climb and a pull: that is the take-up plateau, where the clutch carries what the engine gives. A
held speed with no climb before or no pull after is something else (idle, top speed, a rev on the
stand) and is never reported as a take-up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pitwright.sound.track import Track

Kind = Literal["idle", "climb", "plateau", "pull", "ramp", "blip"]
Numbers = NDArray[np.float64]

SURE = 0.5  # least confidence of a frame that counts
_BRIDGED = 0.15
_HEARD_BEFORE = 0.3
_HEARD_PULL = 0.35
_PLAIN = 0.7
_PLAIN_PULL = 0.6
_FASTEST_FALL_RPM_PER_S = 150_000.0
SHORTEST_PLATEAU_S = 0.080
LONGEST_PLATEAU_S = 1.5
_TURN_BACK = 0.18  # natural log: a rise ends when the speed has fallen this far
_LEAST_RISE = 0.25  # natural log, for a rise to be a launch
_LONGEST_BLIP_S = 0.35
_CLIMB_PER_S = 1.2  # log speed per second; a driver's slow ramp stays below
_FLAT_PER_S = 0.22
_BAND = 0.012
_WINDOW_HALVES_S = (0.025, 0.05, 0.08)
_FASTEST_PULL_PER_S = 4.0
_STEP_UP = 0.10  # log rise wanted before and after a plateau


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
    and, if heard, its plateau [first, last]; short_s: longest stand-still heard at all, 0 when
    none; clear: share of its frames heard with confidence.
    """

    kind: Literal["launch", "blip", "ramp"]
    foot: int
    peak: int
    plateau: tuple[int, int] | None
    short_s: float
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


def find_rises(track: Track) -> list[Rise]:
    """Every rise of the speed, in order of time: launches, blips and slow ramps."""
    log = smooth_log(track)
    found: list[Rise] = []
    for begin, end in heard_spans(track):
        holds = _find_holds(track, log, begin, end)
        for foot, peak in _legs(log[begin:end]):
            rise = _describe(track, log, begin + foot, begin + peak, holds)
            if rise is not None:
                found.append(rise)
        # Another engine can hide idle and climb; a stand-still with its pull is still a launch.
        taken = [rise.plateau for rise in found]
        for hold in holds:
            if (hold[1] - hold[0]) * track.hop_s >= SHORTEST_PLATEAU_S and hold not in taken:
                launch = _from_hold(track, log, hold, end)
                # The climb found on its own within it is its pull, told once.
                found = [rise for rise in found if rise.plateau or not _within(rise, launch)]
                found.append(launch)
    return sorted(found, key=lambda rise: rise.foot)


def _within(rise: Rise, launch: Rise) -> bool:
    return launch.foot <= rise.foot and rise.peak <= launch.peak


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


def _slope(log: Numbers, hop_s: float) -> float:
    return float(np.polyfit(np.arange(len(log)) * hop_s, log, 1)[0])


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


def _from_hold(track: Track, log: Numbers, hold: tuple[int, int], end: int) -> Rise:
    peak = high = hold[1]
    for at in range(hold[1], end):
        if log[at] > log[high]:
            high = at
        elif log[at] < log[high] - _TURN_BACK:
            break
        peak = high
    clear = float(np.mean(track.confidence[hold[0] : peak + 1] >= SURE))
    return Rise("launch", hold[0], peak, hold, (hold[1] - hold[0]) * track.hop_s, clear)


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


def _describe(
    track: Track, log: Numbers, low: int, peak: int, holds: list[tuple[int, int]]
) -> Rise | None:
    hop = track.hop_s
    # The foot is where the speed leaves the low for good, not the lowest of many idle frames.
    under = np.flatnonzero(log[low : peak + 1] < log[low] + 0.08)
    foot = low + int(under[-1])
    peak = foot + int(np.flatnonzero(log[foot : peak + 1] > log[peak] - 0.03)[0])
    if peak - foot < 2:
        return None
    clear = float(np.mean(track.confidence[foot : peak + 1] >= SURE))
    if float(slopes(log[foot : peak + 1], hop, 3).max()) < _CLIMB_PER_S:
        return Rise("ramp", foot, peak, None, 0.0, clear)
    inside = [hold for hold in holds if hold[0] > foot and hold[1] <= peak]
    longest = max(inside, key=lambda hold: hold[1] - hold[0], default=(0, 0))
    length = (longest[1] - longest[0]) * hop
    plateau = longest if length >= SHORTEST_PLATEAU_S else None
    short = (peak - foot) * hop < _LONGEST_BLIP_S
    if plateau is None and short and _falls(log, peak, hop):
        return Rise("blip", foot, peak, None, length, clear)
    return Rise("launch", foot, peak, plateau, length, clear)


def _falls(log: Numbers, peak: int, hop_s: float) -> bool:
    after = log[peak : peak + round(0.4 / hop_s)]
    return bool(len(after) and after.min() < log[peak] - _TURN_BACK)


def _find_holds(track: Track, log: Numbers, begin: int, end: int) -> list[tuple[int, int]]:
    """Stand-stills [first, last] that are entered by a climb and left by a pull.

    A clear trace shows them in short windows; a noisy one only in longer ones, tried after.
    """
    hop = track.hop_s
    holds: list[tuple[int, int]] = []
    for half_s in _WINDOW_HALVES_S:
        half = max(2, round(half_s / hop))
        flat = np.abs(slopes(log[begin:end], hop, half)) < _FLAT_PER_S
        for start, stop in _runs(flat):
            if (stop - start) * hop > LONGEST_PLATEAU_S:
                continue
            first, final = _extent(log, begin + start, begin + stop, begin, end - 1, hop)
            if (
                2 <= final - first <= LONGEST_PLATEAU_S / hop
                and abs(_slope(log[first : final + 1], hop)) < _FLAT_PER_S
                and float(np.mean(track.confidence[first : final + 1])) >= SURE
                and _pulls(track, log, first, final, end) >= _entered(track, log, first, final)
            ):
                holds.append((first, final))
    holds.sort(key=lambda hold: hold[0] - hold[1])
    kept: list[tuple[int, int]] = []
    for first, final in holds:
        if all(first > other[1] or final < other[0] for other in kept):
            kept.append((first, final))
    return sorted(kept)


def _runs(flags: NDArray[np.bool_]) -> Sequence[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _extent(
    log: Numbers, start: int, stop: int, foot: int, peak: int, hop_s: float
) -> tuple[int, int]:
    """Widen a flat run to where the speed leaves its level; the end by a bent line's best fit."""
    level = float(np.median(log[start:stop]))
    band = max(_BAND, 2.5 * float(np.median(np.abs(log[start:stop] - level))))
    first = start
    while first > foot and abs(log[first - 1] - level) < band:
        first -= 1
    while first < stop - 1 and abs(log[first] - level) >= band:
        first += 1
    final = stop - 1
    while final < peak and abs(log[final + 1] - level) < band:
        final += 1
    # The band is left some time after the pull began; a level line bent once gives the bend.
    reach = min(peak, final + round(0.10 / hop_s))
    return first, min(final, first + _bend(log[first : reach + 1]))


def _bend(part: Numbers) -> int:
    """Where a level line best turns into a slope: least squares over every place for the bend."""
    count = len(part)
    if count < 7:
        return count - 1
    after = np.arange(count - 1, -1, -1.0)  # points behind each place
    ramp = after * (after + 1.0) / 2.0
    ramp_ramp = after * (after + 1.0) * (2.0 * after + 1.0) / 6.0
    behind = np.concatenate((np.cumsum(part[::-1])[::-1][1:], [0.0]))
    ramp_part = np.cumsum(behind[::-1])[::-1]
    cross = ramp_part - ramp * part.sum() / count
    gain = cross[2:-2] ** 2 / (ramp_ramp - ramp**2 / count)[2:-2]
    return 2 + int(np.argmax(gain))


def _entered(track: Track, log: Numbers, first: int, final: int) -> float:
    """How surely the pull must be heard for this to be a launch: never (2) when it began wrongly.

    Best a climb comes right before. Else nothing sure may be heard there, or the trace must leap
    down faster than an engine slows: then another engine covered the climb, and the rest has to
    be plain. A fall that is heard out (lifting for a corner, then a steady throttle) is not the
    start of a launch, and what the recording itself begins with proves nothing.
    """
    hop = track.hop_s
    if first < round(0.2 / hop):
        return 2.0
    level = float(np.median(log[first : final + 1]))
    back = slice(first - round(0.2 / hop), first)
    sure = track.confidence[back] >= _HEARD_BEFORE
    if int(np.sum(sure & (log[back] < level - _STEP_UP))) >= 3:
        return _HEARD_PULL
    near = slice(first - round(0.06 / hop), first + 2)
    unheard = bool((track.confidence[near] < _BRIDGED).any())
    leapt = bool(np.diff(track.rpm[near]).min() < -_FASTEST_FALL_RPM_PER_S * hop)
    away = bool((np.abs(log[near] - level) > 0.05).any())
    plain = float(np.mean(track.confidence[first : final + 1])) >= _PLAIN
    return _PLAIN_PULL if (unheard or leapt) and away and plain else 2.0


def _pulls(track: Track, log: Numbers, first: int, final: int, end: int) -> float:
    """How surely a steady rise is heard right after: 0 for a leap to another engine or a fall."""
    level = float(np.median(log[first : final + 1]))
    after = log[final : min(end, final + round(1.0 / track.hop_s))]
    far = np.flatnonzero(after - level >= _STEP_UP)
    if not len(far):
        return 0.0
    rise = after[: int(far[0]) + 1]
    steady = (
        rise.min() > level - 0.04
        and _rate(after - level, track.hop_s) <= _FASTEST_PULL_PER_S
        and np.diff(rise).max(initial=0.0) < 0.05
    )
    return float(np.mean(track.confidence[final : final + len(rise)])) if steady else 0.0


def _rate(gain: Numbers, hop_s: float) -> float:
    """Rate of a rise, per second, from its first 4 to 30 % or as far as it goes."""
    low, high = 0.04, min(0.30, float(gain.max()))
    start, stop = (int(np.flatnonzero(gain >= mark)[0]) for mark in (low, high))
    return float(gain[stop] - gain[start]) / (max(1, stop - start) * hop_s)


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
