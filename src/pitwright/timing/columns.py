"""Which column of a table of laps is what: by its heading, else by its contents."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Literal

from pitwright.timing.tables import Row, is_time
from pitwright.timing.times import TimeCell, read_time

Role = Literal["lap", "lap time", "time", "passing", "driver", "number", "ignore"]

_ROLES: tuple[tuple[Role, str], ...] = (
    ("ignore", r"best|gap|diff|delta|behind|pos|position|place|rank|sector|speed|avg|average|date"),
    ("passing", r"passing|passings|elapsed|cumulative|total|clock|timestamp|crossing|running|"
                r"passage|total time|elapsed time|passing time|"
                r"cumulative time|gesamt|gesamtzeit|uhrzeit|race time|time of day|session time"),
    ("lap time", r"lap time|laptime|lap seconds|lap ms|rundenzeit|temps au tour|tempo giro|"
                 r"tiempo de vuelta|volta tempo"),
    ("driver", r"driver|drivers|name|pilot|pilote|piloto|pilota|fahrer|racer|competitor|entrant"),
    ("number", r"car|car no|car number|transponder|start number|startnummer"),
    ("lap", r"lap|laps|lap no|lap number|lap nr|no|nr|number|runde|rundennummer|tour|giro|vuelta|"
            r"volta|n|#|count"),
    ("time", r"time|times|seconds|second|sec|secs|s|zeit|zeiten|temps|tempo|tiempo|duration|ms|"
             r"msec|millis|milliseconds|sekunden|secondes|segundos|secondi"),
)  # fmt: skip
_UNITS = r"(?:\s(?:s|sec|secs|seconds|ms|msec|millis|milliseconds|min|hms|h m s|m s))?"
_PATTERNS = [(role, re.compile(rf"(?:the\s)?(?:{words}){_UNITS}")) for role, words in _ROLES]
_FIRST_WORD = re.compile(rf"(?:{_ROLES[0][1]})\b.*")
_MILLIS = re.compile(r"\b(?:ms|msec|millis|milliseconds)\b")
_NUMBERED_LAP = re.compile(r"(lap|l|runde|rd|tour|giro|vuelta|volta|)\s*0*(\d{1,4})", re.I)
_SECTION = re.compile(r"(?:driver|name|pilot|pilote|piloto|fahrer)\s*[:=]\s*(\S.*)", re.I)


@dataclass(frozen=True)
class Columns:
    """Where things stand. Columns count from 0; None where there is none.

    times: the columns of times, several when each driver has one. names: whose they are then.
    kind: "lap time" or "passing" where the heading says so, else "time". flow: every cell is a lap,
    read line by line. grid: columns of times without a heading that could be either. across: a line
    holds all the laps of a driver, the n-th in the n-th of the columns of times; numbers: which.
    """

    header: Row | None
    times: tuple[int, ...]
    names: tuple[str, ...] = ()
    lap: int | None = None
    driver: int | None = None
    kind: Literal["lap time", "passing", "time"] = "time"
    milliseconds: bool = False
    flow: bool = False
    grid: bool = False
    across: bool = False
    numbers: tuple[int, ...] = ()

    def unused_headings(self) -> tuple[str, ...]:
        """Headings of the columns nothing is taken from."""
        if self.header is None or self.flow:
            return ()
        used = {*self.times, self.lap, self.driver}
        return tuple(cell for at, cell in enumerate(self.header.cells) if cell and at not in used)


def heading_role(name: str) -> Role | None:
    """What a heading says its column holds, None when it is not a word for any of it."""
    plain = " ".join(re.sub(r"[^\w#]+|_", " ", name.casefold()).split())
    if _FIRST_WORD.fullmatch(plain):
        return "ignore"
    for role, pattern in _PATTERNS:
        if pattern.fullmatch(plain):
            return role
    return None


def section_driver(row: Row) -> str | None:
    """The driver a line of its own announces ("Driver: ..."), None for any other line."""
    cells = [cell for cell in row.cells if cell]
    if match := _SECTION.fullmatch(" ".join(cells)):
        return match.group(1).strip()
    if len(cells) == 2 and heading_role(cells[0].rstrip(":=")) == "driver":
        return None if heading_role(cells[1]) or is_time(cells[1]) else cells[1]
    return None


def find_header(rows: Sequence[Row]) -> Row | None:
    """The line of headings among the first thirty, if there is one."""
    for at, row in enumerate(rows[:30]):
        if len(_numbered_laps(row)) > 1:
            return row
        if any(is_time(cell) for cell in row.cells) or section_driver(row):
            continue
        roles = {heading_role(cell) for cell in row.cells if cell}
        after = rows[at + 1] if at + 1 < len(rows) else None
        if roles & {"lap time", "time", "passing"} or (len(row.cells) > 1 and "lap" in roles):
            return row
        if (
            after is not None
            and len(row.cells) > 1
            and all(row.cells)
            and len(after.cells) == len(row.cells)
            and any(is_time(cell) for cell in after.cells)
            and len(set(row.cells)) == len(row.cells)
            and sum(is_time(cell) for cell in after.cells) == len(row.cells)
        ):
            return row
    return None


def _numbered_laps(header: Row) -> dict[int, int]:
    """Columns headed "lap 1", "lap 2" and on, each with its number; empty when there are none.

    Bare numbers count only beside a heading of names, or the columns may as well be cars.
    """
    found = {
        column: (match.group(1).casefold(), int(match.group(2)))
        for column, cell in enumerate(header.cells)
        if (match := _NUMBERED_LAP.fullmatch(cell.strip()))
    }
    words = {word for word, _ in found.values()}
    numbers = [number for _, number in found.values()]
    named = any(heading_role(cell) in ("driver", "number") for cell in header.cells if cell)
    if len(words) != 1 or numbers[0] > 1 or any(b != a + 1 for a, b in pairwise(numbers)):
        return {}
    return {} if words == {""} and not named else dict(zip(found, numbers, strict=True))


def find_columns(rows: Sequence[Row]) -> Columns:
    """Settle which column is what. `rows` are all lines of the table, the heading included."""
    header = find_header(rows)
    if header is not None:
        body = [row for row in rows if row.line > header.line]
        found = _by_heading(header, body)
        if found is not None:
            return found
    return _by_contents(header, rows if header is None else body)


def _by_heading(header: Row, body: Sequence[Row]) -> Columns | None:
    roles = [heading_role(cell) if cell else "ignore" for cell in header.cells]
    at: dict[Role, list[int]] = {}
    for column, role in enumerate(roles):
        if role is not None:
            at.setdefault(role, []).append(column)
    lap = at["lap"][0] if "lap" in at else None
    driver = next(iter(at.get("driver", at.get("number", []))), None)
    across = _numbered_laps(header)
    if len(across) > 1:
        who = lap if driver is None else driver
        numbers = tuple(across.values())
        return Columns(header, tuple(across), driver=who, across=True, numbers=numbers)
    kind: Literal["lap time", "passing", "time"] | None = None
    times: tuple[int, ...] = ()
    if "lap time" in at:
        kind, times = "lap time", (at["lap time"][0],)
    elif "time" in at:
        kind, times = ("lap time" if "passing" in at else "time"), (at["time"][0],)
    elif "passing" in at:
        kind, times = "passing", (at["passing"][0],)
    if kind is not None:
        millis = bool(_MILLIS.search(header.cells[times[0]].casefold().replace("_", " ")))
        return Columns(header, times, (), lap, driver, kind, millis)
    unnamed = [c for c, role in enumerate(roles) if role is None]
    wide = tuple(c for c in unnamed if _share_of_times(body, c) >= 0.5)
    if wide:
        return Columns(header, wide, tuple(header.cells[c] for c in wide), lap, None, "time")
    if lap is not None and len(header.cells) == 1:  # one column headed "laps"
        return Columns(header, (lap,), (), None, None, "time")
    return None


def _by_contents(header: Row | None, rows: Sequence[Row]) -> Columns:
    timed = [row for row in rows if any(is_time(cell) for cell in row.cells)]
    if not timed:
        return Columns(header, (0,))
    widths = Counter(len(row.cells) for row in timed)
    width = max(widths)
    usual = widths.most_common(1)[0][0]
    if width == 1:
        return Columns(header, (0,))
    plain = all(is_time(cell) for row in timed for cell in row.cells if cell)
    timed_cells = sum(is_time(cell) for cell in timed[0].cells)
    if len(timed) == 1 and width > 2 and 2 * timed_cells > width and header is None:
        return Columns(header, tuple(range(width)), flow=True)
    columns = [c for c in range(usual) if _share_of_times(timed, c) >= 0.6]
    lap = next((c for c in columns if _counts_up(timed, c)), None)
    if plain and lap is None and len(widths) > 1 and header is None:
        return Columns(header, tuple(range(width)), flow=True)
    times = [c for c in columns if c != lap]
    if header is None and lap is None and len(times) > 2 and _named_lines(timed, times):
        every = tuple(range(1, width))
        return Columns(None, every, driver=0, across=True, numbers=every)
    texts = [c for c in range(usual) if c not in columns and _share_filled(timed, c) >= 0.5]
    driver = next((c for c in texts if _repeats(timed, c)), None)
    if driver is None and len(times) > 1:
        driver = next((c for c in times if _all_whole(timed, c) and _repeats(timed, c)), None)
        times = [c for c in times if c != driver]
    if not times:
        return Columns(header, (lap if lap is not None else 0,), driver=driver)
    if len(times) == 1:
        return Columns(header, (times[0],), (), lap, driver)
    summed = _lap_and_running_total(timed, times, driver)
    if summed is not None:
        return Columns(header, (summed,), (), lap, driver, "lap time")
    names = tuple(f"column {c + 1}" for c in times)
    return Columns(header, tuple(times), names, lap, None, grid=plain and lap is None)


def _named_lines(rows: Sequence[Row], times: Sequence[int]) -> bool:
    """Whether each line is a name of its own and then times: the laps of one driver each."""
    names = [row.cells[0] for row in rows]
    return (
        0 not in times
        and all(names)
        and len(set(names)) == len(names)
        and not any(is_time(name) or _NUMBERED_LAP.fullmatch(name) for name in names)
    )


def _values(rows: Sequence[Row], column: int) -> list[float | None]:
    out: list[float | None] = []
    for row in rows:
        read = read_time(row.cells[column]) if column < len(row.cells) else ""
        out.append(read.value if isinstance(read, TimeCell) else None)
    return out


def _share_of_times(rows: Sequence[Row], column: int) -> float:
    values = _values(rows, column)
    filled = sum(1 for row in rows if column < len(row.cells) and row.cells[column])
    return sum(v is not None for v in values) / filled if filled else 0.0


def _share_filled(rows: Sequence[Row], column: int) -> float:
    return sum(1 for r in rows if column < len(r.cells) and r.cells[column]) / len(rows)


def _all_whole(rows: Sequence[Row], column: int) -> bool:
    return all(r.cells[column].isdigit() for r in rows if column < len(r.cells))


def _repeats(rows: Sequence[Row], column: int) -> bool:
    seen = Counter(r.cells[column] for r in rows if column < len(r.cells))
    return len(rows) > 1 and 2 * len(seen) <= len(rows)


def _counts_up(rows: Sequence[Row], column: int) -> bool:
    """Whether a column is a lap number: whole numbers of which most go up or down by one.

    With several drivers on alternate lines a number repeats before it moves on.
    """
    values = [v for v in _values(rows, column) if v is not None]
    if len(values) < 2 or not _all_whole_or_empty(rows, column) or min(values) > 2.0:
        return False
    steps = [b - a for a, b in pairwise(values)]
    near = sum(abs(step) <= 1.0 for step in steps) + sum(
        b <= 1.0 for a, b in pairwise(values) if b < a - 1
    )
    return near >= 0.7 * len(steps) and any(step != 0.0 for step in steps)


def _all_whole_or_empty(rows: Sequence[Row], column: int) -> bool:
    whole = sum(r.cells[column].isdigit() for r in rows if column < len(r.cells))
    return whole >= 0.8 * len(rows)


def _lap_and_running_total(
    rows: Sequence[Row], times: Sequence[int], driver: int | None
) -> int | None:
    """The column of which another is the running total, if there is such a pair."""
    for total in times:
        sums = _values(rows, total)
        for single in times:
            if single == total:
                continue
            laps = _values(rows, single)
            by_driver: dict[str, float] = {}
            faults: list[bool] = []
            for row, lap, whole in zip(rows, laps, sums, strict=True):
                who = row.cells[driver] if driver is not None and driver < len(row.cells) else ""
                if lap is None or whole is None:
                    by_driver.pop(who, None)
                    continue
                if who in by_driver:
                    faults.append(abs(whole - by_driver[who] - lap) > 0.011)
                by_driver[who] = whole
            if len(faults) >= 2 and median(faults) == 0:
                return single
    return None
