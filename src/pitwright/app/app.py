"""The app: wires a weekend folder to the screens, and nothing more."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, ClassVar, Final, TypeVar

from textual import events
from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.timer import Timer, TimerCallback

from pitwright.app.housekeeping import Housekeeping
from pitwright.app.messages import WeekendChanged
from pitwright.app.standing import while_standing
from pitwright.app.terminal_app import TerminalApp, utc_now

# What reads a weekend (pydantic, the models, desk) is imported once the first frame is painted.
if TYPE_CHECKING:
    from pathlib import Path

    from pitwright.app.told_to_end import ToldToEnd
    from pitwright.store.files import StoreError
    from pitwright.store.session import Session
    from pitwright.store.user import UserFiles
    from pitwright.weekend.records import Record
    from pitwright.weekend.weekend import Weekend

__all__ = ["SCREENS_BY_KEY", "Opening", "PitwrightApp"]

_R = TypeVar("_R", bound="Record")

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


_NEED_A_WEEKEND: Final = (
    "show",
    "left_out",
    "pick_up_writing",
    "save_elsewhere",
    "command_palette",
)
_LAPS_WAIT: Final = "! laps not on the disk"
_LEAVE_WITHOUT: Final = (
    "Not all that was typed or tapped is on the disk. Leave without it?\n\n"
    "No goes back; F9 then saves it in another folder."
)


@dataclass(frozen=True)
class Opening:
    """A weekend that is still to be opened: its folder, and what opens it."""

    folder: Path
    open: Callable[[], Session]


def _screen(module: str, name: str) -> Callable[[], Screen[None]]:
    def make() -> Screen[None]:
        found = importlib.import_module(f"pitwright.app.screens.{module}")
        made: Screen[None] = getattr(found, name)()
        return made

    return make


class PitwrightApp(TerminalApp[None]):
    """The app over one weekend folder: an open session, or how to open it once there is a frame.

    ``clock`` gives the moment in UTC and can be set by tests. When the folder cannot be opened the
    app ends and ``cannot_open`` says why.
    """

    # The Timeline's own sheet is read with the app's: a sheet that comes with a screen has Textual
    # parse all sheets again, 10 ms on the way to the first rows.
    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = [
        "app.tcss",
        "screens/timeline.tcss",
    ]
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
        Binding("exclamation_mark", "left_out", "Left out", id="app.left-out", show=False,
                key_display="!", tooltip="What is wrong with the files: which, where and why"),
        Binding("f6", "pick_up_writing", "Pick up writing", id="app.write", show=False,
                tooltip="When the other pitwright has left, be the one that writes"),
        Binding("f9", "save_elsewhere", "Save elsewhere", id="app.rescue", show=False,
                tooltip="Save in another folder what the disk would not take"),
    ]  # fmt: skip

    def __init__(
        self,
        session: Session | Opening,
        *,
        first: str = "timeline",
        clock: Callable[[], datetime] = utc_now,
        user: UserFiles | None = None,
        theme: str | None = None,
        ascii_only: bool | None = None,
    ) -> None:
        super().__init__(user=user, theme=theme, ascii_only=ascii_only)
        self.clock = clock
        self.first = first
        self.clutch: str | None = None
        self.cannot_open: Exception | None = None
        self._housekeeping = Housekeeping()
        self._remember: Timer | None = None
        self._told_to_end: ToldToEnd | None = None
        self._asked_to_leave = False
        self._opening: Opening | None = None
        if isinstance(session, Opening):
            self._opening = session
        else:
            self._take(session)

    def _take(self, session: Session) -> None:
        from pitwright.app.drafts import Drafts
        from pitwright.app.rescue import Rescue
        from pitwright.app.watch import Watch

        self.session = session
        self.rescue = Rescue(self)
        self.drafts = Drafts(self, session)
        self.outside = Watch(self)

    def get_default_screen(self) -> Screen[Any]:
        """Begin with a frame that needs no weekend when there is none yet."""
        if self._opening is None:
            return super().get_default_screen()
        from pitwright.app.screens.opening import OpeningScreen

        return OpeningScreen(self._opening.folder, self._open)

    def set_interval(
        self, interval: float, callback: TimerCallback | None = None, **more: Any
    ) -> Timer:
        """Do something again and again, as long as the app runs."""
        ticked = None if callback is None else while_standing(self, callback)
        return super().set_interval(interval, ticked, **more)

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
        """Show the first screen, unless the weekend is still to be opened."""
        if self._opening is None:
            self._begin()

    def _open(self) -> None:
        """Open the weekend; the frame is on the screen by now.

        It holds the loop for a moment, which keeps keys that were typed ahead for the Timeline.
        """
        assert self._opening is not None
        try:
            session = self._opening.open()
        except Exception as error:  # whoever started the app knows how to say it
            self.cannot_open = error
            self.exit(return_code=2)
            return
        self._opening = None
        self._take(session)
        self._begin()

    def _begin(self) -> None:
        from pitwright.app.timekeeping import Ringer
        from pitwright.app.told_to_end import ToldToEnd

        self._told_to_end = ToldToEnd(self)
        self.push_screen(self.first)
        self.set_interval(1.0, self._housekeeping.tidy)
        self.set_interval(5.0, self.outside.look)
        self.set_interval(1.0, Ringer(self).ring)
        self.outside.opened()
        if self.user is not None:
            # It waits for the disk, and nobody waits for it.
            self._remember = self.set_timer(1.0, self._remembered, name="remember")

    def _remembered(self) -> None:
        """Remember the weekend as one that was open."""
        timer, self._remember = self._remember, None
        if timer is not None and self.user is not None:
            timer.stop()
            self.user.remember(self.session.folder, self.weekend.event.name, self.clock())

    def close_weekend(self) -> None:
        """Let go of the folder, for another pitwright to open."""
        if self._opening is None:
            self._remembered()
            self.flush()
            self.session.close()

    def flush(self) -> bool:
        """Put on the disk whatever is due there, typed or tapped; tell whether all is."""
        if self._opening is not None:
            return True
        tapped = not self.session.heat_waits or self.guard(self.session.write_waiting)
        return super().flush() and tapped

    @property
    def standing_words(self) -> str:
        """What the top line has to say of text and laps that are not on the disk."""
        return super().standing_words or (_LAPS_WAIT if self.session.heat_waits else "")

    async def action_quit(self) -> None:
        """Leave; ask first what the disk will not have, unless that is asked already."""
        from pitwright.app.widgets.dialogs import Confirm

        if self.flush() or self._asked_to_leave:
            await super().action_quit()
            return
        self._asked_to_leave = True

        def answered(yes: bool | None) -> None:
            self._asked_to_leave = False
            if yes:
                self.exit()

        self.push_screen(Confirm(_LEAVE_WITHOUT, weighty=True), answered)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer what needs a weekend once there is one."""
        if self._opening is not None and action in _NEED_A_WEEKEND:
            return False
        return super().check_action(action, parameters)

    def on_unmount(self) -> None:
        """Have all on the disk, and let what the app held be collected again."""
        self.flush()
        if self._told_to_end is not None:
            self._told_to_end.stop()
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
        return self.session.folder if self._opening is None else self._opening.folder

    def action_pick_up_writing(self) -> None:
        """Be the one that writes, when the other instance has left."""
        self.outside.pick_up_writing()

    def action_left_out(self) -> None:
        """Name the files that could not be used, and what else is wrong with the folder."""
        if not self.screen.is_modal:
            self.outside.name_problems()

    def action_save_elsewhere(self) -> None:
        """Save in another folder what cannot be kept, once more tried."""
        self.flush()
        self.rescue.ask()

    def keep(self, record: _R) -> _R | None:
        """Write a record and return it as it stands in the log.

        On failure say why, offer to save it in another folder, and return None, so that the
        caller keeps its entry.
        """
        from pitwright.store.files import StoreError

        try:
            landed = self.session.append(record)
        except StoreError as error:
            self.rescue.failed(error, offer=True)
            return None
        self.rescue.kept(landed)
        self.outside.tell_new(self.session.problems)
        self.announce()
        return landed

    def guard(self, write: Callable[[], object]) -> bool:
        """Run a write of work in progress and tell whether it is kept; on failure say why."""
        from pitwright.store.files import StoreError

        try:
            write()
        except StoreError as error:
            self.rescue.failed(error, offer=False)
            return False
        self.rescue.kept()
        return True

    def draft_failed(self, error: StoreError) -> None:
        """Say why, and have what was typed at hand for another folder."""
        self.rescue.failed(error, offer=False)

    def drafts_kept(self) -> None:
        """Have nothing of it at hand any more."""
        self.rescue.kept()

    def announce(self) -> None:
        """Tell the screen in front that the weekend changed; others look when they come up."""
        self.screen.post_message(WeekendChanged())
