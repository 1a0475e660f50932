"""What stands on the screen while the weekend is read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from pitwright.app.standing import StandingScreen
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.status_bar import StatusBar

__all__ = ["OpeningScreen"]


class OpeningScreen(StandingScreen[None]):
    """The frame of the app, painted before anything of the weekend is there.

    It imports nothing but Textual: reading a weekend costs as much again as starting the app, and
    somebody who has just pressed enter should see at once that it was heard.
    """

    TITLE: ClassVar[str] = "pitwright"
    PURPOSE: ClassVar[str] = "The clutch bench of a race weekend"

    def __init__(self, folder: Path, painted: Callable[[], None]) -> None:
        super().__init__()
        self._folder = folder
        self._painted: Callable[[], None] | None = painted

    def on_screen_resume(self) -> None:
        """Go on once the frame is painted, which Textual does before the next message."""
        painted, self._painted = self._painted, None
        if painted is not None:
            self.call_later(painted)

    def compose(self) -> ComposeResult:
        """Lay out the frame."""
        yield StatusBar(Content(f" pitwright · {self._folder.name}"))
        yield Static(Content(self.PURPOSE), id="purpose")
        yield Static(Content(f"\n Reading {self._folder} ..."), id="body")
        yield KeyLine()
