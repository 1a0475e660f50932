"""The line that a text is typed into; what is pasted stays whole."""

from __future__ import annotations

from textual import events
from textual.widgets import Input

__all__ = ["LineInput"]


class LineInput(Input):
    """An entry line whose paste joins several lines with a blank, where Textual keeps the first."""

    def _insert(self, text: str) -> None:
        lines = (line.strip() for line in text.splitlines())
        self.replace(" ".join(line for line in lines if line), *self.selection)

    def _on_paste(self, event: events.Paste) -> None:
        event.stop()
        event.prevent_default()
        if event.text:
            self._insert(event.text)

    def action_paste(self) -> None:
        """Paste from the app's clipboard."""
        self._insert(self.app.clipboard)
