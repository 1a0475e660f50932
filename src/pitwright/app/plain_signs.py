"""The last look at every line on its way to the terminal: signs it would obey are left out."""

from __future__ import annotations

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

from pitwright.signs import bare

__all__ = ["PlainSigns"]


class PlainSigns(LineFilter):
    """Leaves out what would be obeyed or not be seen, which any widget may have been given.

    Cards and records hold none; names of files, messages of the system and what was typed may.
    Nothing is shown in its place: here it would push the rest of the line aside.
    """

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments without such signs."""
        return [
            segment
            if segment.control or (text := bare(segment.text, keep="")) == segment.text
            else segment._replace(text=text)
            for segment in segments
        ]
