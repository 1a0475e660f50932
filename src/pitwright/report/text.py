"""A document as plain text, fitted to a width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from pitwright.report.document import Block, Document, Note, Table, clean

__all__ = ["TextLine", "text", "text_lines"]

_GAP = "  "
_NARROWEST = 8
_ROOM_FOR_WORDS = 24
_BELOW = "      "


@dataclass(frozen=True)
class TextLine:
    """A line and what it is, so that a screen can mark it."""

    text: str
    kind: Literal["title", "heading", "columns", "plain", "quiet", "caution"] = "plain"


def text(document: Document, width: int = 100) -> str:
    """Return a document as text of lines no longer than ``width``."""
    return "\n".join(line.text for line in text_lines(document, width)) + "\n"


def text_lines(document: Document, width: int) -> tuple[TextLine, ...]:
    """Return a document as lines no longer than ``width``; pictures are left out.

    From 72 signs up; with less a table may run over, for numbers are never cut.
    """
    lines = [TextLine(part, "title") for part in _wrapped(document.title, width)]
    lines.append(TextLine(document.subtitle, "quiet"))
    for fact in document.facts:
        lines += [TextLine(part) for part in _wrapped(fact, width)]
    for section in document.sections:
        lines.append(TextLine(""))
        lines += [TextLine(part, "heading") for part in _wrapped(section.title, width)]
        first = True
        for block in section.blocks:
            found = list(_block(block, width))
            if found and isinstance(block, Table) and not first:
                lines.append(TextLine(""))
            lines += found
            first = first and not found
    lines.append(TextLine(""))
    lines += [TextLine(part, "quiet") for part in _wrapped(document.footer, width)]
    return tuple(lines)


def _wrapped(words: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        clean(words), max(width, 20), subsequent_indent=indent, break_on_hyphens=False
    ) or [""]


def _block(block: Block, width: int) -> Iterator[TextLine]:
    if isinstance(block, Table):
        yield from _table(block.filled, width)
    elif isinstance(block, Note):
        if block.kind == "point":
            yield from (TextLine(p) for p in _wrapped(f"- {block.text}", width, "  "))
        elif block.kind == "caution":
            yield from (TextLine(p, "caution") for p in _wrapped(f"! {block.text}", width, "  "))
        else:
            kind: Literal["plain", "quiet"] = "quiet" if block.kind == "quiet" else "plain"
            yield from (TextLine(p, kind) for p in _wrapped(block.text, width))


def _table(table: Table, width: int) -> Iterator[TextLine]:
    yield from (TextLine(part, "quiet") for part in _wrapped(table.caption, width))
    rows = [[clean(cell) for cell in row] for row in table.rows]
    kept = list(range(len(table.columns)))
    below: list[int] = []
    while True:
        heads = [table.columns[n].title for n in kept]
        numeric = [table.columns[n].numeric for n in kept]
        cells = [heads, *([row[n] for n in kept] for row in rows)]
        widths = _widths(cells, numeric, width)
        tight = [n for n, w in zip(kept, widths, strict=True) if _tight(table, rows, n, w)]
        if not tight:
            break
        kept = [n for n in kept if n not in tight]
        below += tight
    for number, row in enumerate(cells):
        kind: Literal["columns", "plain"] = "columns" if number == 0 else "plain"
        yield from (TextLine(line, kind) for line in _row(row, widths, numeric))
        for n in below if number else ():
            if words := rows[number - 1][n]:
                lines = textwrap.wrap(words, width - len(_BELOW), break_on_hyphens=False)
                yield from (TextLine(f"{_BELOW}{line}") for line in lines)


def _tight(table: Table, rows: Sequence[Sequence[str]], column: int, width: int) -> bool:
    longest = max((len(row[column]) for row in rows), default=0)
    return table.columns[column].long and width < min(longest, _ROOM_FOR_WORDS)


def _widths(cells: Sequence[Sequence[str]], numeric: Sequence[bool], width: int) -> list[int]:
    """Return column widths: as wide as needed, words of text columns wrapped to fit."""
    columns = list(zip(*cells, strict=True))
    widths = [max(map(len, column)) for column in columns]
    room = width - len(_GAP) * (len(widths) - 1)
    # Headings may wrap; a number, and the longest word of a text, may not.
    least = [
        max(len(word) for cell in column for word in (cell.split() or [""]))
        if not is_number
        else max([len(cell) for cell in column[1:]] + [len(w) for w in column[0].split()])
        for column, is_number in zip(columns, numeric, strict=True)
    ]
    # Headings of numbers wrap first: that costs one line, wrapped words one in every row.
    for shrink in (numeric, [True] * len(widths)):
        while sum(widths) > room:
            spare = [
                (width_now, n)
                for n, (width_now, low) in enumerate(zip(widths, least, strict=True))
                if width_now > low and shrink[n]
            ]
            if not spare:
                break
            widths[max(spare)[1]] -= 1
    while sum(widths) > room and max(widths) > _NARROWEST:
        # Longer than any line: such a word is cut in two rather than run off the page.
        widths[widths.index(max(widths))] -= 1
    return widths


def _row(row: Sequence[str], widths: Sequence[int], numeric: Sequence[bool]) -> Iterator[str]:
    wrapped = [
        textwrap.wrap(c, w, break_on_hyphens=False) or [""]
        for c, w in zip(row, widths, strict=True)
    ]
    for at in range(max(map(len, wrapped))):
        parts = [
            (lines[at] if at < len(lines) else "").rjust(w)
            if number
            else (lines[at] if at < len(lines) else "").ljust(w)
            for lines, w, number in zip(wrapped, widths, numeric, strict=True)
        ]
        yield _GAP.join(parts).rstrip()
