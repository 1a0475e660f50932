"""Text of a row that is made when the row comes into sight."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Final

from textual.content import Content
from textual.css.styles import RulesMap
from textual.geometry import Size
from textual.strip import Strip
from textual.style import Style
from textual.visual import RenderOptions, Visual

__all__ = ["UNTOLD", "LaterText"]

UNTOLD: Final = Size(0, 0)
"""The size of a text that nobody knows before it is made."""


class LaterText(Visual):
    """A text that ``make`` makes once it is needed.

    A list has to know the height of all its rows before it shows the first. ``size`` is what the
    text fits into, told beforehand where that is plain: widest line and number of lines.
    """

    def __init__(self, make: Callable[[], Content], size: Size = UNTOLD) -> None:
        self._make = make
        self._size = size

    def __str__(self) -> str:
        """Return the text without its styles."""
        return self.content.plain

    @cached_property
    def content(self) -> Content:
        """The text itself."""
        return self._make()

    def get_height(self, rules: RulesMap, width: int) -> int:
        """Return the number of lines at a width."""
        if self._size and self._size.width <= width:
            return self._size.height
        return self.content.get_height(rules, width)

    def get_optimal_width(self, rules: RulesMap, container_width: int) -> int:
        """Return the width that the text asks for."""
        return self.content.get_optimal_width(rules, container_width)

    def render_strips(
        self, width: int, height: int | None, style: Style, options: RenderOptions
    ) -> list[Strip]:
        """Paint the text."""
        return self.content.render_strips(width, height, style, options)
