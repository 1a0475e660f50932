"""What both apps share: themes, the user's keys, terminals that can do less, the palette."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from functools import partial
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, ClassVar, Final, TypeVar

from textual import events, work
from textual.actions import ActionParseResult
from textual.app import ComposeResult, ScreenStackError, SystemCommand
from textual.await_complete import AwaitComplete
from textual.binding import Binding, BindingType
from textual.command import CommandList, CommandPalette
from textual.dom import DOMNode
from textual.errors import NoWidget
from textual.filter import Monochrome
from textual.notifications import SeverityLevel
from textual.screen import Screen
from textual.widget import Widget

from pitwright.app.colorless import Colorless
from pitwright.app.crash import CrashReporting
from pitwright.app.glyphs import AsciiOnly, lacks_unicode
from pitwright.app.key_order import KeyOrder
from pitwright.app.plain_signs import PlainSigns
from pitwright.app.screen_changes import ScreenChanges
from pitwright.app.standing import GoesOnce, stands
from pitwright.app.themes import load_themes
from pitwright.app.widgets.options import FoundOptions
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.app.window_sizes import sizes_in_turn
from pitwright.paths import themes_folder
from pitwright.signs import bare
from pitwright.store.user import UserFiles

if TYPE_CHECKING:
    from pitwright.app.drafts import Drafts
    from pitwright.store.files import StoreError

__all__ = ["TerminalApp", "utc_now"]

_R = TypeVar("_R")
_USUAL: Final = "night"
_FEW_COLORS: Final = "plain"
_LINE_ENDS: Final = re.compile("\r\n|[\r\v\f\x85\u2028\u2029]")


def utc_now() -> datetime:
    """Return the time now, by the laptop's clock."""
    return datetime.now(UTC)


class _Palette(GoesOnce, CommandPalette):
    """The list of everything that can be done, in windows of any size."""

    def compose(self) -> ComposeResult:
        """Lay out Textual's own, with the project's list of options in it."""
        for widget in super().compose():
            yield FoundOptions() if isinstance(widget, CommandList) else widget


class TerminalApp(CrashReporting[_R]):
    """An app in the user's colours and with the user's keys.

    ``user`` is None where nothing of the user's may be read or remembered, as in tests.
    ``ascii_only`` None asks the terminal's own words.
    """

    TITLE = "pitwright"
    CSS_PATH: ClassVar[str | PurePath | list[str | PurePath] | None] = "app.tcss"
    ENABLE_COMMAND_PALETTE = True
    TELLS: ClassVar[bool] = True
    """Whether this app says what of the user's own could not be used; one of two does."""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark,f1", "help", "Help", id="app.help", key_display="?",
                tooltip="What this screen is for, and all its keys"),
        Binding("colon", "command_palette", "All keys", id="app.palette", show=False,
                tooltip="Everything that can be done here, to pick from"),
        Binding("y", "copy_figure", "Copy", id="app.copy", show=False,
                tooltip="Copy a figure on the screen"),
        Binding("f8", "pick_theme", "Theme", id="app.theme", show=False,
                tooltip="Choose the colours"),
        Binding("q", "quit", "Quit", id="app.quit", tooltip="Leave; nothing is lost"),
    ]  # fmt: skip

    def __init__(
        self,
        *,
        user: UserFiles | None = None,
        theme: str | None = None,
        ascii_only: bool | None = None,
    ) -> None:
        super().__init__()
        self.user = user
        self.changes = ScreenChanges(self, self._screens_settled, lambda: self._key_order.drop())
        self._key_order = KeyOrder(self, super().on_event, lambda: self.changes.busy)
        folders = [themes_folder(), *([user.themes] if user is not None else [])]
        themes, self._bad_themes = load_themes(folders)
        for each in themes:
            self.register_theme(each)
        self._theme_names = [each.name for each in themes] or list(self.available_themes)
        self._begin_in(self._first_theme(theme))
        if self.no_color:
            self._filters = [f for f in self._filters if not isinstance(f, Monochrome)]
            self._filters.append(Colorless())
        if lacks_unicode() if ascii_only is None else ascii_only:
            self._filters.append(AsciiOnly())
        self._filters.append(PlainSigns())

    # Screens change one at a time

    def push_screen(self, *args: Any, wait_for_dismiss: bool = False, **more: Any) -> Any:
        """Lay a screen over, when the changes before it have ended."""
        more["wait_for_dismiss"] = wait_for_dismiss
        push = partial(super().push_screen, *args, **more)
        return self.changes.push(push, waits=wait_for_dismiss)

    def switch_screen(self, *args: Any) -> Any:
        """Put a screen in the place of the one in front, when the changes before it have ended."""
        return self.changes.switch(partial(super().switch_screen, *args))

    def pop_screen(self) -> AwaitComplete:
        """Take the screen in front away, when the changes before it have ended."""
        return self.changes.leave(self.screen, super().pop_screen)

    def _screens_settled(self) -> None:
        self.call_later(self._key_order.go_on)

    async def run_action(
        self,
        action: str | ActionParseResult,
        default_namespace: DOMNode | None = None,
        namespaces: Mapping[str, DOMNode] | None = None,
    ) -> bool:
        """Do what a key or a click asks for, unless the screen it was meant for has gone."""
        node = default_namespace
        if isinstance(node, Widget) and not (stands(node) and node.screen is self.screen):
            return False
        return await super().run_action(action, default_namespace, namespaces)

    # What is typed

    drafts: Drafts

    def flush(self) -> bool:
        """Put on the disk whatever is due there; tell whether all is."""
        return self.drafts.flush()

    def draft_failed(self, error: StoreError) -> None:
        """Say more of what the disk would not have than that it is not there."""

    def drafts_kept(self) -> None:
        """Say no more of it: the disk has it after all."""

    @property
    def standing_words(self) -> str:
        """What the top line has to say before all else; empty when all is on the disk."""
        return self.drafts.standing

    def show_standing(self) -> None:
        """Have the top line of every screen say what it has to, whatever lies over it."""
        for screen in self.screen_stack:
            for bar in screen.query(StatusBar):
                bar.mark(self.standing_words)

    # Colours

    def _begin_in(self, name: str) -> None:
        """Take a theme before any sheet was parsed.

        Setting ``theme`` would do, but has Textual parse every sheet and style every widget again
        when the app has just come up: 8 ms of the way to the first frame.
        """
        self.set_reactive(TerminalApp.theme, name)
        self.stylesheet.set_variables(self.get_css_variables())
        dark = self.current_theme.dark
        self.set_class(dark, "-dark-mode", update=False)
        self.set_class(not dark, "-light-mode", update=False)

    def _first_theme(self, asked: str | None) -> str:
        names = self._theme_names
        if asked is not None and asked not in names:
            self._bad_themes.append(f"there is no theme '{asked}'; there are {', '.join(names)}")
        kept = self.user.theme() if self.user is not None else None
        few = _FEW_COLORS if self.has_few_colors else None
        for name in (asked, few, kept, _USUAL):
            if name is not None and name in names:
                return name
        return next(iter(names), self.theme)

    @property
    def has_few_colors(self) -> bool:
        """Tell whether the terminal shows no more than sixteen colours."""
        return self.console.color_system in ("standard", "windows", None)

    def choose_theme(self, name: str) -> None:
        """Show in other colours and remember them."""
        self.theme = name
        if self.user is not None:
            self.user.keep_theme(name)

    @work(exclusive=True, group="theme")
    async def action_pick_theme(self) -> None:
        """Choose among the themes; the colours follow the cursor's choice at once."""
        from pitwright.app.widgets.dialogs import Choice, Pick

        if self.screen.is_modal:
            return
        choices = [Choice(name, name) for name in sorted(self._theme_names)]
        name = await self.push_screen_wait(Pick("Colours", choices, chosen=self.theme))
        if name is not None:
            self.choose_theme(name)

    # What comes from elsewhere is text, never markup or orders

    def notify(
        self,
        message: str,
        *,
        title: str = "",
        severity: SeverityLevel = "information",
        timeout: float | None = None,
        markup: bool = False,
    ) -> None:
        """Say something in passing; square brackets in it are just brackets."""
        super().notify(message, title=title, severity=severity, timeout=timeout, markup=False)

    async def on_event(self, event: events.Event) -> None:
        """Take a paste without the signs a terminal would obey, its lines still lines.

        Most terminals send a carriage return where the copied text had a line feed. Dropped like
        any other control sign it would run two numbers together.
        """
        if isinstance(event, events.Paste):
            event.text = bare(_LINE_ENDS.sub("\n", event.text))
        if isinstance(event, (events.Key, events.Paste)) and not event.is_forwarded:
            await self._key_order.take(event)
        elif not (isinstance(event, events.MouseDown) and self._is_going(event)):
            await super().on_event(event)

    def _is_going(self, event: events.MouseDown) -> bool:
        """Tell whether what is painted under the mouse has lost its parent, whom Textual asks."""
        try:
            widget, _region = self.screen.get_widget_at(event.x, event.y)
        except (NoWidget, ScreenStackError):
            return False
        return widget is not self.screen and widget.parent is None

    # What to say once at the start

    def on_mount(self) -> None:
        """Hear of window sizes, take the user's keys, and say what could not be used."""
        sizes_in_turn()
        self.app_resume_signal.subscribe(self, lambda _app: sizes_in_turn())
        if self._bad_themes and self.TELLS:
            self.notify(
                "; ".join(self._bad_themes), title="Theme left out", severity="warning",
                markup=False,
            )  # fmt: skip
        if self.user is None or not self.user.keys.exists():
            return
        from pitwright.app.app import PitwrightApp
        from pitwright.app.keymap import load_keymap

        keymap, bad = load_keymap(self.user.keys, PitwrightApp)
        self.set_keymap(keymap)
        if bad and self.TELLS:
            self.notify(
                "\n".join(bad), title="Some of your keys are left out", severity="warning",
                timeout=20, markup=False,
            )  # fmt: skip

    # Everything that can be done here

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Offer every action of the screen in front, then what goes everywhere."""
        seen: set[str] = set()
        for active in screen.active_bindings.values():
            binding = active.binding
            name = ": ".join(x for x in (binding.description, binding.tooltip) if x)
            left_out = binding.system or binding.action == "command_palette"
            if left_out or not binding.id or not active.enabled or not name or name in seen:
                continue
            seen.add(name)
            keys = self.get_key_display(binding)
            general = binding.id.startswith(("app.", "screen.", "show."))
            where = "everywhere" if general else screen.title or "here"
            yield SystemCommand(
                name, f"key {keys}, {where}", partial(self._do, binding.action, active.node)
            )
        for name in sorted(self._theme_names):
            yield SystemCommand(
                f"Colours: {name}", "Show in these colours", partial(self.choose_theme, name)
            )

    async def _do(self, action: str, node: object) -> None:
        await self.run_action(action, node)  # type: ignore[arg-type]  # always a node of the DOM

    def action_command_palette(self) -> None:
        """Open the list of everything that can be done here."""
        if not self.screen.is_modal:
            self.push_screen(
                _Palette(placeholder="What do you want to do?", id="--command-palette")
            )

    def action_help(self) -> None:
        """Show what the screen is for and its keys."""
        from pitwright.app.screens.help import HelpScreen

        if hasattr(self.screen, "HELP_TEXT"):
            self.push_screen(HelpScreen(self.screen))

    # Copying

    @work(exclusive=True, group="copy")
    async def action_copy_figure(self) -> None:
        """Copy a figure in sight to the clipboard of the terminal."""
        from pitwright.app.figures import figures_on
        from pitwright.app.widgets.dialogs import Choice, Pick

        if not hasattr(self.screen, "HELP_TEXT"):
            return
        found = figures_on(self.screen)
        if not found:
            self.notify("There is no figure on this screen")
            return
        at: str | None = "0"
        if len(found) > 1:
            width = max(len(f.text) for f in found)
            choices = [Choice(str(i), f.text.ljust(width), f.among) for i, f in enumerate(found)]
            at = await self.push_screen_wait(Pick("Copy which figure?", choices))
        if at is not None:
            self.copy_to_clipboard(found[int(at)].text)
            self.notify(f"Copied {found[int(at)].text}", markup=False)
