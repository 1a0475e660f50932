"""Numbers under one another with their decimal points in one line."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["lead_in", "whole_digits"]

_MEASURE = re.compile(
    r"(\d+)(?:\.\d+)?(?: [±+=] \d+(?:\.\d+)?)* (?:mm|°C|%|hPa|ml)(?!\w)|(\d+)\.\d+ ±"
)


def whole_digits(texts: Sequence[str]) -> int:
    """Return the most digits before the point among the texts that begin with a measure."""
    return max((len(_whole(text)) for text in texts), default=0)


def lead_in(text: str, digits: int) -> str:
    """Return a text that begins with a measure set in, so that its point stands behind ``digits``.

    >>> lead_in("1.35 mm", 2)
    ' 1.35 mm'
    >>> lead_in("Spring 3", 2)
    'Spring 3'
    """
    whole = _whole(text)
    return " " * (digits - len(whole)) + text if whole else text


def _whole(text: str) -> str:
    found = _MEASURE.match(text)
    return "" if found is None else found.group(1) or found.group(2)
