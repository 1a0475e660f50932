"""The base of all cards and records, and the kinds of text they may hold."""

from __future__ import annotations

import re
import unicodedata
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict

__all__ = ["Line", "Model", "Name", "Text", "visible"]


class Model(BaseModel):
    """A frozen model that refuses unknown keys, NaN and infinity."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        defer_build=True,
        populate_by_name=True,
    )


_DIRECTION_SIGNS: Final = frozenset(
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f"
)
_DEVICES: Final = frozenset(
    ["con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))]
)
_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._-]{0,38}[A-Za-z0-9])?")


def _is_hidden(sign: str) -> bool:
    return sign in _DIRECTION_SIGNS or unicodedata.category(sign) in ("Cc", "Cs")


def visible(text: str, *, keep: str = "\n\t") -> str:
    """Return ``text`` without control, escape and direction-override signs.

    What comes from a file or a clipboard goes through here before a terminal or a page sees it.

    >>> visible("a\\x1b[31mb")
    'a[31mb'
    """
    return "".join(s for s in text if s in keep or not _is_hidden(s))


def _text(value: str) -> str:
    if len(value) > 4000:
        raise ValueError("longer than 4000 signs")
    for sign in value:
        if sign not in "\n\t" and _is_hidden(sign):
            raise ValueError(f"holds the control sign U+{ord(sign):04X}; take it out")
    return value


def _line(value: str) -> str:
    if len(value) > 200:
        raise ValueError("longer than 200 signs")
    if "\n" in value or "\t" in value:
        raise ValueError("must be a single line without tabs")
    return _text(value)


def _name(value: str) -> str:
    if not _NAME.fullmatch(value):
        raise ValueError(
            "must be 1 to 40 letters, digits, spaces, dots, dashes, starting and ending "
            "with a letter or digit"
        )
    if value.split(".")[0].strip().lower() in _DEVICES:
        raise ValueError("is a device name on some systems and cannot name a file")
    return value


Text = Annotated[str, AfterValidator(_text)]
"""Free text of several lines."""

Line = Annotated[str, AfterValidator(_line)]
"""A single line of text."""

Name = Annotated[str, AfterValidator(_name)]
"""A short name that may also become part of a file name."""
