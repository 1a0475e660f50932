"""Notations in which a lap time or a passing time may be written."""

import math
import re
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from pitwright.timing.words import says_invalid, split_mark

Notation = Literal["h:m:s", "m:s", "m's", "seconds", "milliseconds", "whole numbers"]

_SHORT = 40
SHORTEST_LAP = 1.0
LONGEST_LAP = 3600.0

_NUMBER = re.compile(
    r"[+-]?(\d+(?:[.,]\d*)?|[.,]\d+)\s*(ms|msec|milliseconds?|s|sec|secs|seconds?|秒|초|с|сек)?"
)
_COLONS = re.compile(r"(?:(\d{1,3}):)?(\d{1,4}):(\d{1,2}(?:[.,]\d*)?)")
_PRIMES = re.compile(r"(\d{1,4})\s*['’′]\s*(\d{1,2}(?:[.,]\d*)?)\s*(?:''|[\"”″])?\s*(\d{1,3})?")
_LETTERS = re.compile(
    r"(?:(\d{1,3})\s*h\s*)?(\d{1,4})\s*m(?:in)?\s*(\d{1,2}(?:[.,]\d*)?)\s*(?:s|sec)?", re.I
)
_DATE = re.compile(r"(?:\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./]\d{1,2}[./]\d{4})[T\s]\s*")
_ZONE = re.compile(r"\s*(?:Z|[+-]\d{2}:?\d{2})")
_DOTS = re.compile(r"(\d{1,3})\.(\d{2})\.(\d{1,3})")


@dataclass(frozen=True)
class TimeCell:
    """A time as read: its seconds (milliseconds already converted), and how it was written.

    Whole numbers without a unit keep their value; whether they are seconds or milliseconds is
    judged from the whole column. mark: what stood beside it as written, such as * or P.
    """

    value: float
    notation: Notation
    decimal: str
    mark: str = ""


def read_time(text: str) -> TimeCell | str:
    """Read one time, or return the reason why it cannot be one.

    Takes h:m:s, m:s, m'ss"fff, 1m02.3s, m.ss.fff, seconds with a point or a comma, a trailing
    s or ms, and a date in front of h:m:s (of which the time of day counts). A mark beside it, such
    as 21.455* or 38.712 P, is kept; one that says the lap does not count is a reason.
    """
    text = text.strip().replace("\u00a0", " ")
    if not text:
        return "empty"
    # The same cells are read again and again while columns are told apart.
    return _short_time(text) if len(text) <= _SHORT else _bare_time(text)


@lru_cache(maxsize=32_768)
def _short_time(text: str) -> TimeCell | str:
    found = _bare_time(text)
    if not isinstance(found, str) or (marked := split_mark(text)) is None:
        return found
    core, mark = marked
    read = _bare_time(core)
    if isinstance(read, str):
        return found
    return "marked as not valid" if says_invalid(mark) else replace(read, mark=mark)


def _bare_time(text: str) -> TimeCell | str:
    decimal = "," if "," in text else "." if "." in text else ""
    if match := _NUMBER.fullmatch(text.lower()):
        number, unit = match.group(1), match.group(2)
        value = float(number.replace(",", "."))
        if text.startswith("-"):
            return "a time below zero"
        if text.startswith("+"):
            return "a difference, not a time"
        if not math.isfinite(value):
            return "too large a number"
        if unit is not None and unit.startswith("m"):
            return TimeCell(value / 1000.0, "milliseconds", decimal)
        whole = not decimal and unit is None
        return TimeCell(value, "whole numbers" if whole else "seconds", decimal)
    parts: tuple[str | None, str, str] | None = None
    notation: Notation = "m:s"
    if match := _COLONS.fullmatch(text):
        parts = (match.group(1), match.group(2), match.group(3))
        notation = "h:m:s" if match.group(1) is not None else "m:s"
    elif (date := _DATE.match(text)) and (match := _COLONS.match(text, date.end())):
        if not match.group(1) or not re.fullmatch(_ZONE.pattern + "|", text[match.end() :]):
            return "not a time"
        parts = (match.group(1), match.group(2), match.group(3))
        notation = "h:m:s"
    elif match := _PRIMES.fullmatch(text):
        seconds, decimals = match.group(2), match.group(3)
        if decimals and ("." in seconds or "," in seconds):
            return "not a time"
        parts = (None, match.group(1), seconds + (f".{decimals}" if decimals else ""))
        notation = "m's"
    elif match := _LETTERS.fullmatch(text):
        parts = (match.group(1), match.group(2), match.group(3))
        notation = "m:s" if match.group(1) is None else "h:m:s"
    elif match := _DOTS.fullmatch(text):
        parts = (None, match.group(1), f"{match.group(2)}.{match.group(3)}")
        decimal = "."
    if parts is None:
        return "not a time"
    hours, minutes = int(parts[0] or 0), int(parts[1])
    seconds_value = float(parts[2].replace(",", "."))
    if seconds_value >= 60.0:
        return "more than 59 seconds after the minutes"
    if parts[0] is not None and minutes >= 60:
        return "more than 59 minutes after the hours"
    return TimeCell(hours * 3600.0 + minutes * 60.0 + seconds_value, notation, decimal)


def lap_fault(seconds: float) -> str | None:
    """Return why a length of time cannot be one lap, or None when it can."""
    if seconds <= 0.0:
        return "a lap of no length"
    if seconds < SHORTEST_LAP:
        return f"shorter than {SHORTEST_LAP:g} s"
    if seconds > LONGEST_LAP:
        return "longer than an hour"
    return None
