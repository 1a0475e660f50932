"""The option list of every screen and dialog."""

from __future__ import annotations

from typing import Final

from textual import events
from textual.geometry import Size
from textual.widgets import OptionList

from pitwright.app.standing import Standing

__all__ = ["Options"]

_LEAST: Final = 8


class Options(Standing, OptionList):
    """An option list for windows of any size, whose rows may change under the mouse."""

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the height at a width.

        Textual's own divides by what is left of the width beside padding, and a tiny window can
        leave none.
        """
        return super().get_content_height(container, viewport, max(width, _LEAST))

    def on_click(self, event: events.Click) -> None:
        """Let a click alone that was meant for a row which has gone since it was painted."""
        clicked = event.style.meta.get("option")
        if clicked is not None and clicked >= self.option_count:
            event.prevent_default()
