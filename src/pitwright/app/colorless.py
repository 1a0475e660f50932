"""The app without any colour, for NO_COLOR: what stood out by its ground is shown reversed."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from rich.color import Color as RichColor
from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import LineFilter

__all__ = ["Colorless", "contrast"]

_STANDS_OUT: Final = 3.0
_DEFAULT: Final = Style.from_color(RichColor.default(), RichColor.default())


def contrast(a: Color, b: Color) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2, relative luminance).

    >>> round(contrast(Color.parse("#000000"), Color.parse("#ffffff")), 1)
    21.0
    """
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(color: Color) -> float:
    return sum(
        weight * _linear(part / 255.0)
        for weight, part in zip((0.2126, 0.7152, 0.0722), color.rgb, strict=True)
    )


def _linear(part: float) -> float:
    return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4


@lru_cache(maxsize=1024)
def _plain(style: Style, ground: Color) -> Style:
    reverse = bool(style.reverse)
    if style.bgcolor is not None and not style.bgcolor.is_default:
        own = Color.from_rich_color(style.bgcolor)
        reverse ^= contrast(own, ground) >= _STANDS_OUT
    return style + _DEFAULT + Style(reverse=reverse)


class Colorless(LineFilter):
    """Takes every colour out of a line."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments without colours."""
        return [
            segment if segment.style is None
            else segment._replace(style=_plain(segment.style, background))
            for segment in segments
        ]  # fmt: skip
