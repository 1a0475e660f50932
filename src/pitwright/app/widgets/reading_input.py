"""The line a reading is typed into: it can be undone, and takes pasted lists."""

from __future__ import annotations

from typing import ClassVar, Final

from textual import events
from textual.binding import Binding, BindingType

from pitwright.app.standing import Standing
from pitwright.app.widgets.line_input import LineInput
from pitwright.signs import bare

__all__ = ["ReadingInput"]

NO_READING: Final = ("?", ":")
# A keypad has no blank bar: these part one reading from the next.
_NEXT: Final = ("+", "*")
_MOST_STEPS = 200
_CHUNK = 32


class ReadingInput(Standing, LineInput):
    """An entry line with undo and redo, whose paste joins several lines into repeats.

    On a numeric keypad + or * behind a reading goes on to its next repeat.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+z", "undo", "Undo", show=False, id="entry.undo", tooltip="Undo typing"),
        Binding("ctrl+y", "redo", "Redo", show=False, id="entry.redo", tooltip="Redo typing"),
    ]

    def __init__(self, value: str = "", *, placeholder: str = "", id: str | None = None) -> None:
        super().__init__(value, placeholder=placeholder, id=id, select_on_focus=False)
        self._before: list[str] = []
        self._after: list[str] = []
        self._shown = value
        self._moving = False

    @property
    def content_width(self) -> int:
        """The width of what is typed, in coarse steps.

        Each change of it lays the whole screen out afresh, which a key stroke cannot afford.
        """
        exact: int = super().content_width
        return -(-exact // _CHUNK) * _CHUNK

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Leave signs to the keys of the app that no reading has."""
        return character not in NO_READING and super().check_consume_key(key, character)

    async def _on_key(self, event: events.Key) -> None:
        if event.character in NO_READING:
            event.prevent_default()
        elif event.character in _NEXT and self.value[: self.cursor_position].strip(" +-"):
            event.stop()
            event.prevent_default()
            if self.value[: self.cursor_position][-1:] != " ":
                self._insert_sign(" ")

    def _insert_sign(self, sign: str) -> None:
        self.replace(sign, *self.selection)

    def watch_value(self, value: str) -> None:
        """Remember what stood here before, for undo."""
        if value == self._shown:
            return
        if not self._moving:
            self._before.append(self._shown)
            del self._before[:-_MOST_STEPS]
            self._after.clear()
        self._shown = value

    def forget_steps(self) -> None:
        """Start undo afresh, when the line was emptied because its reading was kept."""
        self._before.clear()
        self._after.clear()
        self._shown = self.value

    def action_undo(self) -> None:
        """Go back one change."""
        self._step(self._before, self._after)

    def action_redo(self) -> None:
        """Take back an undo."""
        self._step(self._after, self._before)

    def _step(self, source: list[str], target: list[str]) -> None:
        if not source:
            return
        target.append(self.value)
        self._moving = True
        try:
            self.value = source.pop()
        finally:
            self._moving = False
        self.cursor_position = len(self.value)

    def _insert(self, text: str) -> None:
        line = " ".join(bare(text).split())
        self.replace(line, *self.selection)
