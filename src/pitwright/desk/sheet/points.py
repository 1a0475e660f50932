"""Open points: what is still to be seen to when a sheet is made."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from pitwright.desk.heats.heats import landed
from pitwright.desk.heats.timeline import timeline
from pitwright.desk.sheet.scope import Scope
from pitwright.desk.stock.stock import shims_now
from pitwright.desk.wording import day_time, mm
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import (
    AnyRecord,
    Build,
    Fit,
    HeatRun,
    NoteRecord,
    StockChange,
)
from pitwright.weekend.weekend import Weekend

__all__ = ["OpenPoint", "open_points"]

PointSort = Literal[
    "note", "skipped", "out", "open build", "open heat", "heat", "not kept", "stock", "files"
]


@dataclass(frozen=True)
class OpenPoint:
    """One thing to see to: what, why or what is known of it, and since when."""

    sort: PointSort
    what: str
    why: str = ""
    at: datetime | None = None


def open_points(scope: Scope, problems: Iterable[Problem] = ()) -> tuple[OpenPoint, ...]:
    """Return what is open at the close of the sheet, whenever it came up.

    ``problems`` are those of the folder's files; the log's own conflicts are added. What a later
    build has made good is no longer open, nor what was noted about a heat that has been run or
    called off since, or about a part thrown away since.
    """
    weekend = scope.weekend
    return (
        *_notes(weekend),
        *_steps(weekend),
        *_in_progress(scope),
        *_heats(scope),
        *_stock(weekend),
        *_files([*weekend.log.problems, *problems]),
    )


def _notes(weekend: Weekend) -> Iterator[OpenPoint]:
    """Yield the points noted that are not over: a point ends with the heat or part it is about."""
    labels = {
        part.part: part.label.casefold()
        for clutch in weekend.clutches
        for part in weekend.state(None, clutch).parts.values()
    }
    for record in weekend.log.records:
        if not isinstance(record, NoteRecord) or not record.open_point:
            continue
        about = record.about.casefold().strip()
        since = (r for r in weekend.log.records if r.happened_at >= record.happened_at)
        if not about or not any(about in _ends(r, labels) for r in since):
            yield OpenPoint("note", " ".join(record.text.split()), record.about, record.happened_at)


def _ends(record: AnyRecord, labels: Mapping[str, str]) -> tuple[str, ...]:
    """Return what is over with a record, as a point may call it: a heat run, a part gone."""
    part = None
    if isinstance(record, HeatRun):
        return (record.heat.casefold(),)
    if isinstance(record, Fit) and record.fate == "discarded":
        part = record.removed
    elif isinstance(record, StockChange) and record.change in ("discarded", "lost"):
        part = record.part
    return () if part is None else (part.casefold(), labels.get(part, ""))


def _steps(weekend: Weekend) -> Iterator[OpenPoint]:
    """Yield the steps skipped or signed off out of limits in the last build that had them."""
    last: dict[tuple[str, str], Build] = {}
    for record in weekend.log.records:
        if isinstance(record, Build):
            last |= {(record.clutch, step.id): record for step in record.steps}
    for (_clutch, key), build in last.items():
        step = next(s for s in build.steps if s.id == key)
        result = next((r for r in build.results if r.step == key), None)
        if result is None:
            continue
        if result.skipped_because:
            yield OpenPoint(
                "skipped", f"{step.title}: skipped", result.skipped_because, build.finished_at
            )
        if result.out_because:
            yield OpenPoint(
                "out", f"{step.title}: out of limits", result.out_because, build.finished_at
            )


def _in_progress(scope: Scope) -> Iterator[OpenPoint]:
    work, weekend = scope.weekend.open, scope.weekend
    if work.build is not None:
        settled = sum(1 for r in work.build.results if r.done_at or r.skipped_because)
        yield OpenPoint(
            "open build",
            f"{work.build.route.capitalize()} not finished",
            f"{settled} of {len(work.build.steps)} steps",
            work.build.started_at,
        )
    if work.heat is not None and not landed(weekend, work.heat):
        running = work.heat.stopped_at is None
        yield OpenPoint(
            "open heat",
            f"{work.heat.heat.heat} {'is running' if running else 'is stopped, not kept yet'}",
            "",
            work.heat.heat.happened_at,
        )
    for draft in work.drafts.values():
        typed = ", ".join(" ".join(text.split()) for text in draft.fields.values())
        shown = typed if len(typed) <= 60 else f"{typed[:59]}…"
        yield OpenPoint("not kept", f"Typed and not kept: {shown}", "", draft.saved_at)


def _heats(scope: Scope) -> Iterator[OpenPoint]:
    for line in timeline(scope.weekend, scope.now).heats:
        if line.status == "not noted":
            yield OpenPoint("heat", f"{line.heat} is not noted: run or called off?", "", line.at)
        elif line.status in ("run", "stopped early") and line.run_minutes is None:
            when = day_time(line.at, scope.weekend.event.zone)
            yield OpenPoint(
                "heat", f"{line.heat}: how long it ran is not noted", f"run {when}", line.at
            )


def _stock(weekend: Weekend) -> Iterator[OpenPoint]:
    for shim in shims_now(weekend):
        if shim.missing:
            yield OpenPoint(
                "stock",
                f"Count the {mm(shim.mm)} shims",
                f"{shim.missing} more used than owned",
            )


def _files(problems: Iterable[Problem]) -> Iterator[OpenPoint]:
    for problem in dict.fromkeys(problems):
        place = f"{problem.file}: {problem.key}" if problem.key else problem.file
        yield OpenPoint("files", f"{place}: {problem.reason}", problem.advice)
