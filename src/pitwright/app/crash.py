"""A mistake of our own ends the app with a report in a file, not with a stack trace."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from rich.text import Text
from textual.app import App
from textual.worker import WorkerFailed

__all__ = ["CrashReporting"]


_R = TypeVar("_R")


class CrashReporting(App[_R]):
    """An app whose unhandled exceptions are written to a crash report.

    The terminal shows where it is. ``crash_folder`` is the weekend's folder, when there is one.
    """

    @property
    def crash_folder(self) -> Path | None:
        """The folder whose ``crash-reports`` take the report, when it can be written."""
        return None

    def _handle_exception(self, error: Exception) -> None:
        """Note the error for whoever drives the app, write the report, end the app."""
        from pitwright.store.crash import crash_words, write_crash_report

        self._return_code = 3
        if self._exception is not None:
            return
        self._exception = error
        self._exception_event.set()
        cause = error.error if isinstance(error, WorkerFailed) else error
        names = " over ".join(type(screen).__name__ for screen in reversed(self.screen_stack))
        report = write_crash_report(cause, folder=self.crash_folder, doing=f"screen {names}")
        self.panic(Text(crash_words(report)))
