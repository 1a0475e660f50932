"""The top line: weekend, where we are, and the time to the next heat."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

__all__ = ["StatusBar"]


class StatusBar(Static):
    """One line: event on the left, what matters now on the right."""

    _ends = ("", "")
    _mark = ""

    def mark(self, words: str) -> None:
        """Say something before all else, until it is marked with nothing."""
        if words != self._mark:
            self._mark = words
            self.show(*self._ends)

    def show(self, left: str, right: str) -> None:
        """Show the two ends of the line; the left one gives way when it is narrow."""
        self._ends = left, right
        left = f"{self._mark} · {left}" if self._mark else left
        width = max(self.size.width, 20)
        end = Content(right).truncate(width - 4, ellipsis=True)
        room = width - end.cell_length - 3
        start = Content(left).truncate(room, ellipsis=True)
        gap = " " * (room - start.cell_length)
        # One line whatever it says: laying the screen out anew each second would be for nothing.
        self.update(Content.assemble(" ", start, gap, " ", end, " "), layout=False)

    async def on_click(self) -> None:
        """Open the pit clock."""
        await self.run_action("screen.clock")
