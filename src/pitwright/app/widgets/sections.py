"""Sections of labelled lines as text that fits a width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from textual.content import Content

from pitwright.app.widgets.decimals import lead_in, whole_digits
from pitwright.app.widgets.flag import GLYPHS, flag_style
from pitwright.desk.heats.heat_detail import DetailLine, Section

__all__ = ["sections_content"]

_LABEL = 19


def sections_content(sections: Iterable[Section], width: int) -> Content:
    """Return sections under one another, sources behind or under what they belong to."""
    rows: list[Content] = []
    for section in sections:
        if rows:
            rows.append(Content(""))
        rows.append(Content.styled(section.title, "$primary bold"))
        digits = whole_digits([line.text for line in section.lines])
        for line in section.lines:
            rows += _line(line, digits, max(width, 30))
    return Content("\n").join(rows)


def _line(line: DetailLine, digits: int, width: int) -> Sequence[Content]:
    indent = " " * (_LABEL + 1)
    label = f" {line.label}"
    room = width - _LABEL - 1
    text = textwrap.wrap(lead_in(line.text, digits), room) or [""]
    if len(label) <= _LABEL:
        rows = [Content(label.ljust(_LABEL) + " " + text[0])]
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
