"""A verdict as word, glyph and colour; never colour alone."""

from __future__ import annotations

from typing import Final

from textual.content import Content

__all__ = ["GLYPHS", "flag", "flag_style"]

GLYPHS: Final = {"good": "✓", "too close to call": "≈", "out": "✗"}
_STYLES: Final = {
    "good": "$flag-good",
    "too close to call": "$flag-close",
    "out": "$flag-out bold",
}


def flag_style(word: str) -> str:
    """Return the style of a verdict word, for text that carries it."""
    return _STYLES.get(word, "")


def flag(word: str) -> Content:
    """Return a verdict word with its glyph, styled."""
    return Content.styled(f"{GLYPHS.get(word, ' ')} {word}", _STYLES.get(word, ""))
