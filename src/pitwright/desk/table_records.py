"""The tables of what was read, set, fitted and built."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from pitwright.desk.table_maker import Col, in_order, itself, record_columns, table
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import (
    AnyRecord,
    Build,
    CarriedPart,
    CarryOver,
    Check,
    Fit,
    NoteRecord,
    NutCalibration,
    Observation,
    Reading,
    Record,
    ScheduleChange,
    Setting,
    StepResult,
    StockChange,
    ZeroCheck,
)
from pitwright.weekend.table import DataTable, Value

__all__ = ["record_tables"]

_R = TypeVar("_R", bound=Record)


@dataclass(frozen=True)
class _Within:
    """One thing of a record, by its place in it."""

    record: Record
    number: int


@dataclass(frozen=True)
class _Read(_Within):
    reading: Reading


@dataclass(frozen=True)
class _Figure(_Within):
    value: float
    other: float = 0.0
    repeat: int = 0


@dataclass(frozen=True)
class _Done(_Within):
    build: Build
    step: Step | None
    result: StepResult


@dataclass(frozen=True)
class _Carried(_Within):
    part: CarriedPart


def record_tables(event: str, records: Iterable[AnyRecord]) -> Iterator[DataTable]:
    """Yield one table for each kind of record in force but heats, with their lists as tables."""
    every = list(records)
    yield from _readings(event, every)
    yield from _moves(event, every)
    yield from _builds(event, every)
    yield from _bite(event, every)
    yield from _day(event, every)
    yield from _carried(event, every)


def _record_of(thing: _Within) -> Record:
    return thing.record


def _of(kind: type[_R], records: Iterable[AnyRecord]) -> list[_R]:
    return [record for record in records if isinstance(record, kind)]


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
        _of(Check, records),
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
            *record_columns(_record_of),
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
            Col[_Figure]("record", "text", lambda x: x.record.id),
            Col("reading", "integer", lambda x: x.number),
            Col("repeat", "integer", lambda x: x.repeat),
            Col("value_mm", "real", lambda x: x.value),
        ],
        [
            _Figure(r.record, r.number, value, repeat=repeat)
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
        _of(Setting, records),
    )
    fits = _of(Fit, records)
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
            Col[_Figure]("record", "text", lambda x: x.record.id),
            Col("shim", "integer", lambda x: x.number),
            Col("thickness_mm", "real", lambda x: x.value),
        ],
        [_Figure(f, n, shim) for f in fits for n, shim in enumerate(f.shims_mm, 1)],
    )


def _builds(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    builds = _of(Build, records)
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


def _bite(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    yield table(
        "bite_observations",
        event,
        [
            *record_columns(itself),
            Col[Observation]("how", "text", lambda x: x.how),
            Col("speed_rpm", "real", lambda x: x.rpm),
            Col("u_rpm", "real", lambda x: x.u_rpm),
            Col("heat", "text", lambda x: x.heat),
            Col("source", "text", lambda x: x.source),
            Col("note", "text", lambda x: x.note),
        ],
        _of(Observation, records),
    )
    yield table(
        "nut_calibrations",
        event,
        [
            *record_columns(_record_of),
            Col[_Figure]("pair", "integer", lambda x: x.number),
            Col("turns_out", "real", lambda x: x.value),
            Col("recess_mm", "real", lambda x: x.other),
        ],
        [
            _Figure(record, n, pair.turns_out, pair.recess_mm)
            for record in _of(NutCalibration, records)
            for n, pair in enumerate(record.pairs, 1)
        ],
    )
    zeros = [
        _Figure(record, n, value)
        for record in _of(ZeroCheck, records)
        for n, value in enumerate(record.values_mm, 1)
    ]
    yield table(
        "zero_checks",
        event,
        [
            *record_columns(_record_of),
            Col[_Figure]("instrument", "text", lambda x: _instrument(x.record)),
            Col("repeat", "integer", lambda x: x.number),
            Col("value_mm", "real", lambda x: x.value),
        ],
        zeros,
    )


def _instrument(record: Record) -> Value:
    return record.instrument if isinstance(record, ZeroCheck) else None


def _day(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    yield table(
        "notes",
        event,
        [
            *record_columns(itself),
            Col[NoteRecord]("about", "text", lambda x: x.about),
            Col("open_point", "boolean", lambda x: x.open_point),
            Col("text", "text", lambda x: x.text),
        ],
        _of(NoteRecord, records),
    )
    yield table(
        "schedule_changes",
        event,
        [
            *record_columns(itself),
            Col[ScheduleChange]("change", "text", lambda x: x.change),
            Col("heat", "text", lambda x: x.heat),
            Col("minutes_min", "real", lambda x: x.minutes),
            Col("starts_at_utc", "moment", lambda x: x.starts_at),
            Col("heat_kind", "text", lambda x: x.heat_kind),
            Col("note", "text", lambda x: x.note),
        ],
        _of(ScheduleChange, records),
    )
    yield table(
        "stock_changes",
        event,
        [
            *record_columns(itself),
            Col[StockChange]("change", "text", lambda x: x.change),
            Col("place", "text", lambda x: x.place),
            Col("part", "text", lambda x: x.part),
            Col("label", "text", lambda x: x.label),
            Col("shim_mm", "real", lambda x: x.shim_mm),
            Col("supply", "text", lambda x: x.supply),
            Col("count", "integer", lambda x: x.count if x.part is None else None),
            Col("reason", "text", lambda x: x.reason),
        ],
        _of(StockChange, records),
    )


def _carried(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    carried = _of(CarryOver, records)
    yield table(
        "carry_overs",
        event,
        [
            *record_columns(itself),
            Col[CarryOver]("from_event", "text", lambda x: x.event),
            Col("recess_mm", "real", lambda x: x.recess_mm),
            Col("height_shims_mm", "text", lambda x: in_order(x.height_shims_mm)),
            Col("end_play_shims_mm", "text", lambda x: in_order(x.end_play_shims_mm)),
        ],
        carried,
    )
    yield table(
        "carried_parts",
        event,
        [
            Col[_Carried]("record", "text", lambda x: x.record.id),
            Col("place", "text", lambda x: x.part.place),
            Col("part", "text", lambda x: x.part.part),
            Col("label", "text", lambda x: x.part.label),
            Col("run_min", "real", lambda x: x.part.run_minutes),
            Col("untimed_runs", "integer", lambda x: x.part.unknown_runs),
            Col("fitted", "boolean", lambda x: x.part.fitted),
            Col("discarded", "boolean", lambda x: x.part.discarded),
        ],
        [_Carried(c, n, part) for c in carried for n, part in enumerate(c.parts, 1)],
    )
