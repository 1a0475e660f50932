"""The bottom line: the keys that matter here, with the way to the help always in sight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from textual import events
from textual.app import ComposeResult
from textual.content import Content
from textual.reactive import reactive
from textual.screen import Screen
from textual.widgets import Footer

__all__ = ["KeyLine", "KeyShown"]

_KEY: Final = "bold $footer-key-foreground"
_WORDS: Final = "$footer-description-foreground"
_HELP_MARK: Final = "▏"
_OVER: Final = " on $block-hover-background"


@dataclass(frozen=True)
class KeyShown:
    """A key in the line: what to press, as shown and with its words, and the columns it takes."""

    key: str
    sign: str
    words: str
    tooltip: str
    enabled: bool
    start: int = 0
    end: int = 0


class KeyLine(Footer):
    """One line with the keys of the screen, which can be clicked; the help stands at its end.

    It draws its line itself, where Textual's footer is a widget for each key, made anew whenever
    the keys change: with the dozen keys of the Timeline that took an eighth of the time to its
    first frame. Keys that have no room are left out whole; the help and the palette have them all.
    """

    over: reactive[int | None] = reactive(None)
    """The first column of the key under the mouse."""

    def __init__(self) -> None:
        super().__init__(show_command_palette=False)
        self._shown: list[KeyShown] = []

    def compose(self) -> ComposeResult:
        """Lay out nothing: there is a line to draw, and no widget in it."""
        yield from ()

    def bindings_changed(self, screen: Screen[Any]) -> None:
        """Draw the keys that act now."""
        if screen is self.screen:
            self.refresh()

    @property
    def keys(self) -> list[KeyShown]:
        """The keys shown now, from left to right."""
        return list(self._shown)

    def render(self) -> Content:
        """Draw the line."""
        self._shown, room = self._laid_out()
        parts: list[str | tuple[str, str]] = []
        for key in self._shown:
            ground = _OVER if self.over == key.start else ""
            faint = "" if key.enabled else " dim"
            if key is self._shown[-1] and room is not None:
                parts += [" " * room, (_HELP_MARK, "$foreground 20%")]
            parts.append((key.sign, _KEY + ground + faint))
            parts.append((key.words, _WORDS + ground + faint))
        return Content.assemble(*parts)

    def _laid_out(self) -> tuple[list[KeyShown], int | None]:
        """Return the keys in their columns, and the gap before the help; None without help."""
        active = self._active()
        last = active.pop("help", None)
        found: list[KeyShown] = []
        for pad in (" ", ""):
            end = self.size.width - (_cells(_padded(last, pad)) + 1 if last else 0)
            found, at = [], 0
            for each in active.values():
                key = _padded(each, pad)
                if at + _cells(key) <= end:
                    found.append(_placed(key, at))
                    at += _cells(key)
            if len(found) == len(active):
                break
        if last is None:
            return found, None
        return [*found, _placed(_padded(last, pad), end + 1)], end - at

    def _active(self) -> dict[str, KeyShown]:
        active: dict[str, KeyShown] = {}
        for _node, binding, enabled, tooltip in self.screen.active_bindings.values():
            if binding.show and binding.action not in active:
                active[binding.action] = KeyShown(
                    binding.key,
                    self.app.get_key_display(binding),
                    binding.description,
                    tooltip or binding.tooltip,
                    enabled,
                )
        return active

    def _at(self, column: int) -> KeyShown | None:
        return next((k for k in self._shown if k.start <= column < k.end), None)

    def on_click(self, event: events.Click) -> None:
        """Press the key."""
        event.stop()
        key = self._at(event.x)
        if key is not None and key.enabled:
            self.app.simulate_key(key.key)
        elif key is not None:
            self.app.bell()

    def on_mouse_move(self, event: events.MouseMove) -> None:
        """Tell what the key under the mouse does."""
        key = self._at(event.x)
        start = key.start if key is not None else None
        if start != self.over:
            self.over = start
            self.tooltip = key.tooltip or None if key is not None else None

    def on_leave(self) -> None:
        """Forget the key the mouse was over."""
        self.over = None


def _padded(key: KeyShown, pad: str) -> KeyShown:
    return KeyShown(key.key, f"{pad}{key.sign} ", f"{key.words} ", key.tooltip, key.enabled)


def _cells(key: KeyShown) -> int:
    return Content(key.sign).cell_length + Content(key.words).cell_length


def _placed(key: KeyShown, at: int) -> KeyShown:
    return KeyShown(key.key, key.sign, key.words, key.tooltip, key.enabled, at, at + _cells(key))
