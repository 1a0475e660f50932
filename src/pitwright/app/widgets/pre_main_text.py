"""The list before a main as text: verdict, point, what is on record, and what to do."""

from __future__ import annotations

from datetime import datetime
from textwrap import wrap
from typing import Final

from textual.content import Content

from pitwright.app.widgets.flag import GLYPHS, flag_style
from pitwright.desk.clock.pre_main import PreMain, title_line
from pitwright.weekend.weekend import Weekend

__all__ = ["pre_main_text"]

_WORD: Final = 20
_LABEL: Final = 19


def pre_main_text(found: PreMain, weekend: Weekend, now: datetime, width: int) -> Content:
    """Return the list set for ``width`` columns; what to do stands under a point not good."""
    lines: list[Content] = [Content.styled(title_line(found, weekend, now), "bold $primary")]
    for note in found.notes:
        told = wrap(f"! {note}", width, subsequent_indent="  ")
        lines += [Content.styled(line, "$warning") for line in told]
    room = max(width - _WORD - _LABEL, 20)
    for point in found.points:
        glyph = GLYPHS.get(point.word, "-")
        word = Content.styled(f"{glyph} {point.word}".ljust(_WORD), flag_style(point.word))
        label = Content(point.label).truncate(_LABEL - 1, ellipsis=True)
        gap = " " * (_LABEL - label.cell_length)
        first, *more = wrap(point.told, room) or [""]
        lines.append(Content.assemble(word, label, gap, first))
        lines += [Content(" " * (_WORD + _LABEL) + line) for line in more]
        lines += [
            Content.styled(" " * 2 + line, "$foreground 75%")
            for under in point.under
            for line in wrap(under, width - 2)
        ]
    return Content("\n").join(lines)
