"""The bottom line: the keys that matter here, with the way to the help always in sight."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.widgets import Footer
from textual.widgets._footer import FooterKey

__all__ = ["KeyLine"]


class KeyLine(Footer):
    """A footer that keeps the help at its right end, however many keys the screen has."""

    def __init__(self) -> None:
        super().__init__(show_command_palette=False)

    def compose(self) -> ComposeResult:
        """Lay out the keys, the help at the end."""
        for shown in super().compose():
            if isinstance(shown, FooterKey) and shown.action == "help":
                shown.add_class("-command-palette")
            yield shown
