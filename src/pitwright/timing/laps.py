"""Laps out of a file or a paste of any sensible shape, with a preview before anything is kept.

No particular program's export is read; any table or list that a person could read as laps is.
What cannot be read is named, line by line, with the reason.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pitwright.timing.columns import Columns
from pitwright.timing.entries import entries_of
from pitwright.timing.lengths import Entry, Kind, lengths
from pitwright.timing.markup import unwrapped
from pitwright.timing.parts import Part, name_heats, split
from pitwright.timing.tables import DELIMITER_NAMES, Table, cut
from pitwright.timing.text import (
    MOST_LAPS,
    LapFileError,
    RejectedLine,
    read_lines,
    rejected,
)
from pitwright.timing.times import TimeCell, lap_fault, read_time

_MOST_TOLD = 6
ALL_LINES = "all, line by line"
"""The answer that what was taken for several drivers or heats is one."""


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
    lap, with the reason. question: names to choose from, empty when there is nothing to ask; asks
    is the question in words. driver: whose laps these are, or of which heat or column, empty when
    the file names none. marks: what stood beside a lap (*, P, best), by its number from 1.
    """

    understood: Understood
    laps: tuple[float, ...]
    rejected: tuple[RejectedLine, ...]
    question: tuple[str, ...] = ()
    driver: str = ""
    asks: str = ""
    marks: Mapping[int, str] = field(default_factory=dict)


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
    lines, form = unwrapped(text)
    table = cut(lines, delimiter="\t" if form else None)
    parts, refused = split(table)
    refused = [*table.rejected, *refused]
    found: list[tuple[Part, Entry]] = []
    for part in parts:
        entries, out = entries_of(part)
        found += [(part, entry) for entry in entries]
        refused += out
    by_column = any(part.columns.heat is not None for part in parts)
    entries = [e for _, e in found] if by_column else name_heats(found)
    groups: dict[str, list[Entry]] = {}
    drivers = {entry.driver for entry in entries}
    heats = {entry.heat for entry in entries}
    for entry in entries:
        named = (entry.heat if len(heats) > 1 else "", entry.driver)
        if len(heats) > 1 and len(drivers) < 2:
            named = (entry.heat, "")
        groups.setdefault(", ".join(filter(None, named)), []).append(entry)
    names = tuple(groups)
    listed = len(heats) > 1 and len(drivers) < 2 and all(entry.lap is None for entry in entries)
    if parts and parts[0].columns.grid:
        names = (ALL_LINES, *names)
    elif listed:  # two heats are more likely than one, so this answer stands last
        names = (*names, ALL_LINES)
    who = _chosen(names, driver)
    mine = entries
    if who is not None and who != ALL_LINES:
        mine = groups[who] if names else []
    elif who is None:
        mine = list(groups.values())[-1]
    if len(mine) > MOST_LAPS:
        raise LapFileError(f"{len(mine)} laps are more than a heat can have (most {MOST_LAPS})")
    columns = _one_kind(parts, mine)
    wanted: Kind | None = kind
    if wanted is None and columns.kind == "lap time":
        wanted = "lap times"
    elif wanted is None and columns.kind == "passing":
        wanted = "passing times"
    if listed and who == ALL_LINES:  # what each heat says of itself holds for them all
        singly = [lengths(e, wanted, milliseconds=columns.milliseconds) for e in groups.values()]
        sums = [each for heat in singly for each in heat.rejected]
        told = {(each.line, each.text) for each in sums}
        mine = [e for e in mine if (e.line, rejected(e.line, e.text, "").text) not in told]
        refused += sums
        if wanted is None and any(heat.kind == "passing times" for heat in singly):
            wanted = "passing times"
    result = lengths(mine, wanted, milliseconds=columns.milliseconds)
    named_ones = tuple(name for name in names if name)
    understood = Understood(
        encoding=text.encoding,
        delimiter=form or DELIMITER_NAMES[table.delimiter],
        decimal=result.decimal,
        header=columns.header.cells if columns.header is not None else (),
        kind=result.kind,
        notation=result.notation,
        drivers=named_ones if len(names) > 1 or not columns.grid else (),
        notes=(*_notes(text.notes, table, columns), *result.notes, *_marked(result.marks)),
    )
    if who is None:
        question = tuple(name or "no name" for name in names)
        asks = _asks(columns, heats=len(heats) > 1, drivers=len(drivers) > 1)
        return LapPreview(understood, (), _sorted(refused), question, asks=asks)
    refused = [*refused, *result.rejected]
    return LapPreview(understood, result.laps, _sorted(refused), (), who, marks=result.marks)


def _one_kind(parts: Sequence[Part], entries: Sequence[Entry]) -> Columns:
    """The columns these entries come from; all have to hold times of one kind.

    Raises LapFileError where headings lower down change it.
    """
    lines = {entry.line for entry in entries}
    used = [p for p in parts if any(row.line in lines for row in p.rows)] or parts[:1]
    columns = used[0].columns if used else Columns(None, (0,))
    for part in used:
        same = (part.columns.kind, part.columns.milliseconds)
        if same != (columns.kind, columns.milliseconds):
            line = part.header.line if part.header is not None else part.rows[0].line
            raise LapFileError("other headings, with another kind of times, for one heat", line)
    return columns


def _marked(marks: Mapping[int, str]) -> list[str]:
    told = ", ".join(f"lap {lap} {mark}" for lap, mark in list(marks.items())[:_MOST_TOLD])
    more = f" and {len(marks) - _MOST_TOLD} more" if len(marks) > _MOST_TOLD else ""
    return [f"marks kept: {told}{more}"] if marks else []


def _asks(columns: Columns, *, heats: bool, drivers: bool) -> str:
    """The question that the names answer."""
    if heats and drivers:
        return "Which heat, and whose laps?"
    if heats:
        return "Laps of which heat?"
    return "Which column are the laps in, or whose are they?" if columns.names else "Whose laps?"


def _notes(notes: tuple[str, ...], table: Table, columns: Columns) -> list[str]:
    said = list(notes)
    if table.comments:
        said.append(f"{table.comments} comment line{'s' if table.comments > 1 else ''} skipped")
    unused = columns.unused_headings()
    if unused:
        said.append(f"not used: {', '.join(unused[:8])}")
    return said


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
