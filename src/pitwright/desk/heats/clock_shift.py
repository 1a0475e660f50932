"""A laptop's clock was wrong: the record that puts a range of its records right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from pitwright.desk.form_text import (
    FieldError,
    FormError,
    FormField,
    FormReader,
    read_signed_minutes,
    refused,
)
from pitwright.desk.wording import counted, day_time
from pitwright.weekend.clocks import taken_twice
from pitwright.weekend.log import in_force
from pitwright.weekend.records import AnyRecord, ClockShift

__all__ = ["ShiftPlan", "plan_shift", "shift_form"]


@dataclass(frozen=True)
class ShiftPlan:
    """The record to write, how many records it moves, and where the first one goes."""

    record: ClockShift
    count: int
    first_before: datetime
    first_after: datetime

    def words(self, zone: ZoneInfo) -> str:
        """Return what is moved, in words."""
        before, after = day_time(self.first_before, zone), day_time(self.first_after, zone)
        return (
            f"{counted(self.count, 'record')} of {self.record.of_laptop} "
            f"shifted by {self.record.minutes:+g} min; "
            f"the first from {before} to {after}"
        )


def _own(records: Sequence[AnyRecord], laptop: str) -> list[AnyRecord]:
    own = (r for r in records if r.laptop == laptop and not isinstance(r, ClockShift))
    return sorted(own, key=lambda r: r.sequence)


def shift_form(records: Sequence[AnyRecord], laptop: str) -> tuple[FormField, ...]:
    """Return the form: whose clock, from which of its records to which, and by how much."""
    own = _own(records, laptop)
    if not own and records:
        # An earlier pitwright called this laptop otherwise.
        laptop = max(records, key=lambda r: r.recorded_at or r.happened_at).laptop
        own = _own(records, laptop)
    first, last = (f"{own[0].sequence}", f"{own[-1].sequence}") if own else ("", "")
    return (
        FormField("laptop", "Laptop", laptop, "its short name", half=False),
        FormField("first", "First record", first, "its number", half=True),
        FormField("last", "Last record", last, "its number", half=True),
        FormField("minutes", "Shift by", "", "-60 or +1 h", half=False),
        FormField("reason", "Why", "", "the clock was an hour ahead", half=False),
    )


def plan_shift(records: Sequence[AnyRecord], values: Mapping[str, str], now: datetime) -> ShiftPlan:
    """Return the clock shift a form asks for. Raises FormError.

    ``records`` are those of the log as written. Positive minutes move records to a later time. No
    range is shifted in which a number is missing: its record, once it can be read, would stay where
    it is, and if it were moved by its number alone it might be another laptop's of the same name.
    """
    read = FormReader(values)
    laptop = read.line("laptop")
    laptops = sorted({r.laptop for r in records})
    if laptop not in laptops:
        read.errors["laptop"] = f"Laptop: one of {', '.join(laptops) or 'none: the log is empty'}"
    first = read("first", "First record", _number)
    last = read("last", "Last record", _number)
    minutes = read("minutes", "Shift by", _shift)
    moved = [r for r in _own(records, laptop) if (first or 1) <= r.sequence <= (last or 10**9)]
    if not read.errors and not moved:
        read.errors["first"] = f"First record: {laptop} has no records with these numbers"
    missing = _missing(records, laptop, first or moved[0].sequence, last) if moved else None
    if not read.errors and missing is not None:
        read.errors["first"] = (
            f"First record: number {missing} of {laptop} is not there or cannot be read. Put it "
            "right first, or shift the numbers before it and those after it, each by themselves"
        )
    twice = taken_twice(moved)
    if not read.errors and twice:
        read.errors["laptop"] = (
            f"Laptop: {laptop} has number {twice[0][0].sequence} twice, in "
            f"{' and '.join(r.id for r in twice[0])}. Whose clock was it? Shift a range without "
            "such numbers, or correct the times one by one"
        )
    if read.errors:
        raise FormError(read.errors)
    try:
        record = ClockShift(
            happened_at=now,
            of_laptop=laptop,
            first_sequence=moved[0].sequence,
            last_sequence=moved[-1].sequence,
            minutes=minutes,
            records=[r.id for r in moved],
            reason=read.line("reason"),
        )
    except ValidationError as error:
        raise refused(error, {}) from None
    before = _first_moment(records, moved)
    return ShiftPlan(record, len(moved), before, before + timedelta(minutes=minutes))


def _missing(records: Sequence[AnyRecord], laptop: str, first: int, last: int | None) -> int | None:
    """Return the first number from ``first`` on that stands before another one and is not there."""
    there = sorted({r.sequence for r in records if r.laptop == laptop and r.sequence >= first})
    for number, found in enumerate(there, first):
        if found != number:
            return number if last is None or number <= last else None
    return None


def _first_moment(records: Sequence[AnyRecord], moved: Sequence[AnyRecord]) -> datetime:
    """Return when the first of the records happened, as it counts until now."""
    log = in_force(records)
    now = {r.id: r.happened_at for r in log.records}
    now |= {r.record.id: now[r.last.id] for r in log.replaced if r.last.id in now}
    return next((now[r.id] for r in moved if r.id in now), moved[0].happened_at)


def _number(text: str) -> int | None:
    text = text.strip()
    if not text:
        return None
    if not text.isascii() or not text.isdigit() or not 1 <= len(text) <= 9 or int(text) < 1:
        raise FieldError("a whole number such as 12, or nothing for all")
    return int(text)


def _shift(text: str) -> float:
    minutes = read_signed_minutes(text)
    if minutes is None:
        raise FieldError("how many minutes?")
    if minutes == 0:
        raise FieldError("nothing to shift by 0 minutes")
    return minutes
