"""How long parts last, in a line beside what is measured; worked out beside the screen."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import datetime, timedelta

from textual import work
from textual.content import Content
from textual.timer import Timer
from textual.widgets import Static

from pitwright.app.standing import Standing
from pitwright.weekend.weekend import Weekend

__all__ = ["WearLine", "of_fitted_parts"]

_AFTER_S = 0.4
_FRESH = timedelta(minutes=5)

Ask = Callable[[Weekend, datetime, str | None], str]


def of_fitted_parts(weekend: Weekend, now: datetime, clutch: str | None) -> str:
    """Answer for every fitted part; what it takes is imported when it is first asked for."""
    from pitwright.desk.wear.forecast import fitted_lines

    return fitted_lines(weekend, now, clutch)


class WearLine(Standing, Static):
    """Shows an answer about wear once the keys are quiet, and keeps it until something changed.

    It takes no room while there is nothing to say.
    """

    DEFAULT_CSS = """
    WearLine {
        height: auto;
    }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__("", id=id, markup=False)
        self.display = False
        self._asked: tuple[object, ...] = ()
        self._asked_at: datetime | None = None
        self._soon: Timer | None = None

    def ask(
        self, about: str, weekend: Weekend, now: datetime, clutch: str | None, answer: Ask
    ) -> None:
        """Show what ``answer`` says about the weekend as it stands; empty ``about`` shows nothing.

        ``answer`` runs in a thread and touches nothing but its arguments. Asking the same again
        is free.
        """
        asked: tuple[object, ...] = (
            about,
            clutch,
            weekend.event,
            weekend.clutches,
            weekend.stock,
            weekend.log,
            weekend.open.heat,
        )
        same = len(asked) == len(self._asked) and all(
            a is b or (isinstance(a, str) and a == b)
            for a, b in zip(asked, self._asked, strict=True)
        )
        if same and self._asked_at is not None and now - self._asked_at < _FRESH:
            return
        if self._soon is not None:
            self._soon.stop()
        if not self._asked or about != self._asked[0]:
            self._tell("")
        self._asked, self._asked_at = asked, now
        if about:
            self._soon = self.set_timer(
                _AFTER_S, lambda: self._work_out(asked, weekend, now, clutch, answer)
            )

    def say(self, text: str) -> None:
        """Show this in place of an answer, until one is asked for again."""
        if self._soon is not None:
            self._soon.stop()
        self._asked, self._asked_at = (), None
        self._tell(text)

    # Without a description Textual writes one: every record of the weekend, in words, at each ask.
    @work(exclusive=True, description="wear")
    async def _work_out(
        self,
        asked: tuple[object, ...],
        weekend: Weekend,
        now: datetime,
        clutch: str | None,
        answer: Ask,
    ) -> None:
        told = await asyncio.to_thread(answer, weekend, now, clutch)
        if asked is self._asked:
            self._tell(told)

    def _tell(self, text: str) -> None:
        self.display = bool(text)
        self.update(Content(f"{text[:1].upper()}{text[1:]}"))
