"""One key after another: what is typed goes where the key before it has led."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable, Iterator
from typing import TYPE_CHECKING, Any, Final

from textual import events
from textual.message_pump import MessagePump

from pitwright.app.patience import until_done_or_idle

if TYPE_CHECKING:
    from textual.app import App

__all__ = ["KeyOrder"]

_DROPPED: Final = "This laptop was too busy: what you typed meanwhile was not taken"


class KeyOrder:
    """Holds keys back while the one before them may still move the cursor.

    A key goes to the widget with the cursor, climbs from there to the app, may be an action there,
    which may tell the widget, which may ask the app to move the cursor: messages, each behind what
    is queued already. Keys that come faster than that, on a slow laptop from quick hands, would
    land in the line the cursor was about to leave, and make 10.15 and 1.35 one number.

    While ``changing`` says that screens change, keys wait for the one that comes up. A key whose
    widget went away under it holds the others back until the app has been idle for a moment. Where
    that does not come for long, they are dropped, and it is said.
    """

    def __init__(
        self,
        app: App[Any],
        give: Callable[[events.Key | events.Paste], Awaitable[None]],
        changing: Callable[[], bool],
    ) -> None:
        self._app = app
        self._give = give
        self._changing = changing
        self._waiting: deque[events.Key | events.Paste] = deque()
        self._on_its_way: asyncio.Future[None] | None = None

    @property
    def holding(self) -> bool:
        """Tell whether the next key would wait: one is on its way, or the screens change."""
        return self._on_its_way is not None or self._changing()

    async def take(self, event: events.Key | events.Paste) -> None:
        """Give the app the key, at once or when those before it have had their effect."""
        self._waiting.append(event)
        await self.go_on()

    async def _give_one(self, event: events.Key | events.Paste) -> None:
        start = self._app.focused or self._app.screen
        await self._give(event)
        if start.check_consume_key(*_as_key(event)):
            return  # such a key only adds to the line
        way = [start, *(n for n in start.ancestors if n is not self._app)]
        key = self._on_its_way = asyncio.get_running_loop().create_future()
        # The key climbs; what its action told the line climbs; what that told the entry around the
        # line climbs; then the cursor moves.
        self._follow(key, iter([*way, self._app] * 3 + [self._app]))
        self._patience = asyncio.create_task(self._wait_for(key))

    def _follow(self, key: asyncio.Future[None], way: Iterator[MessagePump]) -> None:
        for pump in way:
            if pump.call_later(self._follow, key, way):
                return
        self._app.call_later(self._arrived, key)

    async def _wait_for(self, key: asyncio.Future[None]) -> None:
        if not await until_done_or_idle(key):
            self.drop()
        self._app.call_later(self._arrived, key)

    def drop(self) -> None:
        """Do without the keys that wait: nobody knows any more what they would land on."""
        if self._waiting:
            self._waiting.clear()
            self._app.notify(_DROPPED, severity="warning", timeout=10)

    async def _arrived(self, key: asyncio.Future[None]) -> None:
        if not key.done():
            key.set_result(None)
        if self._on_its_way is not key:
            return
        self._on_its_way = None
        await self.go_on()

    async def go_on(self) -> None:
        """Give the app the keys that wait, as far as nothing holds them back."""
        while self._waiting and not self.holding:
            await self._give_one(self._waiting.popleft())


def _as_key(event: events.Key | events.Paste) -> tuple[str, str | None]:
    """Return key and sign; a paste goes where a digit would."""
    return (event.key, event.character) if isinstance(event, events.Key) else ("0", "0")
