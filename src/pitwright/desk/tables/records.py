"""The tables of what was read, set, fitted and built."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from pitwright.desk.tables.day import day_tables
from pitwright.desk.tables.maker import (
    Col,
    FigureOf,
    Within,
    itself,
    of_kind,
    record_columns,
    record_of,
    table,
)
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import (
    AnyRecord,
    Build,
    CarryOver,
    Check,
    Fit,
    Reading,
    Record,
    Setting,
    StepResult,
)
from pitwright.weekend.table import DataTable

__all__ = ["record_tables"]

_R = TypeVar("_R", bound=Record)


@dataclass(frozen=True)
class _Read(Within):
    reading: Reading


@dataclass(frozen=True)
class _Done(Within):
    build: Build
    step: Step | None
    result: StepResult


def record_tables(event: str, records: Iterable[AnyRecord]) -> Iterator[DataTable]:
    """Yield one table for each kind of record in force but heats, with their lists as tables."""
    every = list(records)
    yield from _readings(event, every)
    yield from _moves(event, every)
    yield from _builds(event, every)
    yield from day_tables(event, every)


def _readings(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    yield table(
        "checks",
        event,
        [
            *record_columns(itself),
            Col[Check]("step", "text", lambda x: x.step),
            Col("readings", "integer", lambda x: len(x.readings)),
            Col("note", "text", lambda x: x.note),
        ],
        of_kind(Check, records),
    )
    read = [
        _Read(record, number, reading)
        for record in records
        if isinstance(record, Check | CarryOver)
        for number, reading in enumerate(record.readings, 1)
    ]
    yield table(
        "readings",
        event,
        [
            *record_columns(record_of),
            Col[_Read]("reading", "integer", lambda x: x.number),
            Col("carried_over", "boolean", lambda x: isinstance(x.record, CarryOver)),
            Col("quantity", "text", lambda x: x.reading.quantity),
            Col("part", "text", lambda x: x.reading.part),
            Col("instrument", "text", lambda x: x.reading.instrument),
            Col("value_mm", "real", lambda x: round(x.reading.value_mm, 9)),
            Col("repeats", "integer", lambda x: len(x.reading.values_mm)),
            Col("u_mm", "real", lambda x: x.reading.u_mm),
            Col("coverage_k", "real", lambda x: x.reading.k),
            Col("low_mm", "real", lambda x: x.reading.low_mm),
            Col("high_mm", "real", lambda x: x.reading.high_mm),
            Col("discard_below_mm", "real", lambda x: x.reading.discard_below_mm),
            Col("discard_above_mm", "real", lambda x: x.reading.discard_above_mm),
            Col("rule", "text", lambda x: x.reading.rule),
            Col("verdict", "text", lambda x: x.reading.verdict),
            Col("typed", "text", lambda x: x.reading.typed),
            Col("squeezes", "integer", lambda x: x.reading.squeezes),
            Col("reason", "text", lambda x: x.reading.reason),
        ],
        read,
    )
    yield table(
        "reading_repeats",
        event,
        [
            Col[FigureOf]("record", "text", lambda x: x.record.id),
            Col("reading", "integer", lambda x: x.number),
            Col("repeat", "integer", lambda x: x.repeat),
            Col("value_mm", "real", lambda x: x.value),
        ],
        [
            FigureOf(r.record, r.number, value, repeat=repeat)
            for r in read
            for repeat, value in enumerate(r.reading.values_mm, 1)
        ],
    )


def _moves(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    yield table(
        "settings",
        event,
        [
            *record_columns(itself),
            Col[Setting]("recess_mm", "real", lambda x: x.recess_mm),
            Col("u_mm", "real", lambda x: x.u_mm),
            Col("turns_in", "real", lambda x: x.turns_in),
            Col("step", "text", lambda x: x.step),
            Col("note", "text", lambda x: x.note),
        ],
        of_kind(Setting, records),
    )
    fits = of_kind(Fit, records)
    yield table(
        "fits",
        event,
        [
            *record_columns(itself),
            Col[Fit]("place", "text", lambda x: x.place),
            Col("part", "text", lambda x: x.part),
            Col("shims", "integer", lambda x: len(x.shims_mm) if x.part is None else None),
            Col(
                "shims_total_mm",
                "real",
                lambda x: round(sum(x.shims_mm), 6) if x.part is None else None,
            ),
            Col("removed", "text", lambda x: x.removed),
            Col("fate", "text", lambda x: x.fate),
            Col("reason", "text", lambda x: x.reason),
            Col("step", "text", lambda x: x.step),
            Col("note", "text", lambda x: x.note),
        ],
        fits,
    )
    yield table(
        "fitted_shims",
        event,
        [
            Col[FigureOf]("record", "text", lambda x: x.record.id),
            Col("shim", "integer", lambda x: x.number),
            Col("thickness_mm", "real", lambda x: x.value),
        ],
        [FigureOf(f, n, shim) for f in fits for n, shim in enumerate(f.shims_mm, 1)],
    )


def _builds(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    builds = of_kind(Build, records)
    yield table(
        "builds",
        event,
        [
            *record_columns(itself),
            Col[Build]("route", "text", lambda x: x.route),
            Col("finished_at_utc", "moment", lambda x: x.finished_at),
            Col(
                "took_min",
                "real",
                lambda x: round((x.finished_at - x.happened_at).total_seconds() / 60, 6),
            ),
            Col("steps", "integer", lambda x: len(x.steps)),
            Col("note", "text", lambda x: x.note),
        ],
        builds,
    )
    done = [
        _Done(
            build,
            number,
            build,
            next((s for s in build.steps if s.id == result.step), None),
            result,
        )
        for build in builds
        for number, result in enumerate(build.results, 1)
    ]
    yield table(
        "build_steps",
        event,
        [
            Col[_Done]("record", "text", lambda x: x.build.id),
            Col("clutch", "text", lambda x: x.build.clutch),
            Col("number", "integer", lambda x: x.number),
            Col("step", "text", lambda x: x.result.step),
            Col("title", "text", lambda x: x.step.title if x.step else None),
            Col("done_at_utc", "moment", lambda x: x.result.done_at),
            Col("working_s", "real", lambda x: x.result.seconds),
            Col("batch", "boolean", lambda x: x.result.batch),
            Col("skipped_because", "text", lambda x: x.result.skipped_because),
            Col("out_because", "text", lambda x: x.result.out_because),
            Col("torque_done", "boolean", lambda x: x.result.torque_done),
            Col("thread_lock_applied", "boolean", lambda x: x.result.thread_lock_applied),
            Col("thread_lock_at_utc", "moment", lambda x: x.result.thread_lock_at),
            Col("records", "text", lambda x: " ".join(x.result.checks)),
            Col("note", "text", lambda x: x.result.note),
        ],
        done,
    )
