"""The path of highest total score through a grid of states, with a limit on its steps.

Viterbi, IEEE Trans. Inf. Theory 13 (1967). The charge for a change is proportional to its size on
the logarithmic axis, and no change beyond the limit is possible.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

_CHARGE_PER_OCTAVE = 5.0
_NEVER = -1e9


@dataclass(frozen=True)
class _Band:
    """Some neighbouring states, with views and room so that a step allocates next to nothing."""

    states: slice
    view: NDArray[np.float32]
    charge: NDArray[np.float32]
    room: NDArray[np.float32]
    row_start: NDArray[np.intp]
    origin: NDArray[np.intp]


class Path:
    """Grows by one row of scores a step; limit is the largest change of speed in one step, rpm."""

    def __init__(self, rpm: NDArray[np.float64], per_octave: int, limit: float) -> None:
        self._count = len(rpm)
        self._back: list[NDArray[np.int16]] = []
        reaches = np.ceil(np.log2(1.0 + limit / rpm) * per_octave).astype(int)
        margin = int(reaches.max())
        padded = np.full(self._count + 2 * margin, _NEVER, dtype=np.float32)
        self._best = padded[margin : margin + self._count]
        self._best[:] = 0.0
        self._bands: list[_Band] = []
        # The reach in states shrinks as the speed rises; four bands come close enough to it.
        edges = [0, *(round(self._count * share) for share in (0.12, 0.3, 0.6)), self._count]
        for low, high in pairwise(edges):
            reach = int(reaches[low])
            lane = padded[margin + low - reach : margin + high + reach]
            width = 2 * reach + 1
            charge = _CHARGE_PER_OCTAVE / per_octave * np.abs(np.arange(-reach, reach + 1))
            self._bands.append(
                _Band(
                    slice(low, high),
                    np.lib.stride_tricks.sliding_window_view(lane, width),
                    np.broadcast_to(charge, (high - low, width)).astype(np.float32),
                    np.empty((high - low, width), dtype=np.float32),
                    np.arange(high - low) * width,
                    np.arange(low, high) - reach,
                )
            )

    def step(self, row: NDArray[np.float32]) -> None:
        """Take the scores of the next moment, one per state."""
        back = np.empty(self._count, dtype=np.int16)
        best = np.empty(self._count, dtype=np.float32)
        for band in self._bands:
            np.subtract(band.view, band.charge, out=band.room)
            pick = band.room.argmax(axis=1)
            best[band.states] = band.room.ravel()[band.row_start + pick]
            back[band.states] = pick + band.origin
        best += row
        np.subtract(best, best.max(), out=self._best)
        self._back.append(back)

    def trace(self) -> NDArray[np.intp]:
        """States of the best path over all rows not yet forgotten."""
        path = np.empty(len(self._back), dtype=np.intp)
        state = int(self._best.argmax())
        for at in range(len(path) - 1, -1, -1):
            path[at] = state
            state = int(self._back[at][state])
        return path

    def forget(self, count: int) -> None:
        """Drop the oldest rows: their part of the path has been taken."""
        self._back = self._back[count:]
