"""What every screen over a weekend shares: top line, purpose, footer, and fresh figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final, cast

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.geometry import Size
from textual.widgets import Static

from pitwright.app.messages import WeekendChanged
from pitwright.app.standing import Dialog, StandingScreen
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.status_bar import StatusBar

if TYPE_CHECKING:
    from datetime import datetime

    from pitwright.app.app import PitwrightApp
    from pitwright.weekend.weekend import Weekend

__all__ = ["OverScreen", "WeekendScreen"]

_LEAST: Final = Size(80, 24)


class WeekendScreen(StandingScreen[None]):
    """A screen over the open weekend.

    A screen fills ``body`` in ``compose_body`` and shows the weekend in ``show_weekend``, which
    runs when it comes up and whenever the weekend has changed.
    """

    TITLE: ClassVar[str] = ""
    PURPOSE: ClassVar[str] = ""
    HELP_TEXT: ClassVar[str] = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave_entry", "Leave entry", show=False, id="screen.leave",
                tooltip="Leave an entry, so that letters act as keys"),
        # Not in the footer, which belongs to the screen's own keys and is full on narrow screens.
        Binding("k", "clock", "Pit clock", show=False, id="screen.clock",
                tooltip="Pit clock: what still fits, timers, the list before a main"),
        *(
            Binding(f"shift+{way}", f"shift('{way}')", f"Shift {way}", show=False,
                    id=f"screen.shift-{way}", tooltip=f"In a small window: look further {way}")
            for way in ("up", "down", "left", "right")
        ),
        Binding("w", "wear", "Wear", show=False, id="screen.wear",
                tooltip="Will spring and shoes last?"),
    ]  # fmt: skip

    _styled_for: tuple[str, Size] | None = None
    _weekend_shown: Weekend | None = None
    _weekend_shown_for: tuple[str | None, datetime, Size] | None = None

    @property
    def pitwright(self) -> PitwrightApp:
        """The app, with its own type."""
        return cast("PitwrightApp", self.app)

    @property
    def weekend(self) -> Weekend:
        """The weekend as last read or written."""
        return self.pitwright.weekend

    def compose(self) -> ComposeResult:
        """Lay out the frame."""
        yield StatusBar()
        yield Static(Content(self.PURPOSE), id="purpose")
        with Vertical(id="body"):
            yield from self.compose_body()
        yield KeyLine()

    def compose_body(self) -> ComposeResult:
        """Lay out what is the screen's own."""
        yield from ()

    def show_weekend(self) -> None:
        """Show the weekend as it stands now."""

    async def on_event(self, event: events.Event) -> None:
        """Leave the styles of a screen that comes up again as they are.

        Textual styles every widget of it afresh; only another theme or another size of the window
        can have changed anything, and of the 50 ms that a change of screens may take it takes 15.
        """
        if isinstance(event, events.ScreenResume):
            styled_for = (self.app.theme, self.app.size)
            event.refresh_styles = styled_for != self._styled_for
            self._styled_for = styled_for
        await super().on_event(event)

    def on_mount(self) -> None:
        """Start the clock of the top line."""
        self.set_interval(1.0, self.show_status)

    def on_screen_resume(self) -> None:
        """Show the weekend afresh when anything can have changed since it was shown here.

        A weekend never changes, it is replaced; ages and times to a start go by the minute. Who
        only looks at another screen and comes back finds the same, at once: the figures of Bite
        take 45 ms to work out.
        """
        self.show_status()
        minute = self.pitwright.clock().replace(second=0, microsecond=0)
        now = (self.pitwright.clutch, minute, self.app.size)
        if self._weekend_shown is not self.weekend or self._weekend_shown_for != now:
            self._weekend_shown, self._weekend_shown_for = self.weekend, now
            self.show_weekend()

    def on_resize(self) -> None:
        """Keep the top line's two ends in place, and say when the window is too small."""
        self.show_status()
        width, height = self.size
        small = width < _LEAST.width or height < _LEAST.height
        if small != self.has_class("-small") or small:
            self.set_class(small, "-small")
            told = f"{width} x {height}: made for {_LEAST.width} x {_LEAST.height}; shift+arrows"
            self.query_one("#purpose", Static).update(Content(told if small else self.PURPOSE))

    def action_shift(self, way: str) -> None:
        """Scroll what a small window does not show into sight."""
        across = {"left": -20, "right": 20}.get(way, 0)
        self.scroll_relative(across, {"up": -5, "down": 5}.get(way, 0), animate=False)

    def on_weekend_changed(self, event: WeekendChanged) -> None:
        """Show the weekend afresh."""
        event.stop()
        self.show_status()
        self.show_weekend()

    def show_status(self) -> None:
        """Write the top line."""
        from pitwright.desk.status import status_line

        # Beside the name of the screen, what matters now comes before the event's name.
        line = status_line(
            self.weekend,
            self.pitwright.clock(),
            writable=self.pitwright.session.writable,
            problems=self.pitwright.session.problems,
            room=max(self.size.width, 20) - len(self.TITLE) - 8,
        )
        bar = self.query_one(StatusBar)
        bar.mark(self.pitwright.standing_words)
        bar.show(f"{self.TITLE} · {line.left}", line.right)

    def action_leave_entry(self) -> None:
        """Leave an entry field, so that letters act as keys again."""
        self.set_focus(None)

    def action_clock(self) -> None:
        """Show the pit clock."""
        from pitwright.app.screens.pit_clock import PitClockScreen

        self.app.push_screen(PitClockScreen())

    def action_wear(self) -> None:
        """Show whether spring and shoes will last."""
        from pitwright.app.screens.wear import WearScreen

        self.app.push_screen(WearScreen())


class OverScreen(Dialog[None]):
    """A screen laid over another one of the open weekend."""

    @property
    def pitwright(self) -> PitwrightApp:
        """The app, with its own type."""
        return cast("PitwrightApp", self.app)
