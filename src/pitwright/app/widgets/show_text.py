"""A text over a screen: a plan or a finding, to read and to put away."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from pitwright.app.standing import Dialog

__all__ = ["ShowText"]


class ShowText(Dialog[None]):
    """A title and text that scrolls; any of escape, enter and q puts it away."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,q", "dismiss", "Back", id="dialog.back"),
    ]

    def __init__(self, title: str, text: Content) -> None:
        super().__init__()
        self._title = title
        self._text = text

    def compose(self) -> ComposeResult:
        """Lay out the text."""
        with Vertical(classes="dialog form"):
            yield Static(Content(self._title), classes="heading")
            with VerticalScroll(classes="fields"):
                yield Static(self._text)
            yield Static("escape goes back", classes="hint")

    def on_mount(self) -> None:
        """Let the arrow keys scroll at once."""
        self.query_one(VerticalScroll).focus()

    def on_resize(self) -> None:
        """Keep title and keys in sight."""
        self.query_one(VerticalScroll).styles.max_height = max(self.size.height - 6, 3)
