"""Laps out of a file or a paste of any sensible shape, with a preview before anything is kept.

No particular program's export is read; any table or list that a person could read as laps is.
What cannot be read is named, line by line, with the reason.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitwright.timing.columns import Columns, find_columns, heading_role, section_driver
from pitwright.timing.lengths import Entry, Kind, lengths
from pitwright.timing.tables import DELIMITER_NAMES, Row, Table, cut
from pitwright.timing.text import (
    MOST_LAPS,
    LapFileError,
    RejectedLine,
    read_lines,
    rejected,
)
from pitwright.timing.times import TimeCell, lap_fault, read_time

ALL_CELLS = "all, line by line"

_SUMMARY_WORDS = (
    r"(?:grand |sub)?(?:total|totals|sum|average|avg|mean|median|best|fastest|slowest|worst|"
    r"summe|gesamt|schnitt|moyenne|totale|media|laps driven)"
)
_SUMMARY = re.compile(rf"{_SUMMARY_WORDS}(?: time| lap| laps)?\s*(?:[:=].*|\s\d.*)?", re.I)


@dataclass(frozen=True)
class Understood:
    """How the laps were read, for the preview.

    delimiter, decimal and notation are words or signs for the user. decimal is empty when there was
    no fraction. header: the headings, empty when there were none. drivers: everyone found.
    notes: anything else worth saying.
    """

    encoding: str
    delimiter: str
    decimal: str
    header: tuple[str, ...]
    kind: Kind
    notation: str
    drivers: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """What was understood, in one line."""
        parts = [self.kind, f"written as {self.notation}"]
        if self.decimal:
            parts.append("decimal comma" if self.decimal == "," else "decimal point")
        if self.delimiter != "none":
            parts.append(f"cells parted by {self.delimiter}")
        parts.append("with headings" if self.header else "no headings")
        parts.append(self.encoding)
        return ", ".join(parts)


@dataclass(frozen=True)
class LapPreview:
    """What a file of laps was understood to say. Nothing is kept until the user agrees.

    laps: seconds, in the order driven; empty while a question is open. rejected: lines that gave no
    lap, with the reason. question: names to choose from, empty when there is nothing to ask.
    driver: whose laps these are, empty when the file names nobody.
    """

    understood: Understood
    laps: tuple[float, ...]
    rejected: tuple[RejectedLine, ...]
    question: tuple[str, ...] = ()
    driver: str = ""


@dataclass(frozen=True)
class TypedLaps:
    """Laps typed or pasted as a plain list, and what in it could not be read."""

    laps: tuple[float, ...]
    rejected: tuple[RejectedLine, ...]


def read_laps(data: bytes, *, driver: str | None = None, kind: Kind | None = None) -> LapPreview:
    """Read laps and say what was understood.

    driver: one of the names a first reading asked about. kind: overrules the guess whether the
    times are lap times or passing times. A time is in seconds unless written otherwise; whole
    numbers that are plainly milliseconds are taken as such.
    Raises LapFileError when the data is too large, not text, empty, holds more than MOST_LAPS laps,
    or when `driver` is not in it. Everything less than that is a rejected line.
    """
    text = read_lines(data)
    table = cut(text.lines)
    columns = find_columns(table.rows)
    entries, refused = _entries(table, columns)
    if columns.across and columns.driver is None and len({e.line for e in entries}) > 1:
        entries = [replace(entry, driver=f"line {entry.line}") for entry in entries]
    refused = [*table.rejected, *refused]
    notes = list(text.notes)
    if table.comments:
        notes.append(f"{table.comments} comment line{'s' if table.comments > 1 else ''} skipped")
    unused = columns.unused_headings()
    if unused:
        notes.append(f"not used: {', '.join(unused[:8])}")
    names = tuple(dict.fromkeys(entry.driver for entry in entries))
    if columns.grid:
        names = (ALL_CELLS, *names)
    who = _chosen(names, driver)
    mine = entries
    if who is not None and who != ALL_CELLS:
        mine = [entry for entry in entries if entry.driver == who]
    elif who is None and names:
        mine = [entry for entry in entries if entry.driver == names[-1]]
    if len(mine) > MOST_LAPS:
        raise LapFileError(f"{len(mine)} laps are more than a heat can have (most {MOST_LAPS})")
    wanted: Kind | None = kind
    if wanted is None and columns.kind == "lap time":
        wanted = "lap times"
    elif wanted is None and columns.kind == "passing":
        wanted = "passing times"
    result = lengths(mine, wanted, milliseconds=columns.milliseconds)
    named = tuple(name for name in names if name)
    understood = Understood(
        encoding=text.encoding,
        delimiter=DELIMITER_NAMES[table.delimiter],
        decimal=result.decimal,
        header=columns.header.cells if columns.header is not None else (),
        kind=result.kind,
        notation=result.notation,
        drivers=named if len(names) > 1 or not columns.grid else (),
        notes=(*notes, *result.notes),
    )
    if who is None:
        question = tuple(name or "no name" for name in names)
        return LapPreview(understood, (), _sorted(refused), question)
    refused = [*refused, *result.rejected]
    return LapPreview(understood, result.laps, _sorted(refused), (), who)


def parse_typed_laps(text: str) -> TypedLaps:
    """Read laps typed into a field: parted by spaces, semicolons, line ends, or comma and space.

    `21.3 21,4; 1:02.5` are three laps. A comma with no space after it is a decimal sign, unless
    the same stretch has decimal points (`21.3,21.4`). Never raises for anything typed; what cannot
    be read is rejected with its line number and the rest is kept.
    """
    laps: list[float] = []
    refused: list[RejectedLine] = []
    for number, line in enumerate(text.splitlines(), 1):
        for piece in re.split(r"[;\s]+", line):
            parts = piece.split(",") if "." in piece else [piece]
            for part in parts:
                word = part.strip(",")
                if not word:
                    continue
                read = read_time(word)
                fault = read if isinstance(read, str) else lap_fault(read.value)
                if fault is None and len(laps) >= MOST_LAPS:
                    fault = f"more than {MOST_LAPS} laps"
                if fault is not None:
                    refused.append(rejected(number, word, fault))
                elif isinstance(read, TimeCell):
                    laps.append(read.value)
    return TypedLaps(tuple(laps), tuple(refused))


def _sorted(lines: Sequence[RejectedLine]) -> tuple[RejectedLine, ...]:
    return tuple(sorted(lines, key=lambda line: line.line))


def _chosen(names: tuple[str, ...], driver: str | None) -> str | None:
    """The driver to read, None when the user has to be asked."""
    if driver is not None:
        for name in names:
            if (name or "no name").casefold() == driver.strip().casefold():
                return name
        named = [name if len(name) <= 40 else f"{name[:39]}…" for name in names if name]
        known = ", ".join(named[:12]) + (" and more" if len(named) > 12 else "")
        told = f"the file has {known}" if known else "the file names no driver"
        raise LapFileError(f"no laps of {driver[:60]!r}: {told}")
    if len(names) > 1:
        return None
    return names[0] if names else ""


def _entries(table: Table, columns: Columns) -> tuple[list[Entry], list[RejectedLine]]:
    """One entry per cell that should hold a time, and the lines that hold none."""
    entries: list[Entry] = []
    refused: list[RejectedLine] = []
    section = ""
    headings = columns.header.cells if columns.header is not None else None
    for row in table.rows:
        if columns.header is not None and row.line == columns.header.line:
            continue
        who = section_driver(row)
        if who is not None:
            section = who
            continue
        reason = _not_a_lap(row, columns, headings)
        if reason is not None:
            refused.append(rejected(row.line, row.text, reason))
            continue
        found = _row_entries(row, columns, section)
        if not found:
            refused.append(rejected(row.line, row.text, "no time on this line"))
        entries.extend(found)
    return entries, refused


def _not_a_lap(row: Row, columns: Columns, headings: tuple[str, ...] | None) -> str | None:
    if headings is not None and row.cells == headings:
        return "the headings again"
    if columns.header is not None and row.line < columns.header.line:
        return "above the headings"
    for at, cell in enumerate(row.cells):
        if at == columns.driver and at != 0:
            continue
        if cell and _SUMMARY.fullmatch(cell):
            return "a summary, not a lap"
    filled = [cell for cell in row.cells if cell]
    if headings is None and all(heading_role(cell) for cell in filled):
        return "headings, not a lap"
    if not any(any(c.isdigit() for c in cell) for cell in filled):
        return "words, not a lap"
    return None


def _row_entries(row: Row, columns: Columns, section: str) -> list[Entry]:
    def cell(column: int | None) -> str:
        return row.cells[column] if column is not None and column < len(row.cells) else ""

    number = cell(columns.lap)
    lap = int(number) if number.isascii() and number.isdigit() and len(number) < 7 else None
    found: list[Entry] = []
    for place, column in enumerate(columns.times):
        text = cell(column)
        if not text and len(columns.times) > 1:
            continue  # this driver drove fewer laps, or the line is shorter than the longest
        name = cell(columns.driver) or section
        if columns.names and len(columns.times) > 1:
            name = columns.names[place]
        elif columns.names and columns.header is not None:
            name = columns.names[0]
        elif columns.across:
            lap = columns.numbers[place]
        joined = _joined_decimal(row, columns, column)
        found.append(Entry(row.line, row.text, name, lap, joined or text))
    return found


def _joined_decimal(row: Row, columns: Columns, column: int) -> str | None:
    """A time whose decimal comma was also taken for the delimiter, put together again.

    Only where the times are the last of the named columns and the line has exactly one cell more.
    """
    if columns.header is None or column != len(columns.header.cells) - 1:
        return None
    if len(row.cells) != len(columns.header.cells) + 1:
        return None
    whole, fraction = row.cells[column], row.cells[column + 1]
    if not (fraction.isascii() and fraction.isdigit() and len(fraction) <= 3):
        return None
    joined = f"{whole},{fraction}"
    return joined if isinstance(read_time(joined), TimeCell) else None
