"""Signs that a terminal or a page would obey instead of show. A leaf of the package."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["first_hidden", "visible"]

# Control characters of both sets, lone halves of a pair, line and paragraph separators, and the
# marks, embeddings, overrides and isolates that turn the direction of writing (Unicode UAX 9).
_HIDDEN: Final = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)


def visible(text: str, *, keep: str = "\n\t") -> str:
    """Return ``text`` without control, escape and direction-override signs.

    What comes from a file, a file's name or a clipboard goes through here before a terminal or a
    page sees it.

    >>> visible("a\\x1b[31mb")
    'a[31mb'
    """
    return _HIDDEN.sub(lambda found: found[0] if found[0] in keep else "", text)


def first_hidden(text: str, *, keep: str = "\n\t") -> str | None:
    """Return the first sign of ``text`` that ``visible`` would leave out, None when none is."""
    return next((sign for sign in _HIDDEN.findall(text) if sign not in keep), None)
