"""A line asked for until it is kept; what is typed meanwhile is a draft on disk."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from pitwright.app.widgets.dialogs import AskLine
from pitwright.desk.form_text import line_trouble
from pitwright.store.files import StoreError

if TYPE_CHECKING:
    from textual.timer import Timer

    from pitwright.app.screens.base import WeekendScreen

__all__ = ["TypedLines"]

_SOON_S = 0.3


class TypedLines:
    """The lines typed on a screen, each with its draft under the name of its form."""

    def __init__(self, screen: WeekendScreen) -> None:
        self._screen = screen
        self._waiting: Timer | None = None
        self._said = False

    def draft(self, form: str) -> str:
        """Return what was typed and not kept yet."""
        draft = self._screen.weekend.open.drafts.get(form)
        return draft.fields.get("text", "") if draft is not None else ""

    def keep_soon(self, form: str, text: str) -> None:
        """Keep a draft a moment after the last key."""
        if self._waiting is not None:
            self._waiting.stop()
        self._waiting = self._screen.set_timer(_SOON_S, lambda: self.keep(form, text))

    def keep(self, form: str, text: str) -> None:
        """Keep a draft now; an empty one is forgotten."""
        if self._waiting is not None:
            self._waiting.stop()
            self._waiting = None
        session = self._screen.pitwright.session
        if not session.writable or text == self.draft(form):
            return
        try:
            session.keep_draft(form, {"text": text})
        except StoreError as error:
            # Said once: a toast at each key would hide the entry itself.
            if not self._said:
                self._said = True
                self._screen.notify(
                    error.strerror or str(error), title="Draft not kept", severity="warning"
                )

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
        typed = self.draft(form) or value
        while True:
            latest = typed

            def note_typed(text: str) -> None:
                nonlocal latest
                latest = text
                self.keep_soon(form, text)

            answer = await self._screen.app.push_screen_wait(
                AskLine(title, value=typed, hint=hint, check=check, on_typed=note_typed)
            )
            if answer is None:
                self.keep(form, latest if latest != value else "")
                return False
            if keep(answer):
                self.keep(form, "")
                return True
            typed = answer
