"""The end of a build: what bars its sign-off, its record, or the note of one given up."""

from __future__ import annotations

from datetime import datetime

from pitwright.desk.build.facts import (
    Hindrance,
    NotYetError,
    demands,
    is_settled,
    records_of,
    result_of,
)
from pitwright.desk.wording import day_time
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.records import Build, NoteRecord, StepResult
from pitwright.weekend.weekend import Weekend

__all__ = ["abandon_note", "hindrances", "loose_ends", "sign_off"]


def hindrances(build: OpenBuild, weekend: Weekend) -> tuple[Hindrance, ...]:
    """Return what bars the sign-off: open steps, and done ones whose facts no longer hold."""
    found: list[Hindrance] = []
    last_done = max(
        (i for i, s in enumerate(build.steps) if is_settled(result_of(build, s.id))), default=-1
    )
    for index, step in enumerate(build.steps):
        result = result_of(build, step.id)
        if result.skipped_because:
            continue
        if result.done_at is None:
            words = "skipped, no reason" if index < last_done else "still open"
            found.append(Hindrance(step.id, step.title, words))
            continue
        found += [
            Hindrance(step.id, step.title, wanted.words) for wanted in demands(build, weekend, step)
        ]
    return tuple(found)


def sign_off(build: OpenBuild, weekend: Weekend, now: datetime) -> Build:
    """Return the record of the finished build, with the checks and fits made at each step.

    Its ``happened_at`` is when the build was begun. Raises NotYetError with what bars it.
    """
    barred = hindrances(build, weekend)
    if barred:
        raise NotYetError(barred)
    results = [
        _named(result_of(build, step.id), records_of(build, weekend, step.id))
        for step in build.steps
    ]
    return Build(
        clutch=build.clutch,
        happened_at=build.started_at,
        finished_at=max(now.replace(microsecond=0), build.started_at),
        route=build.route,
        steps=build.steps,
        results=results,
        note=build.note,
    )


def _named(result: StepResult, records: tuple[str, ...]) -> StepResult:
    return StepResult(**{**dict(result), "checks": list(records)})


def loose_ends(build: OpenBuild) -> tuple[str, ...]:
    """Return what does not bar the sign-off but should be seen once more before it."""
    found: list[str] = []
    for step in build.steps:
        result = result_of(build, step.id)
        if result.skipped_because:
            found.append(f"{step.title}: skipped, {result.skipped_because}")
        if result.out_because:
            found.append(f"{step.title}: out of limits, {result.out_because}")
        if result.thread_lock_applied is False:
            found.append(f"{step.title}: thread-lock not applied")
    return tuple(found)


def abandon_note(build: OpenBuild, weekend: Weekend, reason: str, now: datetime) -> NoteRecord:
    """Return the note that stays of a build given up; what was measured and fitted stays too."""
    done = sum(1 for r in build.results if r.done_at is not None)
    begun = day_time(build.started_at, weekend.event.zone)
    text = (
        f"{build.route.capitalize()} begun {begun} was given up after {done} of "
        f"{len(build.steps)} steps. {reason.strip()}"
    )
    notes = [
        f"{step.title}: {r.note}" for step in build.steps if (r := result_of(build, step.id)).note
    ]
    if build.note:
        notes.append(build.note)
    return NoteRecord(
        clutch=build.clutch,
        happened_at=now,
        text="\n".join([text, *notes])[:4000],
        about="build",
        open_point=True,
    )
