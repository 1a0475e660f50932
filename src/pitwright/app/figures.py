"""Figures on a screen, to be copied: found in what is shown, so that every screen has them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from textual.geometry import Region
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Footer, OptionList

from pitwright.app.widgets.status_bar import StatusBar

__all__ = ["Figure", "figures_in", "figures_on"]

_NUMBER: Final = r"[+\-−]?\d[\d  ]*(?:[.,]\d+)?"
_UNIT: Final = (
    r"mm|µm|rpm|°C|K|N/mm|N m|kg/m³|kg|g|s|min|h|%|kJ|J|kW|W|km/h|m/s|hPa|in|bar|turns?|laps?"
)
_FIGURE: Final = re.compile(
    rf"(?<![\w.,:])(?:\d+:\d\d(?::\d\d)?(?:\.\d+)?"
    rf"|{_NUMBER}(?:\s*±\s*\d+(?:[.,]\d+)?)?(?:\s?(?:{_UNIT})(?![\w/]))?)(?![\w:])"
)
_BOX: Final = re.compile(r"[─-▟⠀-⣿]+")


@dataclass(frozen=True)
class Figure:
    """One figure as shown, and the words it stands among."""

    text: str
    among: str


def figures_in(lines: Iterable[str]) -> Iterator[Figure]:
    """Yield the figures of lines of text, in the order in which they are read.

    A bare small whole number, such as a place in a list, is none.
    """
    for raw in lines:
        line = " ".join(_BOX.sub(" ", raw).split())
        for found in _FIGURE.finditer(line):
            text = found[0].strip()
            if text.isdigit() and len(text) < 3:
                continue
            yield Figure(text, line)


def figures_on(screen: Screen[object]) -> list[Figure]:
    """Return the figures in sight: those of the row or entry in hand first, each once."""
    found: dict[Figure, None] = {}
    for line in _in_hand(screen.focused):
        found.update(dict.fromkeys(figures_in([line])))
    for widget in screen.query("*"):
        if isinstance(widget, Footer | StatusBar) or widget.children or not widget.is_on_screen:
            continue
        if not widget.region.overlaps(screen.region) or not _all_displayed(widget):
            continue
        found.update(dict.fromkeys(figures_in(_lines(widget))))
    return list(found)


def _all_displayed(widget: Widget) -> bool:
    return all(node.display for node in widget.ancestors_with_self if isinstance(node, Widget))


def _lines(widget: Widget) -> list[str]:
    size = widget.size
    strips = widget.render_lines(Region(0, 0, size.width, size.height))
    return [strip.text for strip in strips]


def _in_hand(focused: Widget | None) -> list[str]:
    if isinstance(focused, OptionList) and focused.highlighted is not None:
        return str(focused.get_option_at_index(focused.highlighted).prompt).splitlines()
    if focused is not None and hasattr(focused, "value"):
        return [str(focused.value)]
    return []
