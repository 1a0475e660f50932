"""The picture of a wearing part, as plain figures: what lies where, and between which ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pitwright.desk.wear.part_forecast import PartForecast

__all__ = ["Ticks", "WearPicture", "nice_ticks", "wear_picture"]

_ROOM = 0.08  # of the height, above and below


@dataclass(frozen=True)
class Ticks:
    """Where an axis is marked, and with what."""

    at: tuple[float, ...]
    labels: tuple[str, ...]


@dataclass(frozen=True)
class WearPicture:
    """What is drawn: x is running [min], y is size [mm].

    ``readings`` and ``unsqueezed`` are points, ``middle`` a line, ``band`` (x, low, high) columns
    cut to the picture; ``limit`` a height and ``goal`` a place on x, None when there is none.
    """

    readings: tuple[tuple[float, float], ...]
    unsqueezed: tuple[tuple[float, float], ...]
    middle: tuple[tuple[float, float], ...]
    band: tuple[tuple[float, float, float], ...]
    limit: float | None
    goal: float | None
    left: float
    right: float
    low: float
    high: float
    x_ticks: Ticks
    y_ticks: Ticks


def nice_ticks(low: float, high: float, most: int, *, finest: float = 0.0) -> Ticks:
    """Return at most ``most`` round marks between two ends, with no more digits than needed.

    >>> nice_ticks(0.0, 62.0, 5).labels
    ('0', '20', '40', '60')
    >>> nice_ticks(9.76, 10.26, 6).labels
    ('9.8', '9.9', '10.0', '10.1', '10.2')
    """
    span = high - low
    if not (span > 0.0 and math.isfinite(span)):
        return Ticks((), ())
    power = 10.0 ** math.floor(math.log10(span / max(most, 1)))
    for step in (power, 2 * power, 5 * power, 10 * power, 20 * power):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        if step >= finest and last - first + 1 <= most:
            break
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    at = tuple(i * step for i in range(first, last + 1))
    return Ticks(at, tuple(f"{value:.{decimals}f}" for value in at))


def wear_picture(found: PartForecast, columns: int, rows: int) -> WearPicture | None:
    """Return the picture for a canvas of so many columns and rows; None with nothing to draw.

    The band far below the limit is cut off: what matters is where it meets the limit.
    """
    if not found.points:
        return None
    limit = found.limit.value_mm if found.limit is not None else None
    heights = [p.value_mm for p in found.points]
    if limit is not None:
        heights.append(limit)
    if found.curve:
        heights += [p.middle for p in found.curve if p.minutes <= found.age_minutes]
    low, high = min(heights), max(heights)
    room = _ROOM * max(high - low, 0.02)
    low, high = low - 2 * room, high + room
    read = max(p.minutes for p in found.points)
    right = found.curve[-1].minutes if found.curve else max(1.15 * read, 1.0)
    band: list[tuple[float, float, float]] = []
    fine = 3 * max(columns, 2)  # so that no column of signs is skipped by rounding
    for i in range(fine):
        x = right * i / (fine - 1)
        edges = _edges(found, x)
        if edges is None:
            continue
        bottom, top = max(edges[0], low), min(edges[1], high)
        if bottom < top:
            band.append((x, bottom, top))
    ahead = found.standing != "thrown away" and bool(found.curve)
    return WearPicture(
        readings=tuple((p.minutes, p.value_mm) for p in found.points if p.run_in),
        unsqueezed=tuple((p.minutes, p.value_mm) for p in found.points if not p.run_in),
        middle=tuple((c.minutes, c.middle) for c in found.curve if low <= c.middle <= high),
        band=tuple(band),
        limit=limit,
        goal=found.goal_minutes if ahead else None,
        left=0.0,
        right=right,
        low=low,
        high=high,
        x_ticks=_in_minutes(nice_ticks(0.0, right, max(columns // 12, 2), finest=1.0)),
        y_ticks=nice_ticks(low, high, max(rows // 2, 2), finest=0.01),
    )


def _in_minutes(ticks: Ticks) -> Ticks:
    labels = ticks.labels
    return Ticks(ticks.at, (*labels[:-1], f"{labels[-1]} min")) if labels else ticks


def _edges(found: PartForecast, x: float) -> tuple[float, float] | None:
    for a, b in pairwise(found.curve):
        if a.minutes <= x <= b.minutes:
            share = (x - a.minutes) / (b.minutes - a.minutes)
            return (a.low + share * (b.low - a.low), a.high + share * (b.high - a.high))
    return None


def rows_between(low: float, high: float, step: float) -> Sequence[float]:
    """Return heights a step apart that fill a column from low to high, both ends included."""
    count = max(1, math.ceil((high - low) / step))
    return [low + (high - low) * i / count for i in range(count + 1)]
