"""Idle, rise, stand and pull laid along a trace where they fit best.

A launch is four segments one after the other. Each segment earns what its frames fit better than a
trace that may go anywhere, weighed by how surely they are heard, less what an unlikely duration or
slope costs; the segmentation that earns most is found over all its ends at once (a hidden
semi-Markov model's best path: Rabiner, Proc. IEEE 77, 1989, IV.D). The durations and slopes are
those of a launch as the clutch model gives it, wide where no card says more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

LONGEST_RISE_S = 0.36
LONGEST_STAND_S = 1.5
_SHORTEST_STAND_S = 0.048
_IDLES_S = (0.1, 0.25, 0.6)
_PULLS_S = (0.07, 0.14, 0.28)
_ENOUGH = 20.0  # frames that prove a segment; neighbours overlap, and more of the same adds little
_UNHEARD = -8.0  # what a launch costs whose idle and rise another engine covers
_LEAST_STEP = 0.03  # log speed from idle to stand
_NEVER, _NO_PULL = -1e9, -1e6
_LEAST_PULL = 0.05  # log speed over the pull looked at


@dataclass(frozen=True)
class Shape:
    """Medians of what a launch looks like, and how far from them it may be (log, one sigma).

    rise_s, stand_s: durations; pull_rpm_per_s: how fast the pull begins;
    idle_rpm and stands_rpm: where the card says the engine idles and where it may take up.
    """

    rise_s: float = 0.07
    rise_wide: float = 0.6
    stand_s: float = 0.18
    stand_wide: float = 0.9
    pull_rpm_per_s: float = 25_000.0
    pull_wide: float = 0.6
    idle_rpm: float | None = None
    stands_rpm: tuple[float, ...] = ()


@dataclass(frozen=True)
class Segments:
    """Frames at which idle, rise, stand and pull begin, the last one looked at, and the earnings.

    foot equals first and idle equals foot where neither rise nor idle was heard.
    """

    idle: int
    foot: int
    first: int
    last: int
    end: int
    earned: tuple[float, float, float]

    @property
    def total(self) -> float:
        """Earnings of idle and rise, stand, and pull together."""
        return sum(self.earned)

    def moved(self, by: int) -> Segments:
        """The same, counted from a frame that lies so many frames earlier."""
        return Segments(
            self.idle + by, self.foot + by, self.first + by, self.last + by, self.end + by,
            self.earned,
        )  # fmt: skip


class _Sums:
    """Running sums of a stretch, so that a line through any part of it costs nothing."""

    def __init__(self, log: Numbers, weight: Numbers, hop_s: float) -> None:
        x = np.arange(len(log)) * hop_s
        y = log - float(np.median(log))
        columns = (weight, weight * x, weight * x * x, weight * y, weight * x * y, weight * y * y)
        self._sums = [np.concatenate(([0.0], np.cumsum(column))) for column in columns]
        self._middle = float(np.median(log))

    def line(
        self, start: NDArray[np.intp], stop: NDArray[np.intp]
    ) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
        """Weight, mean, slope, and what is left by the mean and by the line, of [start, stop)."""
        w, wx, wxx, wy, wxy, wyy = (column[stop] - column[start] for column in self._sums)
        safe = np.maximum(w, 1e-9)
        mean = wy / safe
        level = np.maximum(wyy - wy * mean, 0.0)
        sxx = np.maximum(wxx - wx * wx / safe, 1e-12)
        sxy = wxy - wx * mean
        slope = sxy / sxx
        line = np.maximum(level - sxy * slope, 0.0)
        return w, mean + self._middle, slope, level, line


def lay_segments(log: Numbers, heard: Numbers, hop_s: float, shape: Shape) -> Segments | None:
    """The launch that fits a stretch of the trace best, None where none can be laid.

    log: natural logarithm of the speed; heard: 0 to 1, how surely.
    """
    count = len(log)
    shortest = max(3, round(_SHORTEST_STAND_S / hop_s))
    if count < 2 * shortest:
        return None
    sums = _Sums(log, heard, hop_s)
    front, rise, idle = _fronts(log, sums, hop_s, shape)
    back, behind, least = _backs(log, sums, hop_s, shape)
    # Only where a pull begins can a stand end, which is at few of the frames.
    ends = np.flatnonzero(back > _NO_PULL)
    longest = min(round(LONGEST_STAND_S / hop_s), count - 1)
    first = ends[:, None] - np.arange(shortest, longest + 1)[None, :]
    at, of = np.nonzero(first >= 0)
    if not len(at):
        return None
    first, last = first[at, of], ends[at]
    weight, mean, slope, _level, left = sums.line(first, last + 1)
    seconds = np.maximum(last - first, 1) * hop_s
    earned = (
        _gain(weight)
        - left / (2 * 0.005**2)
        - 0.5 * (slope / 0.2) ** 2
        - 0.5 * (slope * seconds / 0.03) ** 2
        - 0.5 * (np.log(seconds / shape.stand_s) / shape.stand_wide) ** 2
    )
    # The pull leaves from where the stand ends.
    ends_at = mean + slope * seconds / 2
    joined = -0.5 * ((least[last] - ends_at) / 0.02) ** 2
    total = front[first] + earned + back[last] + np.maximum(joined, -30.0)
    best = int(np.argmax(total))
    begin, finish = int(first[best]), int(last[best])
    foot = begin - int(rise[begin])
    return Segments(
        foot - int(idle[begin]),
        foot,
        begin,
        finish,
        min(count - 1, finish + int(behind[finish])),
        (float(front[begin]), float(earned[best]), float(back[finish] + joined[best])),
    )


def _gain(weight: Numbers) -> Numbers:
    return np.asarray(_ENOUGH * -np.expm1(-weight / _ENOUGH))


def _fronts(
    log: Numbers, sums: _Sums, hop_s: float, shape: Shape
) -> tuple[Numbers, NDArray[np.intp], NDArray[np.intp]]:
    """For a stand that begins at each frame: earnings before it, frames of rise and of idle."""
    count = len(log)
    ends = np.arange(count)
    best_idle, idle_level = np.full(count, -1e3), log.copy()
    idle_frames = np.zeros(count, dtype=np.intp)
    for seconds in _IDLES_S:
        frames = round(seconds / hop_s)
        start = np.maximum(ends - frames, 0)
        weight, mean, slope, level, _line = sums.line(start, ends)
        score = _gain(weight) - level / (2 * 0.015**2) - 0.5 * (slope / 0.4) ** 2
        better = (score > best_idle) & (ends >= frames // 2)
        best_idle = np.where(better, score, best_idle)
        idle_level = np.where(better, mean, idle_level)
        idle_frames = np.where(better, ends - start, idle_frames)
    front = np.full(count, _UNHEARD)
    rise, idle = np.zeros(count, dtype=np.intp), np.zeros(count, dtype=np.intp)
    # The stand's level, a little way in: the frames at its edge hear the rise as well.
    inner = log[np.minimum(ends + 3, count - 1)]
    for frames in range(1, round(LONGEST_RISE_S / hop_s) + 1):
        foot = ends - frames
        ok = foot >= 0
        foot = np.maximum(foot, 0)
        step = inner - idle_level[foot]
        cost = 0.5 * (np.log(frames * hop_s / shape.rise_s) / shape.rise_wide) ** 2
        score = np.where(ok & (step > _LEAST_STEP), best_idle[foot] - cost, -1e3)
        better = score > front
        front = np.where(better, score, front)
        rise = np.where(better, frames, rise)
        idle = np.where(better, idle_frames[foot], idle)
    return front, rise, idle


def _backs(
    log: Numbers, sums: _Sums, hop_s: float, shape: Shape
) -> tuple[Numbers, NDArray[np.intp], Numbers]:
    """For a stand that ends at each frame: earnings of the pull, its frames and where it starts."""
    count = len(log)
    starts = np.arange(count)
    best = np.full(count, _NEVER)
    frames_of, from_ = np.zeros(count, dtype=np.intp), log.copy()
    for seconds in _PULLS_S:
        frames = round(seconds / hop_s)
        stop = np.minimum(starts + frames + 1, count)
        weight, mean, slope, _level, left = sums.line(starts, stop)
        span = (stop - 1 - starts) * hop_s
        rises = (slope * span > _LEAST_PULL) & (span > 0.6 * seconds)
        pull = np.maximum(slope, 1e-3) * np.exp(log)
        pace = np.log(pull / shape.pull_rpm_per_s) / (2.0 * shape.pull_wide)
        score = np.where(rises, _gain(weight) - left / (2 * 0.012**2) - 0.5 * pace**2, _NEVER)
        better = score > best
        best = np.where(better, score, best)
        frames_of = np.where(better, stop - 1 - starts, frames_of)
        from_ = np.where(better, mean - slope * span / 2, from_)
    return best, frames_of, from_
