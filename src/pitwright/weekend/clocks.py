"""Clocks that were wrong: set back between two records, or away from the weekend's dates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise, takewhile

from pitwright.weekend.event import EventCard
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import AnyRecord, CarryOver, ClockShift, Correction

__all__ = [
    "LiveShift",
    "clock_problems",
    "live_shifts",
    "name_problems",
    "shift_minutes",
    "stands_back",
    "taken_twice",
    "void_corrections",
]

# Clocks that a network sets step by a second or two; nobody orders heats by that.
_SLACK = timedelta(minutes=1)
_AT_NO_DATE = (CarryOver, ClockShift, Correction)


def void_corrections(corrections: Sequence[Correction]) -> set[str]:
    """Return the ids of corrections that a later correction without replacement takes back."""
    ids = {c.id for c in corrections}
    void: set[str] = set()
    # The latest speak first: taking back a taking-back restores what it had undone.
    for correction in sorted(corrections, key=lambda c: (c.recorded_at or c.happened_at, c.id))[
        ::-1
    ]:
        if correction.id in void:
            continue
        if correction.replacement is None and correction.replaces in ids:
            void.add(correction.replaces)
    return void


@dataclass(frozen=True)
class LiveShift:
    """A clock shift that nobody has taken back, and the ids of the records it moves."""

    shift: ClockShift
    moves: frozenset[str]


def live_shifts(records: Iterable[AnyRecord]) -> list[LiveShift]:
    """Return the clock shifts that nobody has taken back.

    One that does not name its records moves the range it gives, but no number in it that stands
    twice: whose clock that was is not known.
    """
    records = list(records)
    corrections = [r for r in records if isinstance(r, Correction)]
    void = void_corrections(corrections)
    gone = {c.replaces for c in corrections if c.id not in void and c.replacement is None}
    live = [r for r in records if isinstance(r, ClockShift) and r.id not in gone]
    if not live:
        return []
    twice = {r.id for group in taken_twice(records) for r in group}
    return [LiveShift(s, frozenset(s.records or _in_range(s, records, twice))) for s in live]


def _in_range(
    shift: ClockShift, records: Iterable[AnyRecord], twice: Container[str]
) -> Iterator[str]:
    for r in records:
        inside = shift.first_sequence <= r.sequence <= shift.last_sequence
        if inside and r.laptop == shift.of_laptop and r.id not in twice:
            yield r.id


def taken_twice(records: Iterable[AnyRecord]) -> list[list[AnyRecord]]:
    """Return the groups of records that have one laptop and one number, in order."""
    by_number: dict[tuple[str, int], list[AnyRecord]] = defaultdict(list)
    for record in records:
        by_number[record.laptop, record.sequence].append(record)
    return [sorted(g, key=lambda r: r.id) for _, g in sorted(by_number.items()) if len(g) > 1]


def name_problems(records: Iterable[AnyRecord]) -> list[Problem]:
    """Return a warning for each laptop's name under which a number was taken twice."""
    by_laptop: dict[str, list[list[AnyRecord]]] = defaultdict(list)
    for group in taken_twice(records):
        by_laptop[group[0].laptop].append(group)
    found = []
    for laptop, groups in by_laptop.items():
        first, second = groups[0][:2]
        others = len(groups) - 1
        more = f", and {others} more number{'' if others == 1 else 's'} so" if others else ""
        found.append(
            Problem(
                f"log/{second.id}.toml",
                "sequence",
                f"is number {first.sequence} of {laptop}, as log/{first.id}.toml is{more}: two "
                "laptops of one name, or one entry kept twice",
                "all of them count; take back what stands twice. Their times can be put right "
                "one by one only",
                "warning",
                f"has a number of {laptop} that another record has as well{more}: two laptops "
                "of one name, or one entry kept twice",
            )
        )
    return found


def shift_minutes(
    shifts: Iterable[LiveShift], record: AnyRecord, by: Correction | None = None
) -> float:
    """Return by how many minutes a record's moment is to be shifted.

    ``by`` is the correction whose moment stands in the record's place. One made after the shift
    was noted has seen the shifted time, and is not shifted again.
    """
    return sum(
        s.shift.minutes
        for s in shifts
        if record.id in s.moves and (by is None or not _after(by, s.shift))
    )


def _after(correction: Correction, shift: ClockShift) -> bool:
    if correction.laptop == shift.laptop:
        return correction.sequence > shift.sequence
    made = correction.recorded_at or correction.happened_at
    return made > (shift.recorded_at or shift.happened_at)


def stands_back(records: Iterable[AnyRecord], laptop: str, now: datetime) -> timedelta | None:
    """Return how far a laptop's clock stands before its last record; None when it does not."""
    records = list(records)
    last = max((r for r in records if r.laptop == laptop), key=lambda r: r.sequence, default=None)
    if last is None:
        return None
    back = _recorded(last, live_shifts(records)) - now
    return back if back > _SLACK else None


def _recorded(record: AnyRecord, shifts: Sequence[LiveShift]) -> datetime:
    assert record.recorded_at is not None
    if not shifts:
        return record.recorded_at
    minutes = shift_minutes(shifts, record)
    return record.recorded_at + timedelta(minutes=minutes)


def clock_problems(event: EventCard, records: Sequence[AnyRecord]) -> tuple[Problem, ...]:
    """Return a warning for each place where a laptop's clock went back, and one for each laptop
    with records outside the weekend's dates.

    What a clock shift has put right is in order. A carry over is written before the weekend.
    """
    shifts = live_shifts(records)
    by_laptop: dict[str, list[AnyRecord]] = defaultdict(list)
    for record in records:
        by_laptop[record.laptop].append(record)
    problems: list[Problem] = []
    for laptop, own in sorted(by_laptop.items()):
        own.sort(key=lambda r: (r.sequence, _recorded(r, ())))
        problems += _set_back(laptop, own, shifts)
        problems += _off_the_dates(event, laptop, own, shifts)
    return tuple(problems)


def _set_back(laptop: str, own: Sequence[AnyRecord], shifts: Sequence[LiveShift]) -> list[Problem]:
    found: list[Problem] = []
    # Of two laptops of one name, the clocks cannot be held against each other.
    twice = {r.sequence for group in taken_twice(own) for r in group}
    for index, (before, record) in enumerate(pairwise(own)):
        if before.sequence in twice or record.sequence in twice:
            continue
        back = _recorded(before, shifts) - _recorded(record, shifts)
        if back > _SLACK:
            minutes = round(back.total_seconds() / 60)
            first = _first_shifted_alike(own[: index + 1], shifts)
            found.append(
                Problem(
                    f"log/{record.id}.toml",
                    "recorded_at",
                    f"lies {minutes} min before the record that {laptop} wrote just before it: "
                    "its clock was set back",
                    "if the records before it are wrong: pitwright shift-clock FOLDER --laptop "
                    f"{laptop} --from {first.sequence} --to {before.sequence} --minutes "
                    f"-{minutes}",
                    "warning",
                )
            )
    return found


def _first_shifted_alike(own: Sequence[AnyRecord], shifts: Sequence[LiveShift]) -> AnyRecord:
    """Return where the run begins that was shifted as the last one was: the rest is right."""
    by = shift_minutes(shifts, own[-1])
    return list(takewhile(lambda r: shift_minutes(shifts, r) == by, reversed(own)))[-1]


def _off_the_dates(
    event: EventCard, laptop: str, own: Sequence[AnyRecord], shifts: Sequence[LiveShift]
) -> list[Problem]:
    zone = event.zone
    off: list[tuple[AnyRecord, datetime]] = []
    for record in own:
        if isinstance(record, _AT_NO_DATE):
            continue
        minutes = shift_minutes(shifts, record) if shifts else 0
        moment = (record.happened_at + timedelta(minutes=minutes)).astimezone(zone)
        if not event.starts_on <= moment.date() <= event.ends_on:
            off.append((record, moment))
    if not off:
        return []
    first, moment = off[0]
    others = len(off) - 1
    more = f", and {others} more record{'' if others == 1 else 's'} of {laptop}" if others else ""
    many = "1 record" if len(off) == 1 else f"{len(off)} records"
    return [
        Problem(
            f"log/{first.id}.toml",
            "happened_at",
            f"is {moment:%d %B %Y}, outside the weekend's dates; {many} of {laptop} so",
            "fine for work at home; if the clock was wrong: pitwright shift-clock FOLDER --laptop "
            f"{laptop} --from {first.sequence} --to {off[-1][0].sequence} --minutes MINUTES",
            "warning",
            f"is dated {moment:%d %B %Y}, outside the weekend's dates{more}",
        )
    ]
