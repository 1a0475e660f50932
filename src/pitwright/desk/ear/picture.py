"""The trace of the engine speed, thinned to what a picture of so many columns can show."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from pitwright.desk.ear.ear import Take

if TYPE_CHECKING:
    from pitwright.sound.listen import Hearing

__all__ = ["EarPicture", "ear_picture", "whole_or_launch"]

_AROUND_S = 0.6
_SHORT_S = 12.0
ROW_KRPM = 0.5
"""What a row of the picture may span about a take-up, 1000 rpm."""

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class EarPicture:
    """Seconds and 1000 rpm: where the engine was heard well, where it was not, and the frame."""

    sure: Points
    unsure: Points
    left_s: float
    right_s: float
    columns: int
    low: float
    high: float

    @property
    def sure_runs(self) -> tuple[Points, ...]:
        """The well heard trace cut where it was lost for more than two columns."""
        if not self.sure:
            return ()
        step = (self.right_s - self.left_s) / self.columns
        runs: list[list[tuple[float, float]]] = [[self.sure[0]]]
        for before, point in pairwise(self.sure):
            if point[0] - before[0] > 2.5 * step:
                runs.append([])
            runs[-1].append(point)
        return tuple(tuple(run) for run in runs)


def whole_or_launch(hearing: Hearing, take: Take | None, *, whole: bool) -> tuple[float, float]:
    """Return the stretch to show [s]: a short recording whole, of a long one the launch in hand."""
    end = max(hearing.duration_s, 0.1)
    if whole or take is None or end <= _SHORT_S:
        return 0.0, end
    return max(0.0, take.start_s - _AROUND_S), min(end, take.end_s + _AROUND_S)


def ear_picture(
    hearing: Hearing,
    left_s: float,
    right_s: float,
    columns: int,
    levels: tuple[float, ...] = (),
    rows: int = 0,
) -> EarPicture | None:
    """Return the trace between two moments, one point a column of each kind; None without one.

    levels: speeds [rpm] that must be in the frame too; rows: of the picture, when they are so few
    that the speeds are to be shown closer, 500 rpm a row.
    """
    import numpy as np

    from pitwright.sound.events import SURE

    track = hearing.track
    if not len(track):
        return None
    edges = np.linspace(left_s, right_s, max(columns, 2) + 1)
    at = np.searchsorted(track.time_s, edges)
    sure: list[tuple[float, float]] = []
    unsure: list[tuple[float, float]] = []
    for column in range(len(edges) - 1):
        part = slice(at[column], max(at[column + 1], at[column] + 1))
        rpm, good = track.rpm[part], track.confidence[part] >= SURE
        if not len(rpm):
            continue
        middle = float((edges[column] + edges[column + 1]) / 2)
        if good.any():
            sure.append((middle, float(np.median(rpm[good])) / 1000))
        else:
            unsure.append((middle, float(np.median(rpm)) / 1000))
    shown = [y for _x, y in sure] or [y for _x, y in unsure]
    if not shown:
        return None
    shown += [level / 1000 for level in levels]
    low, high = min(shown), max(shown)
    pad = max(0.06 * (high - low), 0.5)
    low, high = max(0.0, low - pad), high + pad
    if levels and rows and (high - low) / rows > ROW_KRPM:
        # What counts is the stand: it gets rows fine enough, and idle and top may run out.
        middle = sum(levels) / len(levels) / 1000
        half = max(rows * ROW_KRPM / 2, max(abs(level / 1000 - middle) for level in levels) + pad)
        low, high = max(low, middle - half), min(high, middle + half)
        sure = [p for p in sure if low <= p[1] <= high]
    inside = tuple(p for p in unsure if low <= p[1] <= high)
    return EarPicture(tuple(sure), inside, left_s, right_s, len(edges) - 1, low, high)
