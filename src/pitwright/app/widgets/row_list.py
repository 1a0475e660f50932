"""A list that has the row under the cursor in sight from its first paint on."""

from __future__ import annotations

from textual.geometry import Region
from textual.strip import Strip

from pitwright.app.widgets.options import Options

__all__ = ["RowList"]


class RowList(Options):
    """An option list that scrolls to the row under the cursor as soon as it is painted.

    Textual's own waits for the next refresh, so that a long list shows its head for a moment and
    is painted twice.
    """

    _in_sight = False

    def render_lines(self, crop: Region) -> list[Strip]:
        """Paint; the first time, scroll before."""
        if not self._in_sight and self.option_count:
            self._in_sight = True
            self.scroll_to_highlight()
        return super().render_lines(crop)
