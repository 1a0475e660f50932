"""The path of highest total score through a grid of states, with a limit on its steps.

Viterbi, IEEE Trans. Inf. Theory 13 (1967). The charge for a change is proportional to its size on
the logarithmic axis, and no change beyond the limit is possible. A charge that adds up along the
axis lets a long step be made of short ones: steps of 1, 1, 2, 4, 8 and 16 states reach as far as
one look at every state within reach, in a fraction of the time.

A long stretch is cut into pieces that are searched side by side, each with what lies a second and
a half to either side of it: by then the best paths from all states have long run together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_CHARGE_PER_OCTAVE = 5.0
_NEVER = -1e9
_STRIDES = (1, 1, 2, 4, 8, 16)
_PIECE, CONTEXT = 360, 160


class Grid:
    """States rising in speed (rpm), and the largest change of speed in one step (limit, rpm)."""

    def __init__(self, rpm: NDArray[np.float64], per_octave: int, limit: float) -> None:
        self._count = count = len(rpm)
        # The reach in states shrinks as the speed rises.
        reaches = np.log2(1.0 + limit / rpm) * per_octave
        charge = np.float32(_CHARGE_PER_OCTAVE / per_octave)
        self._margin = max(_STRIDES)
        reach = np.zeros(count, dtype=np.intp)
        self._strides: list[tuple[int, int, np.float32]] = []
        total = 0
        for stride in _STRIDES:
            # A whole step is allowed where the limit is a part of one.
            upto = int(np.count_nonzero(reaches > total + stride - 1))
            if not upto:
                break
            total += stride
            reach[:upto] = total
            self._strides.append((stride, upto, np.float32(stride) * charge))
        near = np.arange(count)[:, None] + np.arange(-total, total + 1)[None, :]
        self._near = np.clip(near, 0, count - 1)
        far = np.abs(near - np.arange(count)[:, None])
        allowed = (far <= reach[:, None]) & (near == self._near)
        self._costs = np.where(allowed, charge * far, -2 * _NEVER).astype(np.float32)

    def path(self, scores: NDArray[np.float32]) -> NDArray[np.intp]:
        """States of the best path through these rows, one score per state and moment."""
        count = len(scores)
        pieces = -(-count // _PIECE)
        if pieces <= 1:
            return self._paths(scores[:, None, :])[:, 0]
        length = _PIECE + 2 * CONTEXT
        rows = np.zeros((length, pieces, self._count), dtype=np.float32)
        for piece in range(pieces):
            start = piece * _PIECE - CONTEXT
            inside = slice(max(0, start), min(count, start + length))
            rows[inside.start - start : inside.stop - start, piece] = scores[inside]
        found = self._paths(rows)[CONTEXT : CONTEXT + _PIECE]
        return found.T.reshape(-1)[:count]

    def _paths(self, rows: NDArray[np.float32]) -> NDArray[np.intp]:
        """Best paths of several pieces side by side; rows: (moments, pieces, states)."""
        margin, count = self._margin, self._count
        # What a path to each state was worth a moment before, for the way back.
        before = np.zeros((len(rows) + 1, rows.shape[1], count), dtype=np.float32)
        lane = np.full((rows.shape[1], count + 2 * margin), _NEVER, dtype=np.float32)
        room = np.empty((rows.shape[1], count), dtype=np.float32)
        own = lane[:, margin : margin + count]
        for at, row in enumerate(rows):
            own[:] = before[at]
            for stride, upto, charge in self._strides:
                best = room[:, :upto]
                np.maximum(
                    lane[:, margin - stride : margin - stride + upto],
                    lane[:, margin + stride : margin + stride + upto],
                    out=best,
                )
                best -= charge
                np.maximum(own[:, :upto], best, out=own[:, :upto])
            np.add(own, row, out=before[at + 1])
        return self._back(before)

    def _back(self, before: NDArray[np.float32]) -> NDArray[np.intp]:
        pieces = np.arange(before.shape[1])[:, None]
        found = np.empty(before.shape[:2], dtype=np.intp)
        state = before[-1].argmax(axis=1)
        for at in range(len(before) - 2, -1, -1):
            found[at] = state
            near = self._near[state]
            worth = before[at][pieces, near]
            worth -= self._costs[state]
            state = near[pieces[:, 0], worth.argmax(axis=1)]
        return found[:-1]
