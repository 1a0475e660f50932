"""Numbers and times as a mechanic reads them."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from zoneinfo import ZoneInfo

__all__ = [
    "ago",
    "change_words",
    "clock_time",
    "counted",
    "day_time",
    "fixed",
    "from_time",
    "minutes_words",
    "mm",
    "needed_words",
    "part_label",
    "running_words",
    "signed_mm",
    "until_words",
    "when_words",
]


def mm(value: float, decimals: int = 2) -> str:
    """Return a length in millimetres: ``10.15 mm``."""
    return f"{fixed(value, decimals)} mm"


_BEYOND = 1e12  # only a slip of the fingers is as long; decimals mean nothing there


def fixed(value: float, decimals: int = 2) -> str:
    """Return a length with so many decimals, the same digits wherever it stands: ``10.15``.

    Halves go to the even digit, as in a value that stands beside its uncertainty, and are told
    in decimal: a mean such as 1.3450000000000002 is 1.345 and no more than that.
    """
    if not math.isfinite(value):  # beyond the last step of a go/no-go tool
        return f"{value}"
    if abs(value) >= _BEYOND:
        return f"{value:g}"
    rounded = _rounded(value, decimals)
    return f"{abs(rounded) if rounded.is_zero() else rounded:f}"


def _rounded(value: float, decimals: int) -> Decimal:
    if abs(value) >= _BEYOND:
        return Decimal(value)
    step = Decimal(1).scaleb(-decimals)
    return Decimal(repr(round(value, 6))).quantize(step, rounding=ROUND_HALF_EVEN)


def change_words(before: float, after: float, decimals: int = 2) -> str:
    """Return the change between two lengths as they are shown: ``-0.05 mm``.

    It is the difference of the two numbers on the screen, so that it can be checked by eye.
    """
    return signed_mm(float(_rounded(after, decimals) - _rounded(before, decimals)), decimals)


def signed_mm(value: float, decimals: int = 2) -> str:
    """Return a change of length with its sign: ``-0.05 mm``; zero has none."""
    rounded = round(value, decimals)
    return f"{0.0:.{decimals}f} mm" if rounded == 0 else f"{rounded:+.{decimals}f} mm"


def minutes_words(minutes: float) -> str:
    """Return a length of time: ``45 s``, ``23 min``, ``1 h 05 min``, ``2 days``."""
    seconds = round(abs(minutes) * 60)
    if seconds < 60:
        return f"{seconds} s"
    whole = math.floor(seconds / 60)
    if whole < 60:
        return f"{whole} min"
    if whole < 48 * 60:
        return f"{whole // 60} h {whole % 60:02d} min"
    return f"{whole // (24 * 60)} days"


def counted(number: int, what: str) -> str:
    """Return how many there are of something: ``1 lap``, ``20 laps``."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def running_words(minutes: float, unknown_runs: int) -> str:
    """Return how long something ran: ``23 min``, ``no running``, ``at least 23 min, ...``."""
    words = minutes_words(minutes) if minutes else "no running"
    if not unknown_runs:
        return words
    runs = f"{counted(unknown_runs, 'run')} not timed"
    return f"at least {words}, {runs}" if minutes else runs


def clock_time(moment: datetime, zone: ZoneInfo) -> str:
    """Return the venue's wall clock: ``14:05``."""
    return f"{moment.astimezone(zone):%H:%M}"


def day_time(moment: datetime, zone: ZoneInfo) -> str:
    """Return weekday and wall clock at the venue: ``Sat 14:05``."""
    return f"{moment.astimezone(zone):%a %H:%M}"


def from_time(moment: datetime, zone: ZoneInfo) -> str:
    """Return the wall clock from which something may be done, rounded up: never too early."""
    return clock_time(_minute_up(moment), zone)


def _minute_up(moment: datetime) -> datetime:
    over = moment.second or moment.microsecond
    return moment + timedelta(minutes=1) if over else moment


def until_words(moment: datetime, now: datetime, zone: ZoneInfo) -> str:
    """Return a deadline as ``when_words`` does, rounded up as ``from_time`` does."""
    return when_words(_minute_up(moment), now, zone)


def when_words(moment: datetime, now: datetime, zone: ZoneInfo) -> str:
    """Return the wall clock, with the weekday when it is not today at the venue."""
    today = moment.astimezone(zone).date() == now.astimezone(zone).date()
    return clock_time(moment, zone) if today else day_time(moment, zone)


def needed_words(minutes: float) -> str:
    """Return a length of time that is needed, rounded up to whole minutes: never too short."""
    # a hair of slack, so that sums of whole minutes stay whole
    return minutes_words(math.ceil(minutes - 1e-6))


def ago(then: datetime, now: datetime) -> str:
    """Return how long ago a moment was, in words."""
    minutes = (now - then).total_seconds() / 60
    if minutes < 0:
        return f"in {minutes_words(minutes)}"
    return "just now" if minutes < 1 else f"{minutes_words(minutes)} ago"


def part_label(label: str, part: str) -> str:
    """Return what a part is called: its label, or its short name when it has none."""
    return label or part
