"""The app: wires a weekend folder to the screens, and nothing more."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen

from pitwright.app.messages import WeekendChanged
from pitwright.app.themes import load_themes
from pitwright.app.timekeeping import Ringer
from pitwright.paths import themes_folder
from pitwright.store.files import StoreError
from pitwright.weekend.records import Record

if TYPE_CHECKING:
    from pitwright.store.session import Session
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


class PitwrightApp(App[None]):
    """The app over one open weekend folder.

    ``clock`` gives the moment in UTC and can be set by tests.
    """

    TITLE = "pitwright"
    CSS_PATH = "app.tcss"
    ENABLE_COMMAND_PALETTE = True
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
        Binding("question_mark", "help", "Help", id="app.help", tooltip="What this screen is for"),
        Binding("q", "quit", "Quit", id="app.quit", tooltip="Leave; nothing is lost"),
    ]

    def __init__(
        self,
        session: Session,
        *,
        first: str = "timeline",
        clock: Callable[[], datetime] = _utc_now,
        user_themes: Path | None = None,
    ) -> None:
        super().__init__()
        self.session = session
        self.clock = clock
        self.first = first
        self.clutch: str | None = None
        folders = [themes_folder(), *([user_themes] if user_themes is not None else [])]
        themes, self._bad_themes = load_themes(folders)
        for theme in themes:
            self.register_theme(theme)
        names = [theme.name for theme in themes]
        self.theme = "night" if "night" in names else self.theme

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

    def on_mount(self) -> None:
        """Show the first screen, and say what needs saying once."""
        self.push_screen(self.first)
        self.set_interval(5.0, self._look_outside)
        self.set_interval(1.0, Ringer(self).ring)
        if self._bad_themes:
            self.notify("; ".join(self._bad_themes), title="Theme left out", severity="warning")
        if not self.session.writable:
            holder = self.session.holder
            who = str(holder) if holder else "the folder cannot be written to"
            self.notify(f"Open for reading only: {who}", severity="warning", timeout=15)
        if self.session.problems:
            first = self.session.problems[0]
            more = len(self.session.problems) - 1
            tail = f" (and {more} more: pitwright verify lists them)" if more else ""
            self.notify(
                f"{first}{tail}",
                title="Not all could be read",
                severity="warning",
                markup=False,
                timeout=15,
            )

    def action_show(self, name: str) -> None:
        """Switch to a screen."""
        if self.screen.is_modal:
            return
        self.switch_screen(name)

    def action_help(self) -> None:
        """Show what the screen is for and its keys."""
        from pitwright.app.screens.help import HelpScreen

        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen(self.screen))

    def keep(self, record: _R) -> _R | None:
        """Write a record; on failure say so and return None, so that the caller keeps its entry."""
        landed = self.guard(lambda: self.session.append(record))
        if landed is not None:
            self.announce()
        return landed

    def guard(self, write: Callable[[], _T]) -> _T | None:
        """Run a write; on failure say why and return None."""
        try:
            return write()
        except StoreError as error:
            self.notify(
                error.strerror or str(error),
                title="Not kept",
                severity="error",
                timeout=20,
                markup=False,
            )
            return None

    def announce(self) -> None:
        """Tell the screen in front that the weekend changed; others look when they come up."""
        self.screen.post_message(WeekendChanged())

    def _look_outside(self) -> None:
        if self.session.changed_outside():
            if self.session.reload():
                # Who only reads follows the other instance all day and need not be told.
                if self.session.writable:
                    self.notify("The folder was changed from outside; shown afresh")
            else:
                self.notify(
                    str(self.session.problems[0]),
                    title="A card cannot be read",
                    severity="error",
                    markup=False,
                )
            self.announce()
