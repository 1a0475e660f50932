"""The days of a weekend, and the weekend as it stood when a day closed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from pitwright.weekend.open_work import OpenWork
from pitwright.weekend.records import AnyRecord, Build
from pitwright.weekend.schedule import to_utc
from pitwright.weekend.weekend import Weekend

__all__ = ["Scope", "Standing", "day_words", "default_day", "scope_of", "weekend_days"]

Standing = Literal["to come", "in progress", "over"]


@dataclass(frozen=True)
class Scope:
    """What a sheet covers: from ``start`` to before ``end`` (UTC); ``day`` None is the weekend.

    ``weekend`` holds the log up to the end only, with later corrections of it: a day's sheet says
    what was known and to be done when that day closed. ``now`` is the moment that sheet looks
    ahead from, never later than the close.
    """

    day: date | None
    start: datetime
    end: datetime
    now: datetime
    standing: Standing
    weekend: Weekend

    def holds(self, moment: datetime) -> bool:
        """Tell whether a moment lies in it."""
        return self.start <= moment < self.end


def _moment_of(record: AnyRecord) -> datetime:
    return record.finished_at if isinstance(record, Build) else record.happened_at


def weekend_days(weekend: Weekend) -> tuple[date, ...]:
    """Return the event's days, with any other day on which a heat is planned or noted."""
    event, zone = weekend.event, weekend.event.zone
    days = {
        event.starts_on + timedelta(n) for n in range((event.ends_on - event.starts_on).days + 1)
    }
    days |= {heat.day(zone) for heat in weekend.schedule}
    days |= {heat.run.happened_at.astimezone(zone).date() for heat in weekend.heats}
    return tuple(sorted(days))


def default_day(weekend: Weekend, now: datetime) -> date:
    """Return today while the weekend is on, else its first or last day."""
    days = weekend_days(weekend)
    today = now.astimezone(weekend.event.zone).date()
    if today in days:
        return today
    return next((day for day in days if day > today), days[-1])


def scope_of(weekend: Weekend, now: datetime, day: date | None) -> Scope:
    """Return what a sheet of ``day`` covers, of the whole weekend when None."""
    zone = weekend.event.zone
    days = weekend_days(weekend)
    first, last = (day, day) if day is not None else (days[0], days[-1])
    start = to_utc(datetime.combine(first, time.min), zone)
    end = to_utc(datetime.combine(last + timedelta(1), time.min), zone)
    standing: Standing = "to come" if now < start else "in progress" if now < end else "over"
    if day is None:
        # Records outside the event's days, such as work the evening before, belong to it too.
        moments = [_moment_of(r) for r in weekend.log.records]
        start, end = min([start, *moments]), max([end, *(m + timedelta(0, 1) for m in moments)])
        return Scope(None, start, end, now, standing, weekend)
    return Scope(day, start, end, min(now, end), standing, _closed(weekend, now, end))


def _closed(weekend: Weekend, now: datetime, end: datetime) -> Weekend:
    if all(_moment_of(record) < end for record in weekend.log.records) and now < end:
        return weekend
    log = weekend.log
    known = replace(
        log,
        records=tuple(r for r in log.records if _moment_of(r) < end),
        replaced=tuple(r for r in log.replaced if _moment_of(r.record) < end),
    )
    # What is in progress now was not in progress when an earlier day closed.
    open_work = weekend.open if now < end else OpenWork()
    return replace(weekend, log=known, open=open_work)


def day_words(days: Iterable[date]) -> str:
    """Return a day or a span of days: ``Saturday 16 May 2026``, ``15 to 17 May 2026``."""
    span = list(days)
    first, last = span[0], span[-1]
    if first == last:
        return f"{first:%A} {first.day} {first:%B} {first.year}"
    start = (
        f"{first.day}"
        if (first.year, first.month) == (last.year, last.month)
        else (
            f"{first.day} {first:%B}"
            if first.year == last.year
            else f"{first.day} {first:%B} {first.year}"
        )
    )
    return f"{start} to {last.day} {last:%B} {last.year}"
