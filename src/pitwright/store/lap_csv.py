"""The weekend's own lap files: one CSV per heat with the columns lap and seconds."""

from __future__ import annotations

import math
from collections.abc import Iterable

__all__ = ["MAX_LAPS", "LapFileError", "format_lap_csv", "read_lap_csv"]

MAX_LAPS = 20_000


class LapFileError(ValueError):
    """A lap file that cannot be read; the message names the line and the reason."""


def format_lap_csv(laps: Iterable[float]) -> str:
    """Return laps [s] as the weekend keeps them."""
    lines = [f"{number},{seconds:.3f}" for number, seconds in enumerate(laps, start=1)]
    return "\n".join(["lap,seconds", *lines]) + "\n"


def read_lap_csv(text: str) -> list[float]:
    """Return the laps [s] of a lap file; lines that start with # are comments.

    Raises LapFileError with the line number and the reason.
    """
    laps: list[float] = []
    header_seen = False
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.strip()
        if not line or line[0] == "#":
            continue
        if not header_seen:
            if [c.strip() for c in line.split(",")][:2] != ["lap", "seconds"]:
                raise LapFileError(f"line {number}: the columns must be 'lap,seconds'")
            header_seen = True
            continue
        try:
            seconds = float(line.split(",")[1])
        except (IndexError, ValueError):
            raise LapFileError(f"line {number}: needs a lap number and a time in seconds") from None
        if not (math.isfinite(seconds) and 0 < seconds < 86_400):
            raise LapFileError(f"line {number}: a lap of {seconds:g} s cannot be")
        laps.append(seconds)
        if len(laps) > MAX_LAPS:
            raise LapFileError(f"more than {MAX_LAPS:,} laps")
    return laps
