"""One page in the browser and the app it shows: what it may send, and how both end.

A page is not trusted to send what ours sends. What is no order is left out, and the viewer goes on.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from textual_serve.app_service import AppService

if TYPE_CHECKING:
    from asyncio.subprocess import Process

    from aiohttp import web

__all__ = [
    "DRIVER",
    "ENDS_WITHIN_S",
    "Keys",
    "Order",
    "Ping",
    "Resize",
    "Turn",
    "Viewer",
    "read_order",
    "sides",
]

DRIVER: Final = "pitwright.app.page_driver:PageDriver"

_MOST_CELLS: Final = 1000
# How long an app is given that was asked to end, and then one that was told to, in seconds: for
# one page that has gone, and when the server itself ends and has to be gone within three.
_PATIENCE: Final = (5.0, 5.0)
_HURRY: Final = (0.7, 0.5)
_REAPED_S: Final = 0.3
ENDS_WITHIN_S: Final = 2.3


@dataclass(frozen=True)
class Keys:
    """What was typed or pasted."""

    data: bytes


@dataclass(frozen=True)
class Resize:
    """The page's terminal has another size, in cells."""

    width: int
    height: int


@dataclass(frozen=True)
class Ping:
    """The page asks whether somebody is there; ``text`` is the answer, as JSON."""

    text: str


@dataclass(frozen=True)
class Turn:
    """The page came to the front, or left it."""

    to_front: bool


Order = Keys | Resize | Ping | Turn


def read_order(text: str) -> Order | None:
    """Read what a page sent; None for what is no order.

    >>> read_order('["resize", {"width": 80, "height": 24}]')
    Resize(width=80, height=24)
    >>> read_order('["resize", {"width": -1}]') is read_order("{") is None
    True
    """
    try:
        match json.loads(text):
            # Nothing typed would read as the end of all typing.
            case ["stdin", str(typed)] if typed:
                return Keys(typed.encode())
            case ["resize", {"width": width, "height": height}]:
                return Resize(*sides(width, height))
            case ["ping", data]:
                return Ping(json.dumps(["pong", data]))
            case ["focus" | "blur" as turn, *_]:
                return Turn(turn == "focus")
    except (ValueError, RecursionError):
        pass
    return None


def sides(width: object, height: object) -> tuple[int, int]:
    """Return the size of a terminal in cells. Raises ValueError when it is none."""
    for side in (width, height):
        if type(side) is not int or not 0 < side <= _MOST_CELLS:
            raise ValueError(f"a terminal is 1 to {_MOST_CELLS} cells wide and high")
    return width, height  # type: ignore[return-value]  # both have just been looked at


class Viewer(AppService):
    """The app behind one page."""

    async def obey(self, order: Order, answer: Callable[[str], Awaitable[None]]) -> None:
        """Do what the page asked."""
        match order:
            case Keys(data):
                await self.send_bytes(data)
            case Resize(width, height):
                await self.set_terminal_size(width, height)
            case Ping(text):
                await answer(text)
            case Turn(to_front):
                await (self.focus() if to_front else self.blur())

    async def follow(self, link: web.WebSocketResponse) -> None:
        """Do what the page asks until it, or the app, ends."""
        from aiohttp import WSMsgType

        async for message in link:
            order = read_order(message.data) if message.type == WSMsgType.TEXT else None
            if order is not None:
                # A page that has just gone needs no answer.
                with contextlib.suppress(ConnectionError):
                    await self.obey(order, link.send_str)

    async def stop(self, *, hurry: bool = False) -> None:
        """Have the app end by itself, which keeps what is typed; see that it has ended."""
        asked, told = _HURRY if hurry else _PATIENCE
        process = self._process
        if process is None:
            return
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(super().stop(), asked)
        if await _ended(process, _REAPED_S):
            return
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        if not await _ended(process, told):
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await _ended(process, told)

    def _build_environment(self, width: int = 80, height: int = 24) -> dict[str, str]:
        environment: dict[str, Any] = super()._build_environment(width, height)
        return {**environment, "TEXTUAL_DRIVER": DRIVER}


async def _ended(process: Process, within: float) -> bool:
    """Whether a process ends in time. Its ``wait`` would also wait for what nobody reads of it."""
    until = time.monotonic() + within
    while process.returncode is None and time.monotonic() < until:
        await asyncio.sleep(0.02)
    return process.returncode is not None
