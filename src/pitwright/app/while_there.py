"""Timers that outlive what they work on tick into nothing."""

from __future__ import annotations

from collections.abc import Callable
from inspect import isawaitable

from textual.css.query import NoMatches
from textual.timer import TimerCallback

__all__ = ["while_there"]


def while_there(callback: TimerCallback | None, there: Callable[[], bool]) -> TimerCallback | None:
    """Return ``callback`` so that it does nothing once ``there`` says that its owner is going.

    A timer runs beside the messages of its owner: it may tick once more while the owner is taken
    down widget by widget, as when the app is left, and then finds some of them gone.
    """
    if callback is None:
        return None

    async def ticked() -> None:
        if not there():
            return
        try:
            done = callback()
            if isawaitable(done):
                await done
        except NoMatches:
            if there():
                raise

    return ticked
