"""From the raw records to the ones in force: corrections followed, clocks put right, in order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.clocks import (
    live_shifts,
    name_problems,
    shift_minutes,
    void_corrections,
)
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import AnyRecord, Build, ClockShift, Correction, StepResult
from pitwright.weekend.stock import Stock
from pitwright.weekend.story import Story

__all__ = ["Log", "Replaced", "in_force"]

_OF_RECORDS = (Correction, ClockShift)  # they say something of other records, not of a clutch
_MOST_STORIES = 12  # clutches, and cards that were only tried out


@dataclass(frozen=True)
class Replaced:
    """A record that no longer counts: the correction that replaced it first, and the last one.

    ``last`` is in force; a record in its place carries its id.
    """

    record: AnyRecord
    by: Correction
    last: Correction


@dataclass(frozen=True)
class Log:
    """The records in force, in order, with what was replaced and what does not fit together.

    ``stories`` are those told of this log or of the one that it came from, the one
    asked for last comes first.
    """

    records: tuple[AnyRecord, ...] = ()
    replaced: tuple[Replaced, ...] = ()
    problems: tuple[Problem, ...] = field(default=())
    stories: tuple[Story, ...] = field(default=(), compare=False, repr=False)

    def __len__(self) -> int:
        """Return how many records are in force."""
        return len(self.records)

    def story(self, card: ClutchCard, stock: Stock) -> Story:
        """Return what became of a clutch; told once, and from where an earlier log's story ends."""
        told = next((s for s in self.stories if s.is_of(card, stock)), None)
        if told is None or told.records is not self.records:
            told = Story(card, stock, self.records, told)
        if not self.stories or self.stories[0] is not told:
            others = [s for s in self.stories if not s.is_of(card, stock)]
            # Nobody can tell: what is asked of a log does not change it.
            object.__setattr__(self, "stories", (told, *others[: _MOST_STORIES - 1]))
        return told


def in_force(raw: Iterable[AnyRecord], before: Log | None = None) -> Log:
    """Resolve corrections and clock shifts; order by moment, laptop and sequence.

    A corrected record carries the correction's id, so every figure names the file it stands in.
    Two corrections of one record are reported as a conflict; the later-recorded one is used
    until one of them is taken back. ``before`` is the log as it was resolved last, of any records:
    its stories go on from there, and what stands in it the same is the same record here.
    """
    records = list(raw)
    corrections = [r for r in records if isinstance(r, Correction)]
    known = {r.id for r in records}
    problems = [
        Problem(
            f"log/{c.id}.toml",
            "replaces",
            f"names '{c.replaces}', which is not in the log",
            "copy the missing record into the log folder, or take this correction back",
            plain="corrects a record that is not in the log",
        )
        for c in corrections
        if c.replaces not in known
    ]
    by_target: dict[str, list[Correction]] = defaultdict(list)
    for correction in corrections:
        by_target[correction.replaces].append(correction)

    void = void_corrections(corrections)
    problems += [
        Problem(
            f"log/{c}.toml",
            "replaces",
            "this correction leads back to itself",
            plain="leads back to itself",
        )
        for c in sorted(_circular(corrections))
    ]
    problems += name_problems(records)
    shifts = live_shifts(records)
    was = {r.id: r for r in before.records} if before is not None and (shifts or by_target) else {}
    living: list[AnyRecord] = []
    replaced: list[Replaced] = []
    for record in records:
        if isinstance(record, _OF_RECORDS):
            continue
        if not shifts and record.id not in by_target:
            living.append(record)
            continue
        last, chain = _follow(record.id, by_target, void, problems)
        shifted = _shifted(record, shift_minutes(shifts, record))
        if last is None:
            living.append(_as_before(was, shifted))
            continue
        replaced.append(Replaced(shifted, chain[0], last))
        if last.replacement is not None:
            found = last.replacement.model_copy(
                update={
                    "id": last.id,
                    "laptop": last.laptop,
                    "sequence": record.sequence,
                    "recorded_at": last.recorded_at,
                    "clutch": last.replacement.clutch,
                }
            )
            minutes = shift_minutes(shifts, record, last)
            living.append(_as_before(was, _shifted(found, minutes)))
    return Log(
        tuple(sorted(living, key=_order)),
        tuple(replaced),
        tuple(problems),
        before.stories if before is not None else (),
    )


def _order(record: AnyRecord) -> tuple[datetime, str, int, str]:
    return (record.happened_at, record.laptop, record.sequence, record.id)


def _as_before(was: Mapping[str, AnyRecord], record: AnyRecord) -> AnyRecord:
    """Return the record made for an earlier log when this is the same one made again."""
    earlier = was.get(record.id)
    return earlier if earlier is not None and earlier == record else record


def _circular(corrections: Sequence[Correction]) -> set[str]:
    onward = {c.id: c.replaces for c in corrections}
    circular: set[str] = set()
    for start in onward:
        seen: set[str] = set()
        at = start
        while at in onward and at not in seen:
            seen.add(at)
            at = onward[at]
        if at == start and at in seen:
            circular.add(start)
    return circular


def _follow(
    record_id: str,
    by_target: dict[str, list[Correction]],
    void: set[str],
    problems: list[Problem],
) -> tuple[Correction | None, list[Correction]]:
    """Return the correction in force for a record, and the chain that led to it."""
    chain: list[Correction] = []
    seen = {record_id}
    target = record_id
    while True:
        candidates = [
            c
            for c in by_target.get(target, ())
            if c.id not in void and (not chain or c.replacement is not None)
        ]
        if not candidates:
            return (chain[-1] if chain else None), chain
        candidates.sort(key=lambda c: (c.recorded_at or c.happened_at, c.id))
        if len(candidates) > 1:
            names = " and ".join(f"'{c.id}'" for c in candidates)
            problems.append(
                Problem(
                    f"log/{target}.toml",
                    "",
                    f"is corrected twice, by {names}; the later one is used for now",
                    "take one of the two corrections back",
                    plain="is corrected twice; the later one is used for now",
                )
            )
        chosen = candidates[-1]
        if chosen.id in seen:
            return (chain[-1] if chain else None), chain
        seen.add(chosen.id)
        chain.append(chosen)
        target = chosen.id


def _shifted(record: AnyRecord, minutes: float) -> AnyRecord:
    if not minutes:
        return record
    by = timedelta(minutes=minutes)
    changes: dict[str, object] = {"happened_at": record.happened_at + by}
    if isinstance(record, Build):
        # The same clock said when each step was done and the build was finished.
        changes["finished_at"] = record.finished_at + by
        changes["results"] = [_step_shifted(result, by) for result in record.results]
    return record.model_copy(update=changes)


def _step_shifted(result: StepResult, by: timedelta) -> StepResult:
    done, locked = result.done_at, result.thread_lock_at
    return result.model_copy(
        update={
            "done_at": None if done is None else done + by,
            "thread_lock_at": None if locked is None else locked + by,
        }
    )
