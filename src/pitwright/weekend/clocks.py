"""Clocks that were wrong: set back between two records, or away from the weekend's dates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from pitwright.weekend.event import EventCard
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import AnyRecord, CarryOver, ClockShift, Correction

__all__ = ["clock_problems", "live_shifts", "shift_minutes", "stands_back", "void_corrections"]

# Clocks that a network sets step by a second or two; nobody orders heats by that.
_SLACK = timedelta(minutes=1)


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


def live_shifts(records: Iterable[AnyRecord]) -> list[ClockShift]:
    """Return the clock shifts that nobody has taken back."""
    records = list(records)
    corrections = [r for r in records if isinstance(r, Correction)]
    void = void_corrections(corrections)
    gone = {c.replaces for c in corrections if c.id not in void and c.replacement is None}
    return [r for r in records if isinstance(r, ClockShift) and r.id not in gone]


def shift_minutes(
    shifts: Iterable[ClockShift], laptop: str, sequence: int, by: Correction | None = None
) -> float:
    """Return by how many minutes a record's moment is to be shifted.

    ``by`` is the correction whose moment stands in the record's place. One made after the shift
    was noted has seen the shifted time, and is not shifted again.
    """
    return sum(
        s.minutes
        for s in shifts
        if s.of_laptop == laptop
        and s.first_sequence <= sequence <= s.last_sequence
        and (by is None or not _after(by, s))
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


def _recorded(record: AnyRecord, shifts: Sequence[ClockShift]) -> datetime:
    assert record.recorded_at is not None
    minutes = shift_minutes(shifts, record.laptop, record.sequence)
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


def _set_back(laptop: str, own: Sequence[AnyRecord], shifts: Sequence[ClockShift]) -> list[Problem]:
    found: list[Problem] = []
    for before, record in pairwise(own):
        back = _recorded(before, shifts) - _recorded(record, shifts)
        if back > _SLACK:
            minutes = round(back.total_seconds() / 60)
            found.append(
                Problem(
                    f"log/{record.id}.toml",
                    "recorded_at",
                    f"lies {minutes} min before the record that {laptop} wrote just before it: "
                    "its clock was set back",
                    "if the records before it are wrong: pitwright shift-clock FOLDER --laptop "
                    f"{laptop} --from {own[0].sequence} --to {before.sequence} --minutes "
                    f"-{minutes}",
                    "warning",
                )
            )
    return found


def _off_the_dates(
    event: EventCard, laptop: str, own: Sequence[AnyRecord], shifts: Sequence[ClockShift]
) -> list[Problem]:
    zone = event.zone
    off: list[tuple[AnyRecord, datetime]] = []
    for record in own:
        if isinstance(record, CarryOver | ClockShift | Correction):
            continue
        minutes = shift_minutes(shifts, laptop, record.sequence)
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
