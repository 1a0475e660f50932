"""A file of laps cut where something new begins: headings, the name of a heat, lap 1 again."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise, zip_longest
from statistics import median

from pitwright.timing.columns import Columns, find_columns, is_header, section_driver
from pitwright.timing.lengths import Entry
from pitwright.timing.tables import Row, Table, is_time
from pitwright.timing.text import RejectedLine, rejected
from pitwright.timing.times import TimeCell, read_time
from pitwright.timing.words import (
    has_letters,
    heading_role,
    is_mark,
    is_page,
    is_summary,
    names_a_heat,
)

_JUDGED_BY = 2_000
"""Lines by which it is settled which column is what."""

_FRACTION = re.compile(r"\d[.,:'’]\d")
_DATE_OR_CLOCK = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}|\b\d{1,2}:\d{2}\b(?![.,:]\d)")
_NUMBERED = re.compile(r"(?:lap|l|runde|rd|tour|giro|vuelta|volta|no|nr|#)?\.?\s*\d+", re.I)
_NO_NAMES = frozenset({"dnf", "dns", "dsq", "dq", "n/a", "na", "none", "null", "nan", "inf"})


@dataclass
class Part:
    """Lines under one heading and one title."""

    title: str
    header: Row | None
    rows: list[Row] = field(default_factory=list)
    columns: Columns = field(default_factory=lambda: Columns(None, (0,)))


def split(table: Table) -> tuple[list[Part], list[RejectedLine]]:
    """Cut a table into parts, each with its columns settled; lines that are in none are refused.

    Lines under the same headings settle their columns together.
    """
    parts: list[Part] = []
    refused: list[RejectedLine] = []
    titles = {row.line for row in table.rows if _is_title(row, table.delimiter)}
    if 2 * len(titles) > len(table.rows):
        titles = set()
    names, short = _lone_numbers(table.rows)
    titles |= names
    title, header, fresh, timed = "", None, True, False
    for row, after in zip_longest(table.rows, table.rows[1:]):
        if is_header(row, after, first=not timed):
            if header is not None and row.cells == header.cells:
                refused.append(rejected(row.line, row.text, "the headings again"))
            header = row if header is None or row.cells != header.cells else header
            fresh = True
            continue
        if row.line in short:
            refused.append(rejected(row.line, row.text, "a number alone, too short for a lap"))
            continue
        if row.line in titles and section_driver(row) is None:
            page = is_page(row.text)
            name = "a number alone, taken for a name" if row.line in names else "words, not a lap"
            reason = "a page number" if page else name
            refused.append(rejected(row.line, row.text, reason))
            if not page and not (title and fresh and names_a_heat(title)):
                title, fresh = row.text.strip(), True
            continue
        if fresh:
            parts.append(Part(title, header))
            title, fresh = "", False
        parts[-1].rows.append(row)
        if not timed:
            timed = any(_FRACTION.search(c) and is_time(c) for c in row.cells)
    by_header: dict[tuple[str, ...] | None, list[Part]] = {}
    for part in parts:
        by_header.setdefault(_cells(part.header), []).append(part)
    for same in by_header.values():
        rows = [row for part in same for row in part.rows if not _label(row)]
        columns = find_columns(same[0].header, rows[:_JUDGED_BY])
        for part in same:
            part.columns = columns
    return _below_headings(parts, refused)


def _below_headings(
    parts: list[Part], refused: list[RejectedLine]
) -> tuple[list[Part], list[RejectedLine]]:
    """Refuse what stands above the first headings, unless it is a table of laps of its own."""
    first = next((part.header for part in parts if part.header is not None), None)
    if first is None:
        return parts, refused
    kept: list[Part] = []
    for part in parts:
        if part.header is not None or (part.columns.lap is not None and len(part.rows) > 2):
            kept.append(part)
        else:
            refused += [rejected(row.line, row.text, "above the headings") for row in part.rows]
    if kept and kept[0].header is not None:
        refused = [
            rejected(r.line, r.text, "above the headings") if r.line < first.line else r
            for r in refused
        ]
    return kept, refused


def _cells(header: Row | None) -> tuple[str, ...] | None:
    return None if header is None else header.cells


def _label(row: Row) -> bool:
    first = row.cells[0] if row.cells else ""
    fact = first.endswith(":") and heading_role(first) is not None and len(row.cells) == 2
    return fact or section_driver(row) is not None or is_summary(first)


def _lone_numbers(rows: Sequence[Row]) -> tuple[set[int], set[int]]:
    """Lines of a whole number that is no lap among times with fractions: names, and too short ones.

    It is a name, such as a car's, where one stands above the first time and others below, each
    over times of its own. Else a long one may be a lap into the pit that was written by hand.
    """
    alone = [(row.line, row.cells[0]) for row in rows if len(row.cells) == 1]
    alone = [(line, cell) for line, cell in alone if is_time(cell)]
    times = [read_time(cell) for _, cell in alone if _FRACTION.search(cell)]
    values = [time.value for time in times if isinstance(time, TimeCell)]
    whole = [at for at, (_, cell) in enumerate(alone) if cell.isdecimal() and len(cell) < 5]
    if len(values) < 2 * len(whole) or not whole:
        return set(), set()
    typical = median(values)
    ratios = {at: int(alone[at][1]) / typical for at in whole}
    odd = [at for at in whole if not 0.7 <= ratios[at] <= 1.5]
    apart = all(b - a > 2 for a, b in pairwise([*odd, len(alone)]))
    if len(odd) > 1 and odd[0] == 0 and apart:
        return {alone[at][0] for at in odd}, set()
    return set(), {alone[at][0] for at in odd if ratios[at] < 1.0}


def _is_title(row: Row, delimiter: str) -> bool:
    """Whether a line is words of its own: the name of a heat or a driver, or a remark."""
    if not has_letters(row.text):
        return False
    filled = [cell for cell in row.cells if cell]
    if delimiter.strip() and delimiter != "1)" and len(filled) > 1:
        return False
    text = (row.text if delimiter != "\t" and len(filled) > 1 else filled[0]).strip().strip('"|')
    if not has_letters(text) or is_summary(text) or is_time(text) or is_mark(text):
        return False
    if _NUMBERED.fullmatch(text) or text[0].isdigit() or text.casefold() in _NO_NAMES:
        return False
    bare = _DATE_OR_CLOCK.sub(" ", text) if names_a_heat(text) else text
    return _FRACTION.search(bare) is None


def name_heats(entries: Sequence[tuple[Part, Entry]]) -> list[Entry]:
    """Give every entry the heat it belongs to; one heat alone has no name.

    A new heat begins where the lap numbers begin again, and, over laps without numbers, at a title
    that names a heat, or at any when one stands above the first lap; another is only a remark.
    Numbers that go on across a title or a page are one heat.
    """
    heats: list[list[Entry]] = []
    titles: list[str] = []
    last: dict[str, list[int]] = {}
    before: Part | None = None
    for part, entry in entries:
        if part.columns.across:
            begins = before is None
        elif before is None:
            begins = True
        else:
            begins = _begins(last.get(entry.driver), entry.lap)
            if part is not before and (entry.lap is None or entry.lap <= 1):
                named = entry.lap is None and part.title != "" and titles[0] != ""
                begins = begins or names_a_heat(part.title) or named
        if begins:
            heats.append([])
            titles.append(part.title if part is not before else "")
            last = {}
        heats[-1].append(entry)
        if entry.lap is not None:
            last.setdefault(entry.driver, []).append(entry.lap)
        before = part
    if len(heats) < 2:
        return [entry for heat in heats for entry in heat]
    names: dict[str, None] = {}
    for number, title in enumerate(titles, 1):
        name = title or f"part {number}"
        names[f"{name} ({number})" if name in names else name] = None
    return [replace(e, heat=name) for name, heat in zip(names, heats, strict=True) for e in heat]


def _begins(numbers: list[int] | None, lap: int | None) -> bool:
    """Whether a lap number begins a count again."""
    if not numbers or lap is None:
        return False
    falling = len(numbers) > 1 and numbers[-1] < numbers[0]
    if falling:
        return lap > numbers[-1] and numbers[-1] <= 1
    return lap <= 1 and numbers[-1] >= 2 and numbers[0] <= 1
