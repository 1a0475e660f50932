"""The build in hand: kept at every change, and its working time while it is worked on."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from textual import work

from pitwright.app.screens.base import WeekendScreen
from pitwright.desk.build.facts import landed
from pitwright.desk.build.worktime import keep_time, resume
from pitwright.weekend.open_work import OpenBuild

__all__ = ["BuildInHand"]

_KEEP_EVERY_SECONDS = 10.0


class BuildInHand(WeekendScreen):
    """A screen that works on the open build."""

    @property
    def build(self) -> OpenBuild | None:
        """The build in progress."""
        return self.weekend.open.build

    def take(self, build: OpenBuild) -> bool:
        """Keep a build as it now is and show it; on failure the one before still stands."""
        if not self.pitwright.guard(lambda: self.pitwright.session.keep_build(build)):
            return False
        self.show_weekend()
        return True

    def on_mount(self) -> None:
        """Take up a build left behind, and keep its working time from now on."""
        self.set_interval(_KEEP_EVERY_SECONDS, self._keep_time)
        build = self.build
        if build is None or not self.pitwright.session.writable:
            return
        if landed(build, self.weekend) is not None:
            # The record landed and then the app died: only the clearing away is missing.
            self.pitwright.guard(self.pitwright.session.clear_build)
            self.notify("The last build was signed off already; its record is in the log")
            return
        self.take(resume(build, self.pitwright.clock()))

    def on_unmount(self) -> None:
        """Keep the working time when the app is left."""
        self._keep_time()

    def _keep_time(self) -> None:
        build, session = self.build, self.pitwright.session
        if build is None or build.worked_since is None or not session.writable:
            return
        now = self.pitwright.clock()
        self.pitwright.guard(lambda: session.keep_build(keep_time(build, now)))

    @work(exclusive=True, group="build")
    async def _run(self, question: Callable[[], Coroutine[Any, Any, object]]) -> None:
        """Put one question at a time; another key takes its place."""
        await question()
