"""The path of highest total score through a grid of states, with a limit on its steps.

Viterbi, IEEE Trans. Inf. Theory 13 (1967). The charge for a change is proportional to its size on
the logarithmic axis, and no change beyond the limit is possible. A charge that adds up along the
axis lets a long step be made of short ones: steps of 1, 1, 2, 4, 8 and 16 states reach as far as
one look at every state within reach, in a fraction of the time.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_CHARGE_PER_OCTAVE = 5.0
_NEVER = -1e9
_STRIDES = (1, 1, 2, 4, 8, 16)


class Path:
    """Grows by one row of scores a step; limit is the largest change of speed in one step, rpm."""

    def __init__(self, rpm: NDArray[np.float64], per_octave: int, limit: float) -> None:
        self._count = count = len(rpm)
        # The reach in states shrinks as the speed rises.
        reaches = np.log2(1.0 + limit / rpm) * per_octave
        self._charge = np.float32(_CHARGE_PER_OCTAVE / per_octave)
        self._margin = margin = max(_STRIDES)
        self._lane = np.full(count + 2 * margin, _NEVER, dtype=np.float32)
        self._room = np.empty(count, dtype=np.float32)
        self._before: list[NDArray[np.float32]] = []
        self._best = np.zeros(count, dtype=np.float32)
        self._reach = np.zeros(count, dtype=np.intp)
        self._strides: list[tuple[int, int, np.float32]] = []
        total = 0
        for stride in _STRIDES:
            # A whole step is allowed where the limit is a part of one.
            upto = int(np.count_nonzero(reaches > total + stride - 1))
            if not upto:
                break
            total += stride
            self._reach[:upto] = total
            self._strides.append((stride, upto, np.float32(stride) * self._charge))

    def step(self, row: NDArray[np.float32]) -> None:
        """Take the scores of the next moment, one per state."""
        margin, lane, count = self._margin, self._lane, self._count
        self._before.append(self._best)
        lane[margin : margin + count] = self._best
        for stride, upto, charge in self._strides:
            room, own = self._room[:upto], lane[margin : margin + upto]
            np.maximum(
                lane[margin - stride : margin - stride + upto],
                lane[margin + stride : margin + stride + upto],
                out=room,
            )
            np.subtract(room, charge, out=room)
            np.maximum(own, room, out=own)
        best = lane[margin : margin + count] + row
        best -= best.max()
        self._best = best

    def trace(self) -> NDArray[np.intp]:
        """States of the best path over all rows not yet forgotten."""
        path = np.empty(len(self._before), dtype=np.intp)
        state = int(self._best.argmax())
        farthest = int(self._reach.max())
        charges = self._charge * np.abs(np.arange(-farthest, farthest + 1, dtype=np.float32))
        for at in range(len(path) - 1, -1, -1):
            path[at] = state
            reach = int(self._reach[state])
            low, high = max(0, state - reach), min(self._count, state + reach + 1)
            cost = charges[farthest + low - state : farthest + high - state]
            state = low + int((self._before[at][low:high] - cost).argmax())
        return path

    def forget(self, count: int) -> None:
        """Drop the oldest rows: their part of the path has been taken."""
        self._before = self._before[count:]
