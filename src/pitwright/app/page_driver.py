"""What the app talks to when a page in a browser shows it."""

from __future__ import annotations

import contextlib
import os
from functools import partial

from textual.app import App
from textual.drivers.web_driver import WebDriver
from textual.messages import ExitApp

__all__ = ["PageDriver"]


class PageDriver(WebDriver):
    """A driver whose app ends with whoever shows it.

    Left alone, an app whose server was killed would go on unseen and hold the folder.
    """

    def __init__(
        self,
        app: App[object],
        *,
        debug: bool = False,
        mouse: bool = True,
        size: tuple[int, int] | None = None,
    ) -> None:
        super().__init__(app, debug=debug, mouse=mouse, size=size)
        self._write = partial(self._show)

    def _show(self, data: bytes) -> int:
        """Show something, if there still is a page; without one the app ends in order."""
        with contextlib.suppress(BrokenPipeError):
            return os.write(self.fileno, data)
        return 0

    def run_input_thread(self) -> None:
        """Pass keys on until there are none to come, then end the app."""
        super().run_input_thread()
        if not self.exit_event.is_set():
            self.send_message(ExitApp())
