"""What a terminal without Unicode shows instead of each sign: one table for the whole app.

The signs are replaced as lines leave for the terminal, so that no screen and no widget has to
know. Every replacement is as wide as what it stands for.
"""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from rich.cells import cell_len
from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

__all__ = ["TO_ASCII", "AsciiOnly", "in_ascii", "lacks_unicode"]

_SAME: Final[dict[str, str]] = {
    # verdicts and marks
    "✓": "+", "≈": "~", "✗": "X", "★": "*", "●": "o", "○": ".", "◆": "*", "◇": ".", "•": "*",
    "▶": ">", "▸": ">", "►": ">", "◀": "<", "▾": "v", "▼": "v", "▲": "^", "△": "^", "▽": "v",
    "⚠": "!", "⟳": "@", "┆": ":", "┊": ":", "┇": ":", "■": "#", "□": ".", "▪": "*", "▫": ".",
    # arrows and keys
    "↵": "<", "⏎": "<", "←": "<", "→": ">", "↑": "^", "↓": "v", "↔": "-", "⇒": ">", "⌫": "<",
    "␣": "_", "⭾": ">", "⎋": "x", "⌦": ">", "↹": ">", "⇥": ">", "⇤": "<",
    # typography
    "·": "-", "…": ".", "–": "-", "—": "-", "−": "-", "‘": "'", "’": "'", "“": '"', "”": '"',
    "×": "x", "±": "~", "°": "o", "µ": "u", "μ": "u", "÷": "/", "≤": "<", "≥": ">", "∞": "8",
    "½": "h", "¼": "q", "¾": "t", "²": "2", "³": "3", "√": "v", "Δ": "d", "σ": "s", "ω": "w",
    "\u00a0": " ", "\u2009": " ", "\u202f": " ",
}  # fmt: skip
# Lines by direction; corners and crossings are all a plus.
_FLAT: Final = "─━═╌╍┄┅┈┉╴╶╸╺╼╾▔▁⎯"
_UPRIGHT: Final = "│┃║╎╏╵╷╹╻╽╿▏▎▕▌▐⎸"
_FULL: Final = "█▇▆▅▓▉▊▋"
_HALF: Final = {"▀": '"', "▄": "_", "▃": "_", "▂": "_", "░": ".", "▒": ":"}


def _table() -> dict[str, str]:
    table = {**_SAME, **_HALF}
    table.update(dict.fromkeys(_FLAT, "-"))
    table.update(dict.fromkeys(_UPRIGHT, "|"))
    table.update(dict.fromkeys(_FULL, "#"))
    for code in range(0x2500, 0x2580):
        table.setdefault(chr(code), "+")
    for code in range(0x2580, 0x25A0):
        table.setdefault(chr(code), "#")
    for code in range(0x2800, 0x2900):
        # plots in Braille dots: by how full the cell is
        dots = (code - 0x2800).bit_count()
        table[chr(code)] = " " if not dots else "." if dots < 3 else ":" if dots < 6 else "#"
    return table


TO_ASCII: Final[Mapping[str, str]] = _table()


@lru_cache(maxsize=4096)
def in_ascii(text: str) -> str:
    """Return a text in ASCII, as wide as before; letters lose their accents.

    >>> in_ascii("✓ good · 1.35 ± 0.02 mm")
    '+ good - 1.35 +-0.02 mm'
    """
    if text.isascii():
        return text
    return "".join(map(_sign, text.replace("± ", "+-")))


@lru_cache(maxsize=1024)
def _sign(sign: str) -> str:
    if sign.isascii():
        return sign
    told = TO_ASCII.get(sign)
    if told is None:
        bare = unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode()[:1]
        told = bare or "?"
    width = cell_len(sign)
    return told.ljust(width) if width else ""


class AsciiOnly(LineFilter):
    """Turns every line into ASCII on its way to the terminal."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments in ASCII."""
        return [
            segment if segment.text.isascii() else segment._replace(text=in_ascii(segment.text))
            for segment in segments
        ]


def lacks_unicode(environ: Mapping[str, str] = os.environ) -> bool:
    """Tell whether the terminal says that it shows no Unicode.

    A locale that is set and names no UTF-8, an output encoding that is none, or a terminal that
    has only its own few signs. Nothing said at all is taken as Unicode, as nearly every terminal
    shows it today.
    """
    encoding = environ.get("PYTHONIOENCODING", "").partition(":")[0]
    if encoding:
        return not _is_utf(encoding)
    if environ.get("TERM", "") in ("linux", "vt100", "vt102", "vt220"):
        return True
    said = environ.get("LC_ALL") or environ.get("LC_CTYPE") or environ.get("LANG") or ""
    # Python itself sets LC_CTYPE when it finds the C locale; then LANG is what the user said.
    if not environ.get("LC_ALL") and environ.get("LC_CTYPE") in ("C.UTF-8", "C.utf8", "UTF-8"):
        said = environ.get("LANG") or said
    return bool(said) and not _is_utf(said)


def _is_utf(name: str) -> bool:
    return "utf8" in name.lower().replace("-", "").replace("_", "")
