"""The picture of a race, as plain figures: the bite with its band, and the window wanted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from pitwright.desk.race.race import Option, RaceDesk
from pitwright.desk.wear.picture import Ticks, nice_ticks

__all__ = ["RacePicture", "race_picture"]

_ROOM = 0.06


@dataclass(frozen=True)
class RacePicture:
    """What is drawn: x is minutes of the race, y is engine speed [1000 rpm].

    ``bite`` is a line, ``band`` (x, low, high) columns; ``window`` the two ends of what is wanted.
    """

    bite: tuple[tuple[float, float], ...]
    band: tuple[tuple[float, float, float], ...]
    window: tuple[float, float]
    right: float
    low: float
    high: float
    x_ticks: Ticks
    y_ticks: Ticks

    def columns(self, count: int) -> Iterator[tuple[float, float, float]]:
        """Yield the band at so many places from start to end, straight between its points."""
        for i in range(count):
            x = self.right * i / max(count - 1, 1)
            pair = next((p for p in pairwise(self.band) if x <= p[1][0] + 1e-9), None)
            if pair is None:
                continue
            (a, low, high), (b, low_b, high_b) = pair
            share = (x - a) / (b - a)
            yield x, low + share * (low_b - low), high + share * (high_b - high)


def race_picture(found: RaceDesk, option: Option, columns: int, rows: int) -> RacePicture | None:
    """Return the picture of one option; None when nothing can be said of it."""
    done = option.outcome
    if done is None:
        return None
    window = tuple((found.target_rpm + side * found.half_rpm) / 1000 for side in (-1, 1))
    points = [(p.minutes, p.low / 1000, p.middle / 1000, p.high / 1000) for p in done.curve]
    low = min(window[0], *(p[1] for p in points))
    high = max(window[1], *(p[3] for p in points))
    room = _ROOM * (high - low)
    low, high = low - room, high + room
    x_ticks = nice_ticks(0.0, found.minutes, max(columns // 12, 2), finest=1.0)
    labels = x_ticks.labels
    return RacePicture(
        bite=tuple((m, middle) for m, _, middle, _ in points),
        band=tuple((m, bottom, top) for m, bottom, _, top in points),
        window=(window[0], window[1]),
        right=found.minutes,
        low=low,
        high=high,
        x_ticks=Ticks(x_ticks.at, (*labels[:-1], f"{labels[-1]} min")) if labels else x_ticks,
        y_ticks=nice_ticks(low, high, max(rows // 2, 2), finest=0.05),
    )
