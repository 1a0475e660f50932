"""The top line: weekend, where we are, and the time to the next heat."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

__all__ = ["StatusBar"]


class StatusBar(Static):
    """One line: event on the left, what matters now on the right."""

    def show(self, left: str, right: str) -> None:
        """Show the two ends of the line; the left one gives way when it is narrow."""
        width = max(self.size.width, 20)
        right = right[: width - 4]
        room = width - len(right) - 3
        if len(left) > room:
            left = left[: max(room - 1, 0)] + "…"
        self.update(Content(f" {left}{' ' * (room - len(left))} {right} "))
