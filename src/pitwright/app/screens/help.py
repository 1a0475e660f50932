"""Help over a screen: what it is for, in words, and its keys."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

from pitwright.app.screens.base import WeekendScreen

__all__ = ["HelpScreen"]


class HelpScreen(ModalScreen[None]):
    """The help of the screen below."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,q", "dismiss", "Close", id="help.close")
    ]

    def __init__(self, about: Screen[object]) -> None:
        super().__init__()
        self._about = about

    def compose(self) -> ComposeResult:
        """Lay out purpose, words and keys."""
        with VerticalScroll(classes="dialog"):
            about = self._about
            if isinstance(about, WeekendScreen):
                yield Static(Content(about.TITLE), classes="heading")
                yield Static(Content(about.PURPOSE))
                yield Static(Content(about.HELP_TEXT))
            keys = [
                (self.app.get_key_display(active.binding), active.binding)
                for active in about.active_bindings.values()
                if active.enabled and active.binding.description
            ]
            width = max((len(key) for key, _ in keys), default=0)
            lines = [
                f"{key.rjust(width)}  {binding.tooltip or binding.description}"
                for key, binding in dict.fromkeys(keys)
            ]
            yield Static(Content("\n" + "\n".join(lines)))
            yield Static("escape closes", classes="hint")
