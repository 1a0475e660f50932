"""The last look at every line on its way to the terminal: signs it would obey are left out."""

from __future__ import annotations

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

from pitwright.signs import first_hidden, visible

__all__ = ["PlainSigns"]


class PlainSigns(LineFilter):
    """Leaves out control, escape and direction signs that any widget may have been given.

    Cards and records hold none; names of files, messages of the system and what was pasted may.
    """

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments without such signs."""
        return [
            segment
            if segment.control or first_hidden(segment.text, keep="") is None
            else segment._replace(text=visible(segment.text, keep=""))
            for segment in segments
        ]
