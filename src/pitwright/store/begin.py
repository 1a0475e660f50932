"""Beginning a weekend: what the user says of it is checked, then its folder is made."""

from __future__ import annotations

import os
import re
import unicodedata
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pitwright.store.create import new_weekend
from pitwright.store.files import StoreError
from pitwright.store.session import CannotOpenError, Session
from pitwright.weekend.carry import carry_over
from pitwright.weekend.problems import Problem

__all__ = ["CannotBeginError", "begin_weekend", "folder_name", "laptop_zone", "zone_trouble"]

_MOST_DAYS = 31


class CannotBeginError(Exception):
    """The weekend cannot be made; ``field`` is what to mend: name, folder, zone, days or old."""

    def __init__(self, field: str, reason: str) -> None:
        super().__init__(reason)
        self.field = field


def laptop_zone() -> str:
    """Return this laptop's time zone, UTC when it does not tell."""
    named = os.environ.get("TZ", "").lstrip(":")
    if named and not named.startswith("/"):
        return named
    link = Path("/etc/localtime")
    parts = str(link.resolve()).split("zoneinfo/") if link.exists() else []
    return parts[1] if len(parts) == 2 else "UTC"


def zone_trouble(name: str) -> str:
    """Return what is wrong with a time zone's name, or nothing."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return f"'{name}' is not a time zone such as Europe/Lisbon"
    return ""


def folder_name(event: str) -> str:
    """Return a folder's name for an event.

    >>> folder_name("Reedmere Spring Cup 2026")
    'reedmere-spring-cup-2026'
    """
    bare = unicodedata.normalize("NFKD", event).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", bare).strip("-")[:60] or "weekend"


def begin_weekend(
    folder: Path,
    *,
    name: str = "",
    time_zone: str = "",
    starts_on: date,
    days: int = 3,
    old: Path | None = None,
    now: datetime,
) -> tuple[Problem, ...]:
    """Make a weekend folder, carrying cards, parts and setting over from ``old`` when named.

    An empty name is the folder's, an empty time zone that of ``old`` or of this laptop. Returns
    the problems of ``old``, for what was carried over is as good as its files. Raises
    CannotBeginError.
    """
    problems: tuple[Problem, ...] = ()
    if not 1 <= days <= _MOST_DAYS:
        raise CannotBeginError("days", f"the days must be between 1 and {_MOST_DAYS}")
    trouble = zone_trouble(time_zone) if time_zone else ""
    if trouble:
        raise CannotBeginError("zone", trouble)
    carry = None
    if old is not None:
        try:
            with Session(old, write=False) as session:
                carry, problems = carry_over(session.weekend, now), session.problems
                time_zone = time_zone or session.weekend.event.time_zone
        except CannotOpenError as error:
            first = error.problems[0] if error.problems else "it cannot be read"
            raise CannotBeginError("old", f"the earlier weekend cannot be read: {first}") from error
    zone = time_zone or laptop_zone()
    trouble = zone_trouble(zone)
    if trouble:
        raise CannotBeginError("zone", trouble)
    try:
        new_weekend(
            folder,
            name=name or folder.resolve().name,
            time_zone=zone,
            starts_on=starts_on,
            days=days,
            cards_from=old,
            carry=carry,
            now=now,
        )
    except (FileExistsError, StoreError) as error:
        raise CannotBeginError("folder", str(error)) from error
    return problems
