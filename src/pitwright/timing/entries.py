"""From the lines of a part of a file to cells that should hold times, or why a line holds none."""

import re
from dataclasses import replace

from pitwright.timing.columns import Columns, section_driver
from pitwright.timing.lengths import Entry
from pitwright.timing.parts import Part
from pitwright.timing.tables import Row, is_time
from pitwright.timing.text import RejectedLine, rejected
from pitwright.timing.times import TimeCell, read_time
from pitwright.timing.words import all_known, is_mark, is_summary, says_invalid, yes_or_no

_LAP_CELL = re.compile(r"[(\[]?(?:[^\W\d_]{0,8}\.?|#)\s*(\d{1,6})(?:\s*/\s*\d{1,6})?\s*[.:)\]]?")
_DIGIT = re.compile(r"\d")
_LONGEST_MARK = 20


def entries_of(part: Part) -> tuple[list[Entry], list[RejectedLine]]:
    """One entry per cell that should hold a time, and the lines that hold none."""
    entries: list[Entry] = []
    refused: list[RejectedLine] = []
    columns = part.columns
    section = ""
    numbered = _numbered(part)
    above = part.rows[0].line  # whether a blank line stands above the first says nothing
    for row in part.rows:
        alone = row.line > above + 1
        above = row.line
        who = section_driver(row)
        if who is not None:
            section = who
            continue
        reason = _not_a_lap(row, columns) or _not_valid(row, columns)
        if reason is None and numbered and _lap_number(row, columns) is None:
            words = _cell(row, columns.lap)
            if not is_mark(words):
                reason = "no lap number on this line, where the others have one"
        if reason is not None:
            refused.append(rejected(row.line, row.text, reason))
            continue
        found = _row_entries(row, columns, section)
        if not found:
            refused.append(rejected(row.line, row.text, "no time on this line"))
        entries.extend([replace(entry, alone=True) for entry in found] if alone else found)
    if columns.across and columns.driver is None and len({e.line for e in entries}) > 1:
        entries = [replace(entry, driver=f"line {entry.line}") for entry in entries]
    return entries, refused


def _cell(row: Row, column: int | None) -> str:
    return row.cells[column] if column is not None and column < len(row.cells) else ""


def _lap_number(row: Row, columns: Columns) -> int | None:
    match = _LAP_CELL.fullmatch(_cell(row, columns.lap))
    return int(match[1]) if match is not None else None


def _numbered(part: Part) -> bool:
    """Whether the laps of a part carry their numbers, so that a line without one is no lap."""
    if part.columns.lap is None or part.columns.across or part.columns.flow:
        return False
    rows = [row for row in part.rows if not _not_a_lap(row, part.columns)]
    count = sum(_lap_number(row, part.columns) is not None for row in rows)
    return count >= 2 and 2 * count >= len(rows)


def _not_a_lap(row: Row, columns: Columns) -> str | None:
    if columns.lacking:
        return "no column of lap times"
    ends = min(columns.times, default=0)
    for at, cell in enumerate(row.cells):
        if at == columns.driver and at != 0 and columns.header is not None:
            continue
        # Behind the time, 'best' marks the lap; in front of it, it says that this is none.
        beside = at > ends and (is_mark(cell) or at in columns.marks)
        if cell and not is_time(cell) and not beside and is_summary(cell):
            return "a summary, not a lap"
    filled = [cell for cell in row.cells if cell]
    if columns.header is None and all_known(filled):
        return "headings, not a lap"
    if not _DIGIT.search(row.text):
        return "words, not a lap"
    return None


def _not_valid(row: Row, columns: Columns) -> str | None:
    """Why a line's lap does not count by what its own columns say."""
    if columns.valid is not None:
        said = _cell(row, columns.valid)
        answer = yes_or_no(said)
        if not answer:
            return (
                "marked as not valid"
                if answer is False or not said
                else (f"valid or not? {said[:20]!r} is no word for either")
            )
    if columns.invalid is not None and (said := _cell(row, columns.invalid)):
        answer = yes_or_no(said)
        if answer is not False:
            return (
                "marked as not valid"
                if answer or says_invalid(said)
                else (f"valid or not? {said[:20]!r} is no word for either")
            )
    return None if not any(says_invalid(m) for m in _marks(row, columns)) else "marked as not valid"


def _marks(row: Row, columns: Columns) -> list[str]:
    """What stands beside the time on a line: in a column of marks, or a mark in any other."""
    found: list[str] = []
    taken = {*columns.times, columns.driver, columns.heat, columns.valid, columns.invalid}
    for at, cell in enumerate(row.cells):
        if not cell or at in taken or columns.flow or columns.grid:
            continue
        if at in columns.marks:
            answer = yes_or_no(cell)
            heading = columns.header.cells[at] if columns.header is not None else cell
            if answer is None or (answer is False and says_invalid(cell)):
                found.append(cell[:_LONGEST_MARK])
            elif answer and cell.casefold() not in ("ok", "okay", "good", "clean", "valid"):
                found.append(heading[:_LONGEST_MARK])
        elif is_mark(cell) and not is_time(cell):
            ticked = columns.header is not None and cell.casefold() == "x"
            heading = columns.header.cells[at] if columns.header is not None and ticked else ""
            found.append(heading or cell.strip(" ()[]"))
    return found


def _row_entries(row: Row, columns: Columns, section: str) -> list[Entry]:
    lap = _lap_number(row, columns)
    found: list[Entry] = []
    mark = " ".join(_marks(row, columns))
    for place, column in enumerate(columns.times):
        text = _cell(row, column)
        if not text and len(columns.times) > 1:
            continue  # this driver drove fewer laps, or the line is shorter than the longest
        name = _cell(row, columns.driver) or section
        if columns.names and len(columns.times) > 1:
            name = columns.names[place]
        elif columns.names and columns.header is not None and columns.driver is None:
            name = columns.names[0]
        elif columns.across:
            lap = columns.numbers[place]
        joined = _joined_decimal(row, columns, column)
        heat = _cell(row, columns.heat)
        found.append(Entry(row.line, row.text, name, lap, joined or text, heat, mark))
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
