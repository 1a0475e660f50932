"""Help over a screen: what it is for, in words, its own keys, then those that work everywhere."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar, Final

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from pitwright.app.standing import Dialog

__all__ = ["OVER_KEYS", "HelpScreen", "KeyLines", "key_lines"]

_GENERAL: Final = ("app.", "screen.", "show.")
_ABOUT_KEYS: Final = (
    "Letters act as keys outside an entry; escape leaves one. What is in the bottom line and in "
    "lists can be clicked."
)
_CAUTION: Final = (
    "The maker's instructions, the race director and local rules come before anything shown here."
)


OVER_KEYS: Final = (
    Binding("question_mark,f1", "app.help", "Help", id="app.help", key_display="?",
            tooltip="What this screen is for, and all its keys"),
    Binding("y", "app.copy_figure", "Copy", id="app.copy", show=False,
            tooltip="Copy a figure on the screen"),
)  # fmt: skip
"""The app's keys that a screen laid over another needs as its own."""


@dataclass(frozen=True)
class KeyLines:
    """A screen's keys, a line each: those that act now, those that need something first, all's."""

    own: list[str]
    not_now: list[str]
    general: list[str]


class HelpScreen(Dialog[None]):
    """The help of the screen below; a screen brings TITLE, PURPOSE and HELP_TEXT."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,q,enter", "dismiss", "Close", id="help.close",
                tooltip="Close the help"),
    ]  # fmt: skip

    def __init__(self, about: Screen[object]) -> None:
        super().__init__()
        self._about = about

    def compose(self) -> ComposeResult:
        """Lay out purpose, words and keys."""
        about = self._about
        keys = key_lines(about)
        with VerticalScroll(classes="dialog"):
            yield Static(Content(about.TITLE or ""), classes="heading")
            yield Static(Content(getattr(about, "PURPOSE", "")))
            yield Static(Content(_flowing(getattr(about, "HELP_TEXT", ""))))
            for title, lines in (
                ("Keys here, now", keys.own),
                ("Keys here, at other times or outside an entry", keys.not_now),
                ("Keys everywhere", keys.general),
            ):
                if lines:
                    yield Static(title, classes="section gap", markup=False)
                    yield Static(Content("\n".join(lines)))
            yield Static(Content(f"\n{_ABOUT_KEYS}\n\n{_CAUTION}"))
            yield Static("escape closes, arrows scroll", classes="hint")

    def on_mount(self) -> None:
        """Let the arrows scroll at once."""
        self.query_one(VerticalScroll).focus()


def _flowing(text: str) -> str:
    """Return the paragraphs of a help text each as one line, for the screen to wrap."""
    paragraphs = [" ".join(part.split()) for part in text.strip().split("\n\n")]
    return "\n" + "\n\n".join(p for p in paragraphs if p) + "\n"


def key_lines(screen: Screen[object]) -> KeyLines:
    """Return a line for each key of a screen and of the app, as they act now or do not."""
    app = screen.app
    active = {a.binding.id for a in screen.active_bindings.values() if a.enabled}
    groups: dict[str, dict[str, list[str]]] = {"now": {}, "else": {}, "general": {}}
    for node in (screen.focused, screen, app):
        if node is None:
            continue
        bindings = node._bindings.copy()
        bindings.apply_keymap(app._keymap)
        for key, binding in bindings:
            told = binding.tooltip or binding.description
            if not told or binding.system or not binding.id:
                continue
            group = "now" if binding.id in active else "else"
            if binding.id.startswith(_GENERAL):
                group = "general"
            shown = app.get_key_display(Binding(key, binding.action))
            groups[group].setdefault(told, []).append(shown)
    every = [keys for group in groups.values() for keys in group.values()]
    width = max((len(_joined(keys)) for keys in every), default=0)
    return KeyLines(*(list(_told(groups[name], width)) for name in ("now", "else", "general")))


def _joined(keys: list[str]) -> str:
    return " or ".join(dict.fromkeys(keys))


def _told(lines: dict[str, list[str]], width: int) -> Iterable[str]:
    for told, keys in lines.items():
        text = textwrap.wrap(told, 66 - width) or [""]
        yield f"{_joined(keys).rjust(width)}  {text[0]}"
        yield from (" " * (width + 2) + rest for rest in text[1:])
