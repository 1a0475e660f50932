"""Which column of a table of laps is what: by its heading, else by its contents."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from pitwright.timing.derived import not_explained
from pitwright.timing.tables import Row, is_time
from pitwright.timing.times import TimeCell, read_time
from pitwright.timing.words import Role, has_letters, heading_role, is_summary

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
    heat: int | None = None
    marks: tuple[int, ...] = ()
    valid: int | None = None
    invalid: int | None = None
    lacking: bool = False

    def unused_headings(self) -> tuple[str, ...]:
        """Headings of the columns nothing is taken from."""
        if self.header is None or self.flow:
            return ()
        used = {
            *self.times,
            *self.marks,
            self.lap,
            self.driver,
            self.heat,
            self.valid,
            self.invalid,
        }
        return tuple(cell for at, cell in enumerate(self.header.cells) if cell and at not in used)


def section_driver(row: Row) -> str | None:
    """The driver a line of its own announces ("Driver: ..."), None for any other line."""
    if not has_letters(row.text):
        return None
    cells = [cell for cell in row.cells if cell]
    if match := _SECTION.fullmatch(" ".join(cells)):
        return match.group(1).strip()
    if len(cells) == 2 and heading_role(cells[0].rstrip(":=")) == "driver":
        return None if heading_role(cells[1]) or is_time(cells[1]) else cells[1]
    return None


def is_header(row: Row, after: Row | None, *, first: bool) -> bool:
    """Whether a line is one of headings; ``first``: no time has stood above it.

    In words that are known, or, above the first time, words over a line of numbers.
    """
    if not has_letters(row.text):
        return False
    if len(_numbered_laps(row)) > 1:
        return True
    filled = [cell for cell in row.cells if cell]
    if any(any(c.isdigit() for c in cell) and is_time(cell) for cell in filled):
        return False
    if section_driver(row) or (len(filled) == 1 and is_summary(filled[0]) and not first):
        return False
    roles = {heading_role(cell) for cell in filled}
    if roles & {"lap time", "time", "passing"} and not any(map(_has_fraction, filled)):
        known = sum(heading_role(cell) is not None for cell in filled)
        return first or 2 * known >= len(filled)
    if len(filled) > 1 and roles & {"lap", "count"}:
        return first or None not in roles
    if first and "ignore" in roles and None not in roles and not any(map(is_summary, filled)):
        return True
    if not first or after is None or len(row.cells) < 2 or len(filled) != len(row.cells):
        return False
    numbers = [is_time(cell) for cell in after.cells if cell]
    return (
        len(after.cells) == len(row.cells)
        and len(set(row.cells)) == len(row.cells)
        and (all(numbers) or ("\t" in row.text or ";" in row.text or "," in row.text))
        and 2 * sum(numbers) > len(numbers)
        and not any(map(is_summary, filled))
    )


def _has_fraction(cell: str) -> bool:
    return re.search(r"\d[.,:'’]\d", cell) is not None


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


def find_columns(header: Row | None, body: Sequence[Row]) -> Columns:
    """Settle which column of the lines under a heading, or of lines without one, is what."""
    found = _by_heading(header, body) if header is not None else None
    return found or _by_contents(header, body)


def _by_heading(header: Row, body: Sequence[Row]) -> Columns | None:
    roles = [heading_role(cell) if cell else "ignore" for cell in header.cells]
    at: dict[Role, list[int]] = {}
    for column, role in enumerate(roles):
        if role is not None:
            at.setdefault(role, []).append(column)

    def first(*wanted: Role) -> int | None:
        return next((at[role][0] for role in wanted if at.get(role)), None)

    # A 'No' counts laps only where no column says so better, and else may be the car's number.
    cars = [c for c in at.get("count", ()) if _numbers_cars(body, c, first("lap"))]
    at["count"] = [c for c in at.get("count", ()) if c not in cars]
    driver = first("driver", "number")
    if driver is None and len(cars) == 1:
        driver = cars[0]
    across = _numbered_laps(header)
    found = Columns(
        header,
        (),
        lap=first("lap", "count"),
        driver=driver,
        heat=first("heat"),
        marks=tuple(at.get("mark", ())),
        valid=first("valid"),
        invalid=first("invalid"),
    )
    if len(across) > 1:
        who = found.lap if driver is None else driver
        numbers = tuple(across.values())
        return replace(
            found, times=tuple(across), lap=None, driver=who, across=True, numbers=numbers
        )
    for role, kind in _KINDS.items():
        if role not in at:
            continue
        if role == "time" and "passing" in at:
            kind = "lap time"
        times = tuple(at[role])
        if len(times) > 1:
            times = _not_worked_out(body, times, driver)
        millis = bool(_MILLIS.search(header.cells[times[0]].casefold().replace("_", " ")))
        names = tuple(header.cells[c] for c in times) if len(times) > 1 else ()
        if driver is None and found.lap is not None and not _counts_once(body, found.lap):
            texts = [c for c, role in enumerate(roles) if role is None and _repeats(body, c)]
            found = replace(found, driver=next(iter(texts), None))
        return replace(found, times=times, names=names, kind=kind, milliseconds=millis)
    unknown = [c for c, role in enumerate(roles) if role is None]
    if found.lap is None and (counting := _lap_column(body, unknown)) is not None:
        found = replace(found, lap=counting)
        unknown.remove(counting)
    wide = _not_worked_out(
        body, [c for c in unknown if _share_of_times(body, c) >= 0.5], driver,
        beside=[c for c, role in enumerate(roles) if role == "ignore"],
    )  # fmt: skip
    if len(wide) == 1 and driver is None and found.heat is None:
        texts = [c for c in unknown if c not in wide and _share_filled(body, c) >= 0.5]
        found = replace(found, driver=next((c for c in texts if _repeats(body, c)), None))
    if wide:
        return replace(found, times=wide, names=tuple(header.cells[c] for c in wide))
    if found.lap is not None and len(header.cells) == 1:  # one column headed "laps"
        return Columns(header, (found.lap,))
    if all(role is not None for role in roles):
        return replace(found, lacking=True)
    return None


_KINDS: dict[Role, Literal["lap time", "passing", "time"]] = {
    "lap time": "lap time",
    "time": "time",
    "passing": "passing",
}


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
    lap = _lap_column(timed, columns)
    if plain and lap is None and len(widths) > 1 and header is None:
        return Columns(header, tuple(range(width)), flow=True)
    times = [c for c in columns if c != lap]
    if header is None and lap is None and len(times) > 2 and _named_lines(timed, times):
        every = tuple(range(1, width))
        return Columns(None, every, driver=0, across=True, numbers=every)
    texts = [c for c in range(usual) if c not in columns and _share_filled(timed, c) >= 0.5]
    driver = next((c for c in texts if _repeats(timed, c)), None)
    if driver is None and len(times) > 1:
        cars = [c for c in times if _all_whole(timed, c) and _repeats(timed, c)]
        driver = next((c for c in cars if lap is None or _each_counts(timed, c, lap)), None)
        times = [c for c in times if c != driver]
    if not times:
        return Columns(header, (0,), lap=lap, driver=driver, lacking=lap is not None)
    left = _not_worked_out(timed, times, driver)
    if len(left) == 1:
        known: Literal["lap time", "time"] = "lap time" if len(times) > 1 else "time"
        return Columns(header, left, (), lap, driver, known)
    names = tuple(f"column {c + 1}" for c in left)
    return Columns(header, left, names, lap, None, grid=plain and lap is None)


def _not_worked_out(
    rows: Sequence[Row], times: Sequence[int], driver: int | None, beside: Sequence[int] = ()
) -> tuple[int, ...]:
    """Which columns of times are not counts, places, or worked out from another of them."""
    if len(times) < 2 and not beside:
        return tuple(times)
    fractions = [c for c in times if not _all_whole(rows, c)]
    kept = fractions or list(times)
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(rows):
        who = row.cells[driver] if driver is not None and driver < len(row.cells) else ""
        groups.setdefault(who, []).append(at)
    known = {c: _values(rows, c) for c in kept}
    return not_explained(known, list(groups.values()))


def _lap_column(rows: Sequence[Row], columns: Sequence[int]) -> int | None:
    """The column that counts laps: of several that could, the one that does so most strictly."""
    counting = [c for c in columns if _counts_up(rows, c)]

    def strict(column: int) -> int:
        values = [v for v in _values(rows, column) if v is not None]
        return sum(abs(b - a) == 1.0 for a, b in pairwise(values))

    return max(counting, key=lambda c: (strict(c), -c), default=None)


def _named_lines(rows: Sequence[Row], times: Sequence[int]) -> bool:
    """Whether each line is a name of its own and then times: the laps of one driver each."""
    names = [row.cells[0] for row in rows]
    return (
        0 not in times
        and all(names)
        and len(set(names)) == len(names)
        and not any(is_time(name) or _NUMBERED_LAP.fullmatch(name) for name in names)
    )


def _counts_once(rows: Sequence[Row], lap: int) -> bool:
    """Whether most lap numbers stand on one line only."""
    numbers = [row.cells[lap] for row in rows if lap < len(row.cells)]
    return 2 * len(set(numbers)) > len(numbers)


def _each_counts(rows: Sequence[Row], car: int, lap: int) -> bool:
    """Whether each number in a column has laps of its own, counted from the first."""
    counts: dict[str, list[str]] = {}
    for row in rows:
        if max(car, lap) < len(row.cells):
            counts.setdefault(row.cells[car], []).append(row.cells[lap])
    return all(
        len(set(laps)) == len(laps) and laps[0].isdigit() and int(laps[0]) <= 1
        for laps in counts.values()
    )


def _numbers_cars(rows: Sequence[Row], column: int, lap: int | None) -> bool:
    """Whether the numbers of a column are of cars: they stay, and each begins with a first lap."""
    if not _repeats(rows, column) or (lap is None and _counts_up(rows, column)):
        return False
    begun: dict[str, str] = {}
    for row in rows:
        if lap is not None and max(column, lap) < len(row.cells):
            begun.setdefault(row.cells[column], row.cells[lap])
    return all(number.isdigit() and int(number) <= 1 for number in begun.values())


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
    return all(_whole(r.cells[column]) for r in rows if column < len(r.cells))


def _whole(cell: str) -> bool:
    return cell.rstrip(".):").isdigit()


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
    filled = [r.cells[column] for r in rows if column < len(r.cells) and r.cells[column]]
    return sum(map(_whole, filled)) >= 0.8 * len(filled) and 2 * len(filled) >= len(rows)
