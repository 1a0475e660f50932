"""Text of form fields into values: decimal comma, units and clock times as people type them.

Every reader takes the text and returns its value, None for an empty text, or raises
``FieldError`` with the reason; the caller knows which field it was.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from pitwright.signs import visible
from pitwright.units import QuantityError, read_quantity
from pitwright.weekend.model import check_line

__all__ = [
    "FieldError",
    "FormError",
    "FormField",
    "FormReader",
    "line_trouble",
    "plain_number",
    "read_choice",
    "read_humidity",
    "read_minutes",
    "read_moment",
    "read_quantity_field",
    "read_rating",
    "read_signed_minutes",
    "read_teeth",
    "read_turns",
    "refused",
    "shown_moment",
    "when_field",
]

_T = TypeVar("_T", bound=str)
_DRIEST_PERCENT = 2.0  # a desert at noon; common practice, no source


@dataclass(frozen=True)
class FormField:
    """A field of a form: what it is called, what stands in it, and how it may be filled in."""

    key: str
    label: str
    value: str = ""
    hint: str = ""
    section: str = ""
    half: bool = True


class FieldError(ValueError):
    """A text that cannot be read; the message says why, fit to be shown."""

    def __init__(self, reason: str) -> None:
        shown = visible(reason, keep="")
        # A whole file may have been pasted into the field.
        super().__init__(shown if len(shown) <= 200 else f"{shown[:199]}…")


class FormError(ValueError):
    """A form that cannot be kept: ``errors`` maps a field's key to what is wrong with it."""

    def __init__(self, errors: dict[str, str]) -> None:
        super().__init__("; ".join(errors.values()))
        self.errors = errors

    @property
    def first(self) -> tuple[str, str]:
        """The first field that is wrong, and why."""
        return next(iter(self.errors.items()))


def refused(error: ValidationError, names: dict[str, str]) -> FormError:
    """Return what a record refused, by form field; ``names`` maps record keys to field keys."""
    errors: dict[str, str] = {}
    for fault in error.errors():
        key = next((str(k) for k in reversed(fault["loc"]) if isinstance(k, str)), "")
        reason = fault["msg"].removeprefix("Value error, ")
        errors.setdefault(names.get(key, key), f"{key.replace('_', ' ')}: {reason}".strip(": "))
    return FormError(errors)


def line_trouble(text: str) -> str:
    """Return why a text, less the blanks around it, cannot be a line of a record, or nothing."""
    try:
        check_line(text.strip())
    except ValueError as error:
        return str(error)
    return ""


def plain_number(value: float | None, decimals: int = 2) -> str:
    """Return a number for a field: no trailing zeros, nothing for None."""
    if value is None:
        return ""
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".") or "0"


def read_minutes(text: str) -> float | None:
    """Read minutes: ``8``, ``8,5 min``, ``8:30``, ``90 s``, ``1 h``; None when empty.

    >>> read_minutes("8:30")
    8.5
    >>> read_minutes("7,5")
    7.5
    """
    text = text.strip()
    if not text:
        return None
    clock = re.fullmatch(r"(\d{1,4}):([0-5]\d)", text)
    if clock:
        return round(int(clock[1]) + int(clock[2]) / 60, 6)
    return _read(text, "min")


def read_signed_minutes(text: str) -> float | None:
    """Read minutes that may be less than none: ``-5``, ``+1:30``; None when empty.

    >>> read_signed_minutes("−1:30")
    -1.5
    """
    text = text.strip()
    if text.startswith(("-", "−")):
        minutes = read_minutes(text[1:])
        return None if minutes is None else -minutes
    return read_minutes(text.removeprefix("+"))


_DEGREES = re.compile(r"(.*?)\s*(?:°|deg)?\s*([CcFf])\.?")


def read_quantity_field(text: str, unit: str) -> float | None:
    """Read a number with or without its unit as ``unit``; None when empty.

    Temperatures (``degC``) may end in C or F.

    >>> read_quantity_field("24,5 C", "degC")
    24.5
    >>> read_quantity_field("77 F", "degC")
    25.0
    """
    text = text.strip()
    if not text:
        return None
    degrees = _DEGREES.fullmatch(text) if unit == "degC" else None
    if degrees is None:
        return _read(text, unit)
    value = _read(degrees[1], "")
    return value if degrees[2] in "Cc" else round((value - 32) / 1.8, 6)


def _read(text: str, unit: str) -> float:
    try:
        return read_quantity(text, unit)
    except QuantityError as error:
        raise FieldError(str(error)) from None


def read_turns(text: str) -> float | None:
    """Read turns of the nut, inwards positive: ``0.25``, ``-0,5``, ``0.5 out``, ``1/4 in``.

    >>> read_turns("1/4 out")
    -0.25
    """
    text = text.strip().lower()
    if not text:
        return None
    match = re.fullmatch(r"(.*?)\s*(?:turns?)?\s*(in|out)?", text)
    number, way = (match[1], match[2]) if match else (text, None)
    fraction = re.fullmatch(r"(?:(\d+)\s+)?(\d+)/([1-9]\d*)", number)
    if fraction:
        value = int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3])
    else:
        value = _read(number, "")
    if way is not None and value < 0:
        raise FieldError("a minus and a direction say it twice; leave one out")
    return -value if way == "out" else value


def read_humidity(text: str) -> float | None:
    """Return a relative humidity in per cent; a share such as 0.5 for half is refused."""
    value = read_quantity_field(text.replace("%", ""), "")
    if value is None:
        return None
    if not 0.0 <= value <= 100.0:
        raise FieldError("a number between 0 and 100 %")
    if value < _DRIEST_PERCENT:
        meant = f": {value * 100:g} %?" if 0.0 < value <= 1.0 else ""
        raise FieldError(f"{value:g} % is drier than any air{meant}")
    return value


def read_rating(text: str) -> int | None:
    """Read a rating from 1 to 5; None when empty."""
    text = text.strip()
    if not text:
        return None
    if not re.fullmatch(r"[1-5]", text):
        raise FieldError("a whole number from 1 (poor) to 5 (just right)")
    return int(text)


def read_teeth(text: str) -> list[int]:
    """Read one or two numbers of teeth: ``17``, ``17 21``, ``17/21``; empty for none."""
    text = text.strip()
    if not text:
        return []
    if not re.fullmatch(r"\d{1,3}(?:[ ,/+-]+\d{1,3})?", text):
        raise FieldError("one or two whole numbers of teeth, such as 17 or 17 21")
    return [int(n) for n in re.findall(r"\d+", text)]


def read_choice(text: str, choices: Sequence[_T]) -> _T | None:
    """Read one of ``choices`` from its beginning, however it is written; None when empty."""
    text = " ".join(text.split()).casefold()
    if not text:
        return None
    found = [c for c in choices if c.casefold() == text] or [
        c for c in choices if c.casefold().startswith(text)
    ]
    if len(found) != 1:
        raise FieldError("one of: " + ", ".join(choices))
    return found[0]


_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def shown_moment(moment: datetime, zone: ZoneInfo) -> str:
    """Return a moment as a form shows it, seconds only when there are some: ``Sat 16 May 10:32``.

    ``read_moment`` reads it back as the same moment when it is given as ``near``.
    """
    local = moment.astimezone(zone)
    seconds = f":{local:%S}" if local.second else ""
    return f"{local:%a} {local.day} {local:%b %H:%M}{seconds}"


_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_CLOCK = re.compile(r"(?:(?P<day>.*?)[\sT]+)?(?P<h>\d{1,2})[:.h](?P<m>\d{2})(?::(?P<s>\d{2}))?")


def read_moment(text: str, zone: ZoneInfo, near: datetime) -> datetime | None:
    """Read a moment at the venue: ``10:32``, ``Sat 10:32``, ``16 May 10:32``, ``2026-05-16 10:32``.

    Without a day it is the day of ``near``; a weekday is the one nearest to ``near``. None when
    empty.
    """
    text = text.strip()
    if not text:
        return None
    match = _CLOCK.fullmatch(text)
    if match is None:
        raise FieldError("a time such as 10:32 or Sat 10:32")
    day = _day((match["day"] or "").strip().rstrip(","), near.astimezone(zone))
    try:
        wall = day.replace(
            hour=int(match["h"]),
            minute=int(match["m"]),
            second=int(match["s"] or 0),
            microsecond=0,
        )
        return wall.replace(fold=0).astimezone(UTC)
    except (ValueError, OverflowError):
        raise FieldError(f"{text}: there is no such time") from None


def _day(text: str, near: datetime) -> datetime:
    if not text:
        return near
    iso = re.fullmatch(r"(\d{4})-(\d{2})-(\d{2})", text)
    words = text.casefold().split()
    weekday = words.pop(0)[:3] if words and words[0][:3] in _DAYS else None
    try:
        if iso:
            return near.replace(day=1, year=int(iso[1]), month=int(iso[2])).replace(day=int(iso[3]))
        if words:
            number, month = words
            at = _MONTHS.index(month[:3]) + 1
            return near.replace(day=1, month=at).replace(day=int(number.rstrip(".")))
    except (ValueError, OverflowError):
        raise FieldError(f"'{text}' is not a day such as Sat or 16 May") from None
    if weekday is None:
        raise FieldError(f"'{text}' is not a day such as Sat or 16 May")
    ahead = (_DAYS.index(weekday) - near.weekday()) % 7
    return near + timedelta(days=ahead if ahead <= 3 else ahead - 7)


class FormReader:
    """Reads a form field by field and gathers what is wrong."""

    def __init__(self, values: Mapping[str, str]) -> None:
        self._values = values
        self.errors: dict[str, str] = {}

    def __call__(self, key: str, label: str, reader: Callable[[str], Any]) -> Any:
        """Return what ``reader`` makes of a field; None when it is wrong, which is noted."""
        try:
            return reader(self._values.get(key, ""))
        except FieldError as error:
            self.errors[key] = f"{label}: {error}"
            return None

    def line(self, key: str) -> str:
        """Return a field's text on one line."""
        return " ".join(self._values.get(key, "").split())

    def moment(self, zone: ZoneInfo, near: datetime, now: datetime) -> datetime:
        """Return the field ``at``, ``near`` when it is empty or wrong."""
        at: datetime | None = self("at", "When", lambda text: read_moment(text, zone, near))
        if at is not None and at > now + timedelta(minutes=1):
            self.errors["at"] = "When: that is still to come"
        return at or near


def when_field(moment: datetime, zone: ZoneInfo) -> FormField:
    """Return the field that holds when something happened."""
    shown = shown_moment(moment, zone)
    return FormField("at", "When", shown, "10:32 or Sat 10:32", half=False)
