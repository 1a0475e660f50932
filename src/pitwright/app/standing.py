"""Screens and panels that answer only between mounted and unmounting, and go only once.

Textual runs a handler whenever its message comes up, also on a screen that was taken away while it
was still being laid out and whose widgets therefore never came, or from a timer of its own beside
the messages. Here the base class says no, so that no handler need ask whether its widgets exist.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from inspect import isawaitable
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

from textual import events, messages
from textual.app import App
from textual.await_complete import AwaitComplete
from textual.message import Message
from textual.message_pump import MessagePump
from textual.screen import ModalScreen, Screen
from textual.timer import Timer, TimerCallback
from textual.widget import Widget

from pitwright.app.toasts import place_toasts

if TYPE_CHECKING:
    from pitwright.app.terminal_app import TerminalApp

__all__ = ["Dialog", "GoesOnce", "Standing", "StandingScreen", "stands", "while_standing"]

_R = TypeVar("_R")

# What lays a screen out and takes it down, whatever comes meanwhile. A callback is somebody's that
# waits for it, such as the next key.
_ALWAYS: Final = (
    events.Compose,
    events.Unmount,
    events.ScreenSuspend,
    events.Callback,
    messages.Prune,
    messages.CloseMessages,
)


def stands(pump: MessagePump) -> bool:
    """Tell whether an app, screen or widget is there and is not being taken down."""
    if isinstance(pump, App) or not pump.app.is_running:
        # An app that closes takes its widgets down in no order, those of a screen before it too.
        return pump.app.is_running
    # Textual marks what it is about to take down before it tells anybody; there is no public word
    # for that mark alone. In an app that is to be left nothing is attached, nor laid out, any more.
    going = pump._closing or pump._closed or getattr(pump, "_pruning", False)
    return pump.is_running and not going and pump.is_attached


def while_standing(pump: MessagePump, callback: Callable[..., object]) -> Callable[..., Any]:
    """Return ``callback`` so that it does nothing unless ``pump`` stands."""

    async def called(*args: Any, **more: Any) -> None:
        if stands(pump):
            done = callback(*args, **more)
            if isawaitable(done):
                await done

    return called


class Standing(MessagePump):
    """A widget whose handlers, timers and callbacks run while it stands and never otherwise.

    Not itself a widget, since Textual takes styles and components of a class's first widget only.
    """

    async def _on_message(self, message: Message) -> None:
        """Answer a message or an event; the way of both, however they came."""
        if stands(self) or isinstance(message, _ALWAYS):
            await super()._on_message(message)

    async def on_prune(self, event: messages.Prune) -> None:
        """Stop what works beside the messages before the widgets go that it shows things in.

        Textual calls its own handler after this one.
        """
        assert isinstance(self, Widget)
        self.workers.cancel_node(self)

    def set_interval(
        self, interval: float, callback: TimerCallback | None = None, **more: Any
    ) -> Timer:
        """Do something again and again, while it stands."""
        ticked = None if callback is None else while_standing(self, callback)
        return super().set_interval(interval, ticked, **more)

    def set_timer(self, delay: float, callback: TimerCallback | None = None, **more: Any) -> Timer:
        """Do something later, if it stands then."""
        ticked = None if callback is None else while_standing(self, callback)
        return super().set_timer(delay, ticked, **more)

    def call_after_refresh(
        self, callback: Callable[..., object], *args: Any, **kwargs: Any
    ) -> bool:
        """Do something once the screen is painted, if it stands then."""
        return super().call_after_refresh(while_standing(self, callback), *args, **kwargs)


class GoesOnce(Standing):
    """A screen that answers while it stands, and goes when it is in front.

    What is said in passing over it stands on rows that are free of entries and questions.
    """

    def on_mount(self) -> None:
        """Place what is said in passing whenever the screen has been laid out."""
        assert isinstance(self, Screen)
        self.screen_layout_refresh_signal.subscribe(self, place_toasts, immediate=True)

    def dismiss(self, result: Any = None) -> AwaitComplete:
        """Go, once: who is no longer in front when it comes to that has gone already.

        Two keys, or a key and a click, can both ask for it; the second would take the screen
        beneath away.
        """
        assert isinstance(self, Screen)
        leave = partial(Screen.dismiss, self, result)
        return cast("TerminalApp[Any]", self.app).changes.leave(self, leave)


class StandingScreen(GoesOnce, Screen[_R]):
    """A screen that answers while it stands."""


class Dialog(GoesOnce, ModalScreen[_R]):
    """A screen over another one, which answers while it stands."""
