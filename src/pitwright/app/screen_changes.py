"""One change of screens after another: what is asked for meanwhile waits, or is overtaken."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable
from contextvars import Context, copy_context
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from textual._context import active_message_pump
from textual.await_complete import AwaitComplete
from textual.dom import NoScreen
from textual.widget import Widget

from pitwright.app.patience import until_done_or_idle

if TYPE_CHECKING:
    from textual.app import App
    from textual.screen import Screen

__all__ = ["ScreenChanges"]

_T = TypeVar("_T")


@dataclass(frozen=True)
class _Change:
    """A change asked for: how to make it, and whether it is still wanted when its turn comes."""

    make: Callable[[], Awaitable[Any]]
    wanted: Callable[[], bool]
    kind: str
    context: Context
    done: asyncio.Future[Any]

    def drop(self) -> None:
        """Do without; who waits for an answer to a question waits no longer."""
        if self.kind == "ask":
            self.done.cancel()
        elif not self.done.done():
            self.done.set_result(None)


class ScreenChanges:
    """Makes one change of screens at a time, each to its end.

    Textual changes its stack at once, and lays the new screen out and takes the old one down beside
    the messages. A second change in that time acts on screens that are half there: it takes away
    one that is still being laid out, or the one beneath a screen that has gone already. Here a
    change begins when the one before has ended, which is when the screen in front has taken every
    message that its coming up brought, and is painted.

    What another change has overtaken is dropped: one screen for another, when that one has gone or
    a third is asked for since; a screen that is to go, when it is not in front; a screen laid over,
    when the one that asks for it has gone. ``settled`` is called when no change is left. A screen
    that does not come up while the app is idle holds the others, and the keys, back no longer.
    Where the app was busy for too long to tell, ``overdue`` is called before.
    """

    def __init__(
        self, app: App[Any], settled: Callable[[], object], overdue: Callable[[], object]
    ) -> None:
        self._app = app
        self._settled = settled
        self._overdue = overdue
        self._waiting: deque[_Change] = deque()
        self._ending: asyncio.Task[None] | None = None
        self._making = False

    @property
    def busy(self) -> bool:
        """Tell whether a change has begun and not ended."""
        return self._ending is not None

    def push(self, make: Callable[[], Awaitable[_T]], *, waits: bool) -> Awaitable[_T]:
        """Lay a screen over; ``waits`` when what is awaited is its result, not its coming up."""
        asks = active_message_pump.get(None)

        def wanted() -> bool:
            if not isinstance(asks, Widget):
                return True
            try:
                return asks.screen in self._app.screen_stack
            except NoScreen:
                return False

        return self._ask(make, wanted, "ask" if waits else "push")

    def switch(self, make: Callable[[], Awaitable[_T]]) -> Awaitable[_T]:
        """Put a screen in the place of the one in front."""
        top = self._app.screen
        for overtaken in [c for c in self._waiting if c.kind == "switch"]:
            self._waiting.remove(overtaken)
            overtaken.drop()
        return self._ask(make, lambda: self._app.screen is top, "switch")

    def leave(self, screen: Screen[Any], make: Callable[[], AwaitComplete]) -> AwaitComplete:
        """Take a screen away, if it is in front."""
        made = self._ask(make, lambda: self._app.screen is screen, "leave")
        return made if isinstance(made, AwaitComplete) else AwaitComplete(made)

    def _ask(
        self, make: Callable[[], Awaitable[_T]], wanted: Callable[[], bool], kind: str
    ) -> Awaitable[_T]:
        if self._making:  # a part of the change in hand
            return make()
        done = asyncio.get_running_loop().create_future()
        change = _Change(make, wanted, kind, copy_context(), done)
        if self.busy:
            self._waiting.append(change)
            return done
        return self._begin(change)

    def _begin(self, change: _Change) -> Awaitable[Any]:
        if not change.wanted():
            change.drop()
            return change.done
        self._making = True
        try:
            made = change.context.run(change.make)
        finally:
            self._making = False
        whole = None if change.kind == "ask" else asyncio.ensure_future(made)
        self._ending = asyncio.create_task(self._end(whole), name="change of screens")
        return made

    async def _wait_for(self, end: asyncio.Future[Any]) -> None:
        if not await until_done_or_idle(end):
            self._overdue()

    async def _end(self, whole: asyncio.Future[Any] | None) -> None:
        """Wait for the end of a change, and make those that were asked for meanwhile."""
        if whole is not None:
            await self._wait_for(whole)
        if self._app.is_running:
            up: asyncio.Future[None] = asyncio.get_running_loop().create_future()
            screen = self._app.screen
            screen.call_later(screen.call_after_refresh, _set, up)
            await self._wait_for(up)
        self._ending = None
        while self._waiting and not self.busy:
            change = self._waiting.popleft()
            if not self._app.is_running:
                change.drop()
                continue
            try:
                made = self._begin(change)
            except Exception as error:
                change.drop()
                self._app._handle_exception(error)
            else:
                if made is not change.done:
                    asyncio.ensure_future(made).add_done_callback(partial(_hand_on, change.done))
        if not self.busy:
            self._settled()


def _set(up: asyncio.Future[None]) -> None:
    if not up.done():
        up.set_result(None)


def _hand_on(done: asyncio.Future[Any], made: asyncio.Future[Any]) -> None:
    if done.done():
        return
    if made.cancelled():
        done.cancel()
    elif error := made.exception():
        done.set_exception(error)
    else:
        done.set_result(made.result())
