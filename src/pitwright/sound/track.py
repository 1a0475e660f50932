"""One continuous engine speed through the scored frames: the path that explains them best.

Dynamic programming (Viterbi, IEEE Trans. Inf. Theory 13, 1967): the path with the largest sum of
scores less a charge for every change of speed, among paths that never change faster than an engine
can. A free two-stroke of this size climbs at up to 300,000 rpm a second (common practice, no
source).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pitwright.sound.spectrum import STEPS_PER_OCTAVE, Frames, candidate_rpm

FASTEST_RPM_PER_S = 300_000.0
_JUMP_CHARGE = 5.0  # score per per octave of change
_STATES_PER_OCTAVE = STEPS_PER_OCTAVE // 2
_COMMIT_FRAMES = 4_000
_LAG_FRAMES = 400
SILENCE_DB = -75.0


@dataclass(frozen=True)
class Track:
    """Engine speed against time.

    rpm: speed of each frame; confidence: 0 to 1, the chance by past trials that the frame is right
    within 2 %; every_second: fires every second turn there; level_db, burst_db: see Frames.
    frame_s and hop_s: length of a frame and the distance between two.
    """

    time_s: NDArray[np.float64]
    rpm: NDArray[np.float64]
    confidence: NDArray[np.float64]
    every_second: NDArray[np.bool_]
    level_db: NDArray[np.float64]
    burst_db: NDArray[np.float64]
    frame_s: float
    hop_s: float

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass(frozen=True)
class _Band:
    """Some neighbouring states, with views and room so that a step allocates next to nothing."""

    states: slice
    view: NDArray[np.float32]
    charge: NDArray[np.float32]
    room: NDArray[np.float32]
    row_start: NDArray[np.intp]
    origin: NDArray[np.intp]


class Tracker:
    """Follows the speed through frames as they come; memory does not grow with the scores."""

    def __init__(self, hop_s: float, frame_s: float, limit: float = FASTEST_RPM_PER_S) -> None:
        self._hop_s, self._frame_s = hop_s, frame_s
        fine = candidate_rpm()
        self._fine_rpm = fine
        self._count = len(fine) // 2
        self._rpm = np.sqrt(fine[0 : 2 * self._count : 2] * fine[1 : 2 * self._count : 2])
        self._bands = self._make_bands(limit * hop_s)
        self._back: list[NDArray[np.int16]] = []
        self._held: list[Frames] = []
        self._pending = 0
        self._parts: list[tuple[NDArray[np.float64], ...]] = []

    def _make_bands(self, limit: float) -> list[_Band]:
        """Neighbouring states with one reach each; the reach shrinks as the speed rises."""
        reaches = np.ceil(np.log2(1.0 + limit / self._rpm) * _STATES_PER_OCTAVE).astype(int)
        margin = int(reaches.max())
        self._padded = np.full(self._count + 2 * margin, -1e9, dtype=np.float32)
        self._inner = self._padded[margin : margin + self._count]
        self._inner[:] = 0.0
        bands = []
        edges = [0, *(round(self._count * share) for share in (0.12, 0.3, 0.6)), self._count]
        for low, high in pairwise(edges):
            reach = int(reaches[low])
            lane = self._padded[margin + low - reach : margin + high + reach]
            offsets = np.abs(np.arange(-reach, reach + 1)) / _STATES_PER_OCTAVE
            width = 2 * reach + 1
            bands.append(
                _Band(
                    slice(low, high),
                    np.lib.stride_tricks.sliding_window_view(lane, width),
                    np.broadcast_to(_JUMP_CHARGE * offsets, (high - low, width)).astype(np.float32),
                    np.empty((high - low, width), dtype=np.float32),
                    np.arange(high - low) * width,
                    np.arange(low, high) - reach,
                )
            )
        return bands

    def feed(self, frames: Frames) -> None:
        """Take the next frames."""
        if not len(frames.time_s):
            return
        self._held.append(frames)
        even = frames.score[:, : 2 * self._count]
        states = np.maximum(even[:, 0::2], even[:, 1::2])
        for row in states:
            self._step(row)
        self._pending += len(states)
        if self._pending >= _COMMIT_FRAMES + _LAG_FRAMES:
            self._commit(self._pending - _LAG_FRAMES)

    def _step(self, row: NDArray[np.float32]) -> None:
        back = np.empty(self._count, dtype=np.int16)
        best = np.empty(self._count, dtype=np.float32)
        for band in self._bands:
            np.subtract(band.view, band.charge, out=band.room)
            pick = band.room.argmax(axis=1)
            best[band.states] = band.room.ravel()[band.row_start + pick]
            back[band.states] = pick + band.origin
        best += row
        np.subtract(best, best.max(), out=self._inner)
        self._back.append(back)

    def _commit(self, count: int) -> None:
        """Fix the first frames; the path through them is settled by the frames behind."""
        path = np.empty(self._pending, dtype=np.intp)
        state = int(self._inner.argmax())
        for at in range(self._pending - 1, -1, -1):
            path[at] = state
            state = int(self._back[at][state])
        held = _join(self._held)
        self._parts.append(self._refine(held, path, count))
        self._back = self._back[count:]
        self._held = [_tail(held, count)]
        self._pending -= count

    def _refine(
        self, held: Frames, path: NDArray[np.intp], count: int
    ) -> tuple[NDArray[np.float64], ...]:
        """Peak of the fine score by a parabola through three steps."""
        rows = np.arange(count)
        fine = 2 * path[:count]
        score = held.score[:count]
        fine = fine + (score[rows, fine + 1] > score[rows, fine])
        width = score.shape[1]
        # The state is two steps wide; let the peak be one step to either side.
        around = np.clip(fine[:, None] + np.arange(-2, 3), 1, width - 2)
        fine = around[rows, score[rows[:, None], around].argmax(axis=1)]
        left, mid, right = (score[rows, fine + k].astype(float) for k in (-1, 0, 1))
        bend = left - 2.0 * mid + right
        with np.errstate(divide="ignore", invalid="ignore"):
            shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
        shift = np.clip(shift, -0.5, 0.5)
        rpm = self._fine_rpm[0] * 2.0 ** ((fine + shift) / STEPS_PER_OCTAVE)
        return (
            held.time_s[:count],
            rpm,
            mid,
            held.every_second[rows, fine].astype(float),
            held.level_db[:count].astype(float),
            held.burst_db[:count].astype(float),
        )

    def finish(self) -> Track:
        """The whole track."""
        if self._pending:
            self._commit(self._pending)
        if not self._parts:
            empty = np.zeros(0)
            none = np.zeros(0, dtype=np.bool_)
            return Track(empty, empty, empty, none, empty, empty, self._frame_s, self._hop_s)
        time, rpm, score, every, level, burst = (
            np.concatenate(column) for column in zip(*self._parts, strict=True)
        )
        confidence = confidence_of(score)
        confidence[level < SILENCE_DB] = 0.0
        return Track(time, rpm, confidence, every > 0.5, level, burst, self._frame_s, self._hop_s)


def confidence_of(score: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chance that a frame of this score is right."""
    return 1.0 / (1.0 + np.exp(-(score - 1.1) / 0.2))


def _majority(flags: NDArray[np.float64], half: int) -> NDArray[np.bool_]:
    """Where most frames of the neighbourhood agree; one frame's flag alone means little."""
    total = np.concatenate(([0.0], np.cumsum(flags)))
    at = np.arange(len(flags))
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, len(flags))
    return np.asarray(total[high] - total[low] > 0.6 * (high - low))


def _join(parts: list[Frames]) -> Frames:
    if len(parts) == 1:
        return parts[0]
    return Frames(
        *(
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("time_s", "score", "every_second", "level_db", "burst_db")
        )
    )


def _tail(frames: Frames, start: int) -> Frames:
    return Frames(
        *(
            getattr(frames, name)[start:].copy()
            for name in ("time_s", "score", "every_second", "level_db", "burst_db")
        )
    )
