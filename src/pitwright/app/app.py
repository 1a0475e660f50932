"""The app: wires a weekend folder to the screens, and nothing more."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual import events
from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from pitwright.app.housekeeping import Housekeeping
from pitwright.app.messages import WeekendChanged
from pitwright.app.rescue import Rescue
from pitwright.app.terminal_app import TerminalApp
from pitwright.app.timekeeping import Ringer
from pitwright.app.watch import Watch
from pitwright.store.files import StoreError
from pitwright.weekend.records import Record

if TYPE_CHECKING:
    from pathlib import Path

    from pitwright.store.session import Session
    from pitwright.store.user import UserFiles
    from pitwright.weekend.weekend import Weekend

__all__ = ["SCREENS_BY_KEY", "PitwrightApp"]

_R = TypeVar("_R", bound=Record)
_T = TypeVar("_T")

# Key, name, title, module and class. A screen's module is imported when it is first shown.
SCREENS_BY_KEY: tuple[tuple[str, str, str, str, str], ...] = (
    ("1", "timeline", "Timeline", "timeline", "TimelineScreen"),
    ("2", "build", "Build", "build", "BuildScreen"),
    ("3", "measure", "Measure", "measure", "MeasureScreen"),
    ("4", "bite", "Bite", "bite", "BiteScreen"),
    ("5", "shims", "Shims", "shims", "ShimsScreen"),
    ("6", "pace", "Pace", "pace", "PaceScreen"),
    ("7", "daysheet", "Day sheet", "daysheet", "DaySheetScreen"),
)


def _utc_now() -> datetime:
    return datetime.now(UTC)


def _screen(module: str, name: str) -> Callable[[], Screen[None]]:
    def make() -> Screen[None]:
        found = importlib.import_module(f"pitwright.app.screens.{module}")
        made: Screen[None] = getattr(found, name)()
        return made

    return make


class PitwrightApp(TerminalApp[None]):
    """The app over one open weekend folder.

    ``clock`` gives the moment in UTC and can be set by tests.
    """

    SCREENS: ClassVar = {
        **{name: _screen(module, cls) for _key, name, _title, module, cls in SCREENS_BY_KEY},
        "ear": _screen("ear", "EarScreen"),
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(
                key,
                f"show('{name}')",
                title,
                id=f"show.{name}",
                show=False,
                tooltip=f"Go to {title}",
            )
            for key, name, title, _module, _cls in SCREENS_BY_KEY
        ),
        Binding("f6", "pick_up_writing", "Pick up writing", id="app.write", show=False,
                tooltip="When the other pitwright has left, be the one that writes"),
        Binding("f9", "save_elsewhere", "Save elsewhere", id="app.rescue", show=False,
                tooltip="Save in another folder what the disk would not take"),
    ]  # fmt: skip

    def __init__(
        self,
        session: Session,
        *,
        first: str = "timeline",
        clock: Callable[[], datetime] = _utc_now,
        user: UserFiles | None = None,
        theme: str | None = None,
        ascii_only: bool | None = None,
    ) -> None:
        super().__init__(user=user, theme=theme, ascii_only=ascii_only)
        self.session = session
        self.clock = clock
        self.first = first
        self.clutch: str | None = None
        self.rescue = Rescue(self)
        self._housekeeping = Housekeeping()
        self.outside = Watch(self)

    @property
    def weekend(self) -> Weekend:
        """The weekend as last read or written."""
        return self.session.weekend

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Add to the palette what no key of its own leads to from everywhere."""
        yield from super().get_system_commands(screen)
        yield SystemCommand(
            "Bite by ear",
            "Measure the take-up speed from a sound recording",
            lambda: self.action_show("ear"),
        )
        yield SystemCommand(
            "Shift a clock",
            "Put right the records of a laptop whose clock was wrong",
            self.outside.shift_clock,
        )

    def on_mount(self) -> None:
        """Show the first screen, and say what needs saying once."""
        self.push_screen(self.first)
        self.set_interval(1.0, self._housekeeping.tidy)
        self.set_interval(5.0, self.outside.look)
        self.set_interval(1.0, Ringer(self).ring)
        self.outside.opened()

    def on_unmount(self) -> None:
        """Let what the app held be collected again."""
        self._housekeeping.stop()

    async def on_event(self, event: events.Event) -> None:
        """Note when somebody types."""
        if isinstance(event, events.Key):
            self._housekeeping.key_pressed()
        await super().on_event(event)

    def action_show(self, name: str) -> None:
        """Switch to a screen."""
        if self.screen.is_modal:
            return
        self.switch_screen(name)

    @property
    def crash_folder(self) -> Path | None:
        """The weekend takes the report of a crash."""
        return self.session.folder

    def action_pick_up_writing(self) -> None:
        """Be the one that writes, when the other instance has left."""
        self.outside.pick_up_writing()

    def action_save_elsewhere(self) -> None:
        """Save in another folder what could not be kept."""
        self.rescue.ask()

    def keep(self, record: _R) -> _R | None:
        """Write a record and return it as it stands in the log.

        On failure say why, offer to save it in another folder, and return None, so that the
        caller keeps its entry.
        """
        try:
            landed = self.session.append(record)
        except StoreError as error:
            self.rescue.failed(error, offer=True)
            return None
        self.rescue.kept(landed)
        self.outside.tell_new(self.session.problems)
        self.announce()
        return landed

    def guard(self, write: Callable[[], _T]) -> _T | None:
        """Run a write of work in progress; on failure say why and return None."""
        try:
            done = write()
        except StoreError as error:
            self.rescue.failed(error, offer=False)
            return None
        self.rescue.kept()
        return done

    def announce(self) -> None:
        """Tell the screen in front that the weekend changed; others look when they come up."""
        self.screen.post_message(WeekendChanged())
