"""Where to begin: a weekend opened before, the demo, a new one, each by one key."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import ClassVar, Final, cast

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.drafts import Drafts
from pitwright.app.standing import StandingScreen
from pitwright.app.terminal_app import TerminalApp, utc_now
from pitwright.app.told_to_end import ToldToEnd
from pitwright.app.widgets.dialogs import AskLine, Field, FormDialog
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.show_text import ShowText
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.paths import demo_folder
from pitwright.store.begin import CannotBeginError, begin_weekend, folder_name, laptop_zone
from pitwright.store.create import copy_demo
from pitwright.store.drafts import UserDrafts
from pitwright.store.session import CannotOpenError, Session
from pitwright.store.user import RecentWeekend, UserFiles

__all__ = ["HomeApp", "HomeScreen"]


_OTHER: Final = "other folder"
"""The draft of a folder's path, until it opens."""
_NAME: Final = 28
_PLACE: Final = 29


def shown_path(folder: Path) -> str:
    """Return a folder the way its owner writes it."""
    try:
        return f"~/{folder.relative_to(Path.home())}"
    except (ValueError, RuntimeError):
        return str(folder)


class HomeScreen(StandingScreen[None]):
    """The list of where to begin."""

    TITLE = "pitwright"
    PURPOSE = "The clutch bench of a race weekend: choose one to go on with."
    HELP_TEXT = """
A weekend is a folder of plain text files on this laptop: what car and clutch you have, the
schedule, and a log of every heat, reading and build. Copy the folder and you have a copy of all.

The demo is a made-up weekend, full of heats. A fresh copy is made each time, so nothing you do
in it can hurt.

A new weekend asks for a name, a folder and the venue's time zone. Name an earlier weekend's
folder as well, and its clutch, its parts with their ages and its last readings come along.
"""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("d", "demo", "Demo", id="home.demo", tooltip="Open a made-up weekend to play with"),
        Binding("n", "new", "New", id="home.new", tooltip="Make a new weekend"),
        Binding("o", "other", "Other folder", id="home.other",
                tooltip="Open a weekend in another folder"),
        *(
            Binding(str(number), f"recent({number})", f"Weekend {number}", show=False,
                    id=f"home.recent-{number}", tooltip=f"Open weekend {number} of the list")
            for number in range(1, 10)
        ),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._recent: list[RecentWeekend] = []

    @property
    def home(self) -> HomeApp:
        """The app, with its own type."""
        return cast("HomeApp", self.app)

    def compose(self) -> ComposeResult:
        """Lay out the list."""
        yield StatusBar()
        yield Static(Content(self.PURPOSE), id="purpose")
        with Vertical(id="body"):
            yield Static("", id="home-words", markup=False)
            yield Options(id="home-list")
        yield KeyLine()

    def on_mount(self) -> None:
        """Show what there is."""
        self._recent = self.home.weekends()
        words = "Opened before:" if self._recent else _FIRST_TIME
        self.query_one("#home-words", Static).update(Content(words))
        rows = self.query_one("#home-list", OptionList)
        options: list[Option | None] = [
            Option(_recent_row(number, each), id=f"recent {number}")
            for number, each in enumerate(self._recent, 1)
        ]
        if self._recent:
            options.append(None)
        options += [
            Option(Content("d  The demo: a made-up weekend to play with"), id="demo"),
            Option(Content("n  A new weekend"), id="new"),
            Option(Content("o  A weekend in another folder"), id="other"),
        ]
        rows.add_options(options)
        rows.highlighted = 0
        rows.focus()

    def on_resize(self) -> None:
        """Keep the top line as wide as the window."""
        self.query_one(StatusBar).show("pitwright", "")

    async def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Do what the row says."""
        event.stop()
        what, _, number = (event.option.id or "").partition(" ")
        await self.run_action(f"recent({number})" if number else what)

    def action_recent(self, number: int) -> None:
        """Open a weekend of the list."""
        if number <= len(self._recent):
            self._open(self._recent[number - 1].folder)

    def action_demo(self) -> None:
        """Open a fresh copy of the demo."""
        here = Path.cwd()
        place = here if os.access(here, os.W_OK) else Path.home()
        try:
            folder = copy_demo(demo_folder(), place / "demo-weekend")
        except (OSError, shutil.Error) as error:
            self._told("The demo cannot be copied", str(error))
            return
        self._open(folder)

    @work(exclusive=True)
    async def action_other(self) -> None:
        """Ask for a folder and open it."""

        drafts = self.home.drafts
        answer = await self.app.push_screen_wait(
            AskLine(
                "Which folder?",
                value=drafts.fields(_OTHER).get("text", ""),
                hint="such as ~/races/reedmere; enter opens it, escape goes back",
                check=lambda text: "" if text.strip() else "A folder is wanted",
                on_typed=lambda text: drafts.typed(_OTHER, {"text": text}),
            )
        )
        if answer is not None and self._open(Path(answer.strip()).expanduser()):
            drafts.forget(_OTHER)

    @work(exclusive=True)
    async def action_new(self) -> None:
        """Ask what the new weekend is, make it and open it."""
        made: list[Path] = []

        def check(values: dict[str, str]) -> tuple[str, str] | None:
            try:
                made[:] = [_make(values, self.home.clock())]
            except CannotBeginError as error:
                return error.field, str(error)
            return None

        today = self.home.clock().date().isoformat()
        fields = [
            Field("name", "Name", "", "such as Reedmere Spring Cup"),
            Field("folder", "Folder", "", "made from the name"),
            Field("zone", "Time zone there", laptop_zone()),
            Field("first", "First day", today),
            Field("days", "Days", "3"),
            Field("old", "Carry over from", "", "an earlier weekend's folder"),
        ]
        answer = await self.app.push_screen_wait(
            FormDialog("A new weekend", fields, check=check, draft="new weekend")
        )
        if answer is not None and made:
            self._open(made[0])

    def _open(self, folder: Path) -> bool:
        """Open a weekend and be done, or say why it cannot be opened; tell which."""
        try:
            session = Session(folder)
        except CannotOpenError as error:
            self._told(
                f"{shown_path(folder)} cannot be opened",
                "\n\n".join(str(problem) for problem in error.problems),
            )
        except OSError as error:
            self._told(f"{shown_path(folder)} cannot be opened", error.strerror or str(error))
        else:
            self.home.exit(session)
            return True
        return False

    def _told(self, title: str, text: str) -> None:
        self.app.push_screen(ShowText(title, Content(text)))


_FIRST_TIME = (
    "Nothing was opened on this laptop yet. Have a look at the demo first (d), or make your "
    "own weekend (n) and it will tell you what to do next."
)


def _recent_row(number: int, recent: RecentWeekend) -> Content:
    when = "not there now" if not recent.there else recent.opened_at
    place = shown_path(recent.folder)
    if len(place) > _PLACE:
        place = f"…{place[1 - _PLACE :]}"
    name = Content(recent.name).truncate(_NAME, ellipsis=True, pad=True)
    return Content.assemble(f"{number}  ", name, f"  {when:<13}  {place}")


def _make(values: dict[str, str], now: datetime) -> Path:
    """Make the weekend that a form describes; raises CannotBeginError."""
    name = values["name"].strip()
    if not name:
        raise CannotBeginError("name", "A name is wanted")
    try:
        first = date.fromisoformat(values["first"].strip())
    except ValueError:
        raise CannotBeginError("first", "The first day is a date such as 2026-05-15") from None
    if not values["days"].strip().isdigit():
        raise CannotBeginError("days", "The days are a whole number")
    folder = Path(values["folder"].strip() or folder_name(name)).expanduser()
    old = values["old"].strip()
    begin_weekend(
        folder,
        name=name,
        time_zone=values["zone"].strip(),
        starts_on=first,
        days=int(values["days"]),
        old=Path(old).expanduser() if old else None,
        now=now,
    )
    return folder


class HomeApp(TerminalApp[Session]):
    """Asks where to begin; the result is the open weekend, None when left."""

    SCREENS: ClassVar = {"home": HomeScreen}
    TELLS = False

    def __init__(
        self,
        *,
        user: UserFiles | None = None,
        theme: str | None = None,
        ascii_only: bool | None = None,
        clock: Callable[[], datetime] = utc_now,
    ) -> None:
        super().__init__(user=user, theme=theme, ascii_only=ascii_only)
        self.clock = clock
        self.drafts = Drafts(self, UserDrafts(None if user is None else user.drafts, clock))
        self._told_to_end: ToldToEnd | None = None

    def on_mount(self) -> None:
        """Show the list."""
        self._told_to_end = ToldToEnd(self)
        self.push_screen("home")

    def on_unmount(self) -> None:
        """Have all drafts on the disk."""
        self.flush()
        if self._told_to_end is not None:
            self._told_to_end.stop()

    def weekends(self) -> list[RecentWeekend]:
        """Return the weekends to offer: the folder pitwright was started in, then recent ones."""
        recent = self.user.recent() if self.user is not None else []
        here = Path.cwd()
        if (here / "weekend.toml").is_file() and all(r.folder != here for r in recent):
            recent.insert(0, RecentWeekend(here, "This folder", "", there=True))
        return recent[:9]
