"""A line asked for until it is kept; what is typed meanwhile is a draft on disk."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from pitwright.app.widgets.dialogs import AskLine
from pitwright.desk.form_text import line_trouble

if TYPE_CHECKING:
    from pitwright.app.screens.base import WeekendScreen

__all__ = ["TypedLines"]


class TypedLines:
    """The lines typed on a screen, each with its draft under the name of its form."""

    def __init__(self, screen: WeekendScreen) -> None:
        self._screen = screen

    def draft(self, form: str) -> str:
        """Return what was typed and not kept yet."""
        return self._screen.pitwright.drafts.fields(form).get("text", "")

    def typed(self, form: str, text: str) -> None:
        """Keep a draft of what is typed."""
        self._screen.pitwright.drafts.typed(form, {"text": text})

    def forget(self, form: str) -> None:
        """Forget the draft of what has been kept."""
        self._screen.pitwright.drafts.forget(form)

    async def ask(
        self,
        form: str,
        title: str,
        keep: Callable[[str], bool],
        *,
        value: str = "",
        hint: str = "enter keeps it, escape goes back",
        check: Callable[[str], str] = line_trouble,
    ) -> bool:
        """Ask for a line until ``keep`` has kept it, or the user goes back."""

        def note_typed(text: str) -> None:
            # What stands there by itself was not typed.
            self.typed(form, text if text != value else "")

        typed = self.draft(form) or value
        while True:
            answer = await self._screen.app.push_screen_wait(
                AskLine(title, value=typed, hint=hint, check=check, on_typed=note_typed)
            )
            if answer is None:
                return False
            if keep(answer):
                self.forget(form)
                return True
            typed = answer
