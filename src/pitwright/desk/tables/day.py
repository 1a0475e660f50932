"""The tables of the day's other records: speeds observed, nut and zeros, notes, schedule, stock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pitwright.desk.tables.maker import (
    Col,
    FigureOf,
    Within,
    in_order,
    itself,
    of_kind,
    record_columns,
    table,
)
from pitwright.weekend.records import (
    AnyRecord,
    BellTemperature,
    CarriedPart,
    CarryOver,
    NoteRecord,
    NutCalibration,
    Observation,
    ScheduleChange,
    StockChange,
    ZeroCheck,
)
from pitwright.weekend.table import DataTable

__all__ = ["day_tables"]


@dataclass(frozen=True)
class _Carried(Within):
    part: CarriedPart


def day_tables(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    """Yield the tables of these records in force, with their lists as tables of their own."""
    yield from _bite(event, records)
    yield from _day(event, records)
    yield from _carried(event, records)


def _bite(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    yield table(
        "bite_observations",
        event,
        [
            *record_columns(itself),
            Col[Observation]("how", "text", lambda x: x.how),
            Col("speed_rpm", "real", lambda x: x.rpm),
            Col("u_rpm", "real", lambda x: x.u_rpm),
            Col("held_at_grip", "boolean", lambda x: x.held_at_grip),
            Col("heat", "text", lambda x: x.heat),
            Col("source", "text", lambda x: x.source),
            Col("note", "text", lambda x: x.note),
        ],
        of_kind(Observation, records),
    )
    yield table(
        "bell_temperatures",
        event,
        [
            *record_columns(itself),
            Col[BellTemperature]("bell_c", "real", lambda x: x.bell_c),
            Col("u_k", "real", lambda x: x.u_k),
            Col("heat", "text", lambda x: x.heat),
            Col("note", "text", lambda x: x.note),
        ],
        of_kind(BellTemperature, records),
    )
    calibrations = of_kind(NutCalibration, records)
    yield table(
        "nut_calibrations",
        event,
        [
            *record_columns(itself),
            Col[NutCalibration]("pairs", "integer", lambda x: len(x.pairs)),
            Col("note", "text", lambda x: x.note),
        ],
        calibrations,
    )
    yield table(
        "nut_pairs",
        event,
        [
            Col[FigureOf]("record", "text", lambda x: x.record.id),
            Col("pair", "integer", lambda x: x.number),
            Col("turns_out", "real", lambda x: x.value),
            Col("recess_mm", "real", lambda x: x.other),
        ],
        [
            FigureOf(record, n, pair.turns_out, pair.recess_mm)
            for record in calibrations
            for n, pair in enumerate(record.pairs, 1)
        ],
    )
    zeros = of_kind(ZeroCheck, records)
    yield table(
        "zero_checks",
        event,
        [
            *record_columns(itself),
            Col[ZeroCheck]("instrument", "text", lambda x: x.instrument),
            Col("repeats", "integer", lambda x: len(x.values_mm)),
            Col("note", "text", lambda x: x.note),
        ],
        zeros,
    )
    yield table(
        "zero_check_repeats",
        event,
        [
            Col[FigureOf]("record", "text", lambda x: x.record.id),
            Col("repeat", "integer", lambda x: x.number),
            Col("value_mm", "real", lambda x: x.value),
        ],
        [FigureOf(r, n, value) for r in zeros for n, value in enumerate(r.values_mm, 1)],
    )


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
        of_kind(NoteRecord, records),
    )
    yield table(
        "schedule_changes",
        event,
        [
            *record_columns(itself),
            Col[ScheduleChange]("change", "text", lambda x: x.change),
            Col("heat", "text", lambda x: x.heat),
            Col("shift_min", "real", lambda x: x.minutes),
            Col("starts_at_utc", "moment", lambda x: x.starts_at),
            Col("heat_kind", "text", lambda x: x.heat_kind),
            Col("note", "text", lambda x: x.note),
        ],
        of_kind(ScheduleChange, records),
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
        of_kind(StockChange, records),
    )


def _carried(event: str, records: list[AnyRecord]) -> Iterator[DataTable]:
    carried = of_kind(CarryOver, records)
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
