"""A sheet as headings, sentences, tables and pictures, before it takes a format.

Everything a reader sees passes through here once, so that every format says the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from pitwright.signs import visible

__all__ = ["Block", "Column", "Document", "Note", "Picture", "Section", "Table", "clean"]


def clean(text: str) -> str:
    """Return text as one line without control and direction signs."""
    return " ".join(visible(text).split())


@dataclass(frozen=True)
class Column:
    """A table's column: its heading, whether it holds numbers, and whether it holds long words.

    Long words may go under their row where the width is short.
    """

    title: str
    numeric: bool = False
    long: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under headings; the first cell of a row names it. ``caption`` says what it shows."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def filled(self) -> Table:
        """The table without the columns nobody has anything for, which are only in the way."""
        cells = [[clean(cell) for cell in row] for row in self.rows]
        kept = [n for n in range(len(self.columns)) if n == 0 or any(row[n] for row in cells)]
        return Table(
            self.caption,
            tuple(self.columns[n] for n in kept),
            tuple(tuple(row[n] for n in kept) for row in self.rows),
        )


@dataclass(frozen=True)
class Note:
    """A sentence or a point of a list."""

    text: str
    kind: Literal["plain", "point", "quiet", "caution"] = "plain"


@dataclass(frozen=True)
class Picture:
    """A picture by the name of its chart; ``alt`` says in words what it shows."""

    chart: str
    caption: str
    alt: str


Block: TypeAlias = Table | Note | Picture


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Document:
    """A whole sheet."""

    title: str
    subtitle: str
    facts: tuple[str, ...]
    sections: tuple[Section, ...]
    footer: str = ""
