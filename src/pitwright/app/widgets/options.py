"""The option list of every screen and dialog."""

from __future__ import annotations

from typing import Final

from textual import events
from textual.command import CommandList
from textual.geometry import Size
from textual.widgets import OptionList

from pitwright.app.standing import Standing

__all__ = ["FoundOptions", "Options"]

_LEAST: Final = 8


class _AnyWindow(Standing):
    """What a list of options needs in windows of any size, with rows that change under the mouse.

    For a class that is an OptionList too.
    """

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the height at a width.

        Textual's own divides by what is left of the width beside padding, and a tiny window can
        leave none.
        """
        width = max(width, _LEAST)
        height: int = super().get_content_height(container, viewport, width)  # type: ignore[misc]
        return height

    def on_click(self, event: events.Click) -> None:
        """Let a click alone that was meant for a row which has gone since it was painted."""
        assert isinstance(self, OptionList)
        clicked = event.style.meta.get("option")
        if clicked is not None and clicked >= self.option_count:
            event.prevent_default()


class Options(_AnyWindow, OptionList):
    """An option list for windows of any size, whose rows may change under the mouse."""


class FoundOptions(_AnyWindow, CommandList):
    """What the list of everything that can be done has found."""
