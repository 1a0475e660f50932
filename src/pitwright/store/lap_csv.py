"""The weekend's own file of laps: CSV with lap, seconds and, where there are any, mark."""

import math
from collections.abc import Mapping, Sequence

from pitwright.signs import visible
from pitwright.timing.text import MOST_LAPS, LapFileError

HEADER = "lap,seconds"
MARKED = f"{HEADER},mark"
_NO_MARK = str.maketrans(',"\r\n', "    ")


def format_lap_csv(laps: Sequence[float], marks: Mapping[int, str] | None = None) -> str:
    """Write laps (seconds) as text for the weekend's laps folder, to the microsecond.

    marks: what stood beside a lap where it came from, by its number from 1.
    Raises ValueError when a lap is not a positive finite number.
    """
    rows = [MARKED if marks else HEADER]
    for number, seconds in enumerate(laps, 1):
        value = round(float(seconds), 6)
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"lap {number} is {seconds!r}: a lap takes more than 0 s")
        row = f"{number},{value:.6f}".rstrip("0").rstrip(".")
        mark = " ".join(visible((marks or {}).get(number, "")).translate(_NO_MARK).split())
        rows.append(f"{row},{mark}" if mark else row)
    return "\n".join(rows) + "\n"


def read_lap_csv(text: str) -> tuple[float, ...]:
    """Read what `format_lap_csv` wrote, in the order of the lap numbers, which run from 1.

    A byte order mark, CRLF and blank lines are let pass, for files that were opened elsewhere.
    Raises LapFileError with the line and the reason for anything else.
    """
    return tuple(seconds for seconds, _ in _rows(text))


def read_lap_marks(text: str) -> dict[int, str]:
    """Read the marks in what `format_lap_csv` wrote, by the number of the lap. Raises as above."""
    return {lap: mark for lap, (_, mark) in enumerate(_rows(text), 1) if mark}


def _rows(text: str) -> list[tuple[float, str]]:
    lines = text.removeprefix("\ufeff").split("\n")
    header = lines[0].strip().replace(" ", "").lower()
    if header not in (HEADER, MARKED):
        raise LapFileError(f"the first line must read {HEADER!r}", 1)
    if len(lines) > 2 * MOST_LAPS:
        raise LapFileError(f"more than {MOST_LAPS} laps")
    laps: list[tuple[float, str]] = []
    for line, row in enumerate(lines[1:], 2):
        if not row or row.isspace():
            continue
        number, comma, seconds = row.partition(",")
        mark = ""
        if header == MARKED:
            seconds, _, mark = seconds.partition(",")
        try:
            if "_" in number + seconds:  # Python would take it for a grouping sign
                raise ValueError
            lap, value = int(number), float(seconds)
        except ValueError:
            reason = f"{row.strip()[:40]!r} is not a lap number, a comma and seconds"
            raise LapFileError(reason, line) from None
        if lap != len(laps) + 1:
            raise LapFileError(f"lap {lap} where lap {len(laps) + 1} should be", line)
        if not (comma and 0.0 < value < math.inf):
            raise LapFileError(f"{seconds.strip()!r} is not a lap time above 0 s", line)
        laps.append((value, visible(mark).strip()))
    if len(laps) > MOST_LAPS:
        raise LapFileError(f"more than {MOST_LAPS} laps")
    return laps
