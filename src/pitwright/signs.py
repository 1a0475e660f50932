"""Signs that a terminal or a page would obey, or not show at all. A leaf of the package."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["bare", "first_hidden", "visible"]

# Control characters of both sets, lone halves of a pair, line and paragraph separators, and the
# marks, embeddings, overrides and isolates that turn the direction of writing (Unicode UAX 9).
_HIDDEN: Final = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)

# What joins two signs, or keeps them apart, belongs to the writing of these: Arabic to Vedic,
# Brahmi's other children, symbols and emoji. A variation selector belongs to an ideograph, a symbol
# or an emoji, or to the keycap that follows.
_JOINED: Final = (
    "\u0600-\u1cff\u2190-\u2bff\ua840-\uabff\ufe0e\ufe0f\U00011000-\U00011fff\U0001f000-\U0001fbff"
)
_VARIED: Final = (
    "\u00a9\u00ae\u1800-\u18af\u203c-\u33ff\u3400-\u9fff\uf900-\ufaff\U0001f000-\U0001fbff"
    "\U00020000-\U0003ffff"
)
# The rest of what has neither width nor ink: default ignorable code points and format characters
# (Unicode 15, DerivedCoreProperties and general category Cf), the byte-order mark and tags among
# them.
_UNSEEN: Final = re.compile(
    "[\u00ad\u034f\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b\u2060-\u2065\u206a-\u206f\u3164"
    "\ufeff\uffa0\ufff0-\ufffb\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff]"
    f"|(?<![{_JOINED}])[\u200c\u200d]|[\u200c\u200d](?![{_JOINED}])"
    f"|(?<![{_VARIED}])[\ufe00-\ufe0f](?!\u20e3)"
)


def visible(text: str, *, keep: str = "\n\t") -> str:
    """Return ``text`` with all that is in it to be seen, and nothing that would be obeyed.

    Control, escape and direction-override signs are left out; what has no width, such as a
    byte-order mark or a tag, is shown by its number. What comes from a file, a file's name or a
    clipboard goes through here before a terminal or a page sees it.

    >>> visible("a\\x1b[31mb"), visible("Q1\\u200b")
    ('a[31mb', 'Q1<U+200B>')
    """
    if text.isascii() and text.isprintable():
        return text
    text = _HIDDEN.sub(lambda found: found[0] if found[0] in keep else "", text)
    return _UNSEEN.sub(lambda found: f"<U+{ord(found[0]):04X}>", text)


def bare(text: str, *, keep: str = "\n\t") -> str:
    """Return ``text`` without what would be obeyed and what cannot be seen: for what is typed in.

    A number that was copied with a sign nobody sees is the number that everybody sees.

    >>> bare("\\ufeff10.15\\u200b")
    '10.15'
    """
    if text.isascii() and text.isprintable():
        return text
    text = _HIDDEN.sub(lambda found: found[0] if found[0] in keep else "", text)
    return _UNSEEN.sub("", text)


def first_hidden(text: str, *, keep: str = "\n\t") -> str | None:
    """Return the first sign of ``text`` that would be obeyed, None when none is."""
    return next((sign for sign in _HIDDEN.findall(text) if sign not in keep), None)
