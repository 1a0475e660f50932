"""The signals by which a terminal, a shell or a laptop that goes down tells the app to end."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pitwright.app.terminal_app import TerminalApp

__all__ = ["ToldToEnd"]

_SIGNALS: Final = tuple(
    getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)
)

_SETTLES_S: Final = 0.1


class ToldToEnd:
    """Has what is typed or tapped written before an end that comes from outside.

    Where signals cannot be taken (Windows, a loop beside the main thread) they end the app as ever.
    """

    def __init__(self, app: TerminalApp[Any]) -> None:
        self._app = app
        self._loop = asyncio.get_running_loop()
        for number in _SIGNALS:
            with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):
                self._loop.add_signal_handler(number, self._end, number)

    def stop(self) -> None:
        """Leave the signals to themselves again."""
        for number in _SIGNALS:
            with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):
                self._loop.remove_signal_handler(number)

    def _end(self, number: int) -> None:
        self.stop()
        self._app.flush()
        # A key that is painted already may wait in a queue to be held as a draft.
        self._loop.call_later(_SETTLES_S, self._leave, number)

    def _leave(self, number: int) -> None:
        self._app.flush()
        if number == signal.SIGTERM:
            self._app.exit(return_code=128 + number)
        else:
            # The terminal has gone: there is nothing to put in order there, nor any way to.
            os.kill(os.getpid(), number)
