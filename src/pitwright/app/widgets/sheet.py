"""A sheet of text over a screen, to be read and put away."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from pitwright.app.standing import Dialog

__all__ = ["Sheet", "rows"]


def rows(lines: Iterable[str]) -> Content:
    """Return lines as content that keeps their indent, which wrapping would eat."""
    return Content(
        "\n".join("\u00a0" * (len(x) - len(x.lstrip(" "))) + x.lstrip(" ") for x in lines)
    )


class Sheet(Dialog[None]):
    """Lines of text under a title; escape, enter or a click puts it away."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,q", "dismiss", "Close", id="sheet.close"),
    ]

    def __init__(self, title: str, lines: Sequence[str]) -> None:
        super().__init__()
        self._title = title
        self._lines = lines

    def compose(self) -> ComposeResult:
        """Lay out the text."""
        with VerticalScroll(classes="dialog"):
            yield Static(Content(self._title), classes="heading")
            yield Static(rows(self._lines))
            yield Static("escape closes; arrows scroll", classes="hint")

    def on_click(self) -> None:
        """Put the sheet away."""
        self.dismiss()
