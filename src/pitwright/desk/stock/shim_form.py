"""A thickness and a count as typed for the shim tin."""

from __future__ import annotations

import re

__all__ = ["read_counted", "shim_trouble"]

_COUNTED = re.compile(
    r"\s*(\d*[.,]?\d+)\s*(?:mm)?\s*(?:[x×*]\s*|\s)\s*(\d{1,3})\s*\Z", re.IGNORECASE
)
_HINT = "the thickness and how many, such as 0.10 x 4"


def shim_trouble(text: str) -> str:
    """Return what is wrong with a typed thickness and count, or nothing."""
    found = _COUNTED.match(text)
    if found is None:
        return _HINT
    thickness = float(found[1].replace(",", "."))
    if not 0.005 <= thickness <= 5:
        return "a shim is between 0.005 and 5 mm thick"
    return ""


def read_counted(text: str) -> tuple[float, int]:
    """Return thickness [mm] and count of a text that ``shim_trouble`` lets pass.

    Raises ValueError for any other.

    >>> read_counted("0,15 x 4")
    (0.15, 4)
    """
    found = _COUNTED.match(text)
    if found is None:
        raise ValueError(_HINT)
    return round(float(found[1].replace(",", ".")), 4), int(found[2])
