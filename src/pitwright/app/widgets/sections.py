"""Sections of labelled lines as text that fits a width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from textual.content import Content

from pitwright.app.widgets.flag import GLYPHS, flag_style
from pitwright.desk.heat_detail import DetailLine, Section

__all__ = ["sections_content"]

_LABEL = 19
_LABEL_NARROW = 14
_NARROW = 60


def sections_content(sections: Iterable[Section], width: int) -> Content:
    """Return sections under one another, sources behind or under what they belong to."""
    rows: list[Content] = []
    for section in sections:
        if rows:
            rows.append(Content(""))
        rows.append(Content.styled(section.title, "$primary bold"))
        for line in section.lines:
            rows += _line(line, max(width, 30))
    return Content("\n").join(rows)


def _line(line: DetailLine, width: int) -> Sequence[Content]:
    column = _LABEL if width >= _NARROW else _LABEL_NARROW
    indent = " " * (column + 1)
    label = f" {line.label}"
    room = width - column - 1
    text = textwrap.wrap(line.text, room) or [""]
    if len(label) <= column:
        rows = [Content(label.ljust(column) + " " + text[0])]
    else:
        rows = [Content(label), Content(indent + text[0])]
    rows += [Content(indent + more) for more in text[1:]]
    if line.word:
        mark = Content.styled(f" {GLYPHS.get(line.word, '')} {line.word}", flag_style(line.word))
        rows[-1] = Content.assemble(rows[-1], mark)
    if line.source:
        behind = Content.styled(f"  {line.source}", "$foreground 65%")
        if len(rows[-1].plain) + len(behind.plain) <= width:
            rows[-1] = Content.assemble(rows[-1], behind)
        else:
            rows += [
                Content.styled(indent + row, "$foreground 65%")
                for row in textwrap.wrap(line.source, room)
            ]
    return rows
