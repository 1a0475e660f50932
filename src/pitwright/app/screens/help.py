"""Help over a screen: what it is for, in words, its own keys, then those that work everywhere."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import ClassVar, Final

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen, Screen
from textual.widgets import Static

__all__ = ["HelpScreen", "key_lines"]

_GENERAL: Final = ("app.", "screen.", "show.")
_ABOUT_KEYS: Final = (
    "Letters act as keys outside an entry; escape leaves one. What is in the bottom line and in "
    "lists can be clicked."
)
_CAUTION: Final = (
    "The maker's instructions, the race director and local rules come before anything shown here."
)


class HelpScreen(ModalScreen[None]):
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
        own, general = key_lines(about)
        with VerticalScroll(classes="dialog"):
            yield Static(Content(about.TITLE or ""), classes="heading")
            yield Static(Content(getattr(about, "PURPOSE", "")))
            yield Static(Content(_flowing(getattr(about, "HELP_TEXT", ""))))
            yield Static("Keys here", classes="section", markup=False)
            yield Static(Content("\n".join(own)))
            yield Static("Keys everywhere", classes="section gap", markup=False)
            yield Static(Content("\n".join(general)))
            yield Static(Content(f"\n{_ABOUT_KEYS}\n\n{_CAUTION}"))
            yield Static("escape closes, arrows scroll", classes="hint")

    def on_mount(self) -> None:
        """Let the arrows scroll at once."""
        self.query_one(VerticalScroll).focus()


def _flowing(text: str) -> str:
    """Return the paragraphs of a help text each as one line, for the screen to wrap."""
    paragraphs = [" ".join(part.split()) for part in text.strip().split("\n\n")]
    return "\n" + "\n\n".join(p for p in paragraphs if p) + "\n"


def key_lines(screen: Screen[object]) -> tuple[list[str], list[str]]:
    """Return a line for each key of a screen, and for each that works everywhere."""
    own: dict[str, list[str]] = {}
    general: dict[str, list[str]] = {}
    for active in screen.active_bindings.values():
        binding = active.binding
        told = binding.tooltip or binding.description
        if not told or binding.system or not binding.id:
            continue
        lines = general if binding.id.startswith(_GENERAL) else own
        key = screen.app.get_key_display(Binding(binding.key, binding.action))
        lines.setdefault(told, []).append(key)
    width = max((len(_joined(keys)) for keys in (*own.values(), *general.values())), default=0)
    return list(_told(own, width)), list(_told(general, width))


def _joined(keys: list[str]) -> str:
    return " or ".join(dict.fromkeys(keys))


def _told(lines: dict[str, list[str]], width: int) -> Iterable[str]:
    for told, keys in lines.items():
        text = textwrap.wrap(told, 66 - width) or [""]
        yield f"{_joined(keys).rjust(width)}  {text[0]}"
        yield from (" " * (width + 2) + rest for rest in text[1:])
