"""The weekend's own file of laps: CSV with the columns lap and seconds."""

import math
from collections.abc import Sequence

from pitwright.timing.text import MOST_LAPS, LapFileError

HEADER = "lap,seconds"


def format_lap_csv(laps: Sequence[float]) -> str:
    """Write laps (seconds) as text for the weekend's laps folder, to the microsecond.

    Raises ValueError when a lap is not a positive finite number.
    """
    rows = [HEADER]
    for number, seconds in enumerate(laps, 1):
        value = round(float(seconds), 6)
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"lap {number} is {seconds!r}: a lap takes more than 0 s")
        rows.append(f"{number},{value:.6f}".rstrip("0").rstrip("."))
    return "\n".join(rows) + "\n"


def read_lap_csv(text: str) -> tuple[float, ...]:
    """Read what `format_lap_csv` wrote, in the order of the lap numbers, which run from 1.

    A byte order mark, CRLF and blank lines are let pass, for files that were opened elsewhere.
    Raises LapFileError with the line and the reason for anything else.
    """
    lines = text.removeprefix("\ufeff").split("\n")
    if lines[0].strip().replace(" ", "").lower() != HEADER:
        raise LapFileError(f"the first line must read {HEADER!r}", 1)
    if len(lines) > 2 * MOST_LAPS:
        raise LapFileError(f"more than {MOST_LAPS} laps")
    laps: list[float] = []
    for line, row in enumerate(lines[1:], 2):
        if not row or row.isspace():
            continue
        number, comma, seconds = row.partition(",")
        try:
            if "_" in row:  # Python would take it for a grouping sign
                raise ValueError
            lap, value = int(number), float(seconds)
        except ValueError:
            reason = f"{row.strip()[:40]!r} is not a lap number, a comma and seconds"
            raise LapFileError(reason, line) from None
        if lap != len(laps) + 1:
            raise LapFileError(f"lap {lap} where lap {len(laps) + 1} should be", line)
        if not (comma and 0.0 < value < math.inf):
            raise LapFileError(f"{seconds.strip()!r} is not a lap time above 0 s", line)
        laps.append(value)
    if len(laps) > MOST_LAPS:
        raise LapFileError(f"more than {MOST_LAPS} laps")
    return tuple(laps)
