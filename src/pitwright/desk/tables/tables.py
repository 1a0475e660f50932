"""A weekend as tidy tables: one per kind of record, with readings, laps and the stock now.

Columns carry their unit in their name; every table begins with the event, so that the tables of a
season can be stacked. Records are those in force: one that was corrected stands as corrected,
under the correction's id, and ``corrections`` says what it replaced.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pitwright.desk.stock.parts import PartStock, stock_desk
from pitwright.desk.tables.heats import heats, laps
from pitwright.desk.tables.maker import Col, itself, record_columns, table
from pitwright.desk.tables.records import record_tables
from pitwright.weekend.event import EventCard
from pitwright.weekend.records import AnyRecord, ClockShift, Correction
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.table import DataTable
from pitwright.weekend.weekend import Weekend

__all__ = ["tables"]


def tables(weekend: Weekend, raw: Iterable[AnyRecord] = ()) -> tuple[DataTable, ...]:
    """Return every table; ``raw`` are the records as written, for corrections and clock shifts."""
    event = weekend.event.name
    return (
        _weekend(weekend.event),
        _schedule(weekend),
        heats(weekend),
        laps(weekend),
        *record_tables(event, weekend.log.records),
        *_history(event, list(raw)),
        *_stock(weekend),
    )


def _weekend(event: EventCard) -> DataTable:
    columns: list[Col[EventCard]] = [
        Col("venue", "text", lambda x: x.venue),
        Col("time_zone", "text", lambda x: x.time_zone),
        Col("starts_on", "text", lambda x: x.starts_on.isoformat()),
        Col("ends_on", "text", lambda x: x.ends_on.isoformat()),
        Col("racing_class", "text", lambda x: x.racing_class),
        Col("driver", "text", lambda x: x.driver),
    ]
    return table("weekend", event.name, columns, [event])


def _schedule(weekend: Weekend) -> DataTable:
    columns: list[Col[PlannedHeat]] = [
        Col("heat", "text", lambda x: x.name),
        Col("heat_kind", "text", lambda x: x.kind),
        Col("round", "integer", lambda x: x.round),
        Col("starts_at_utc", "moment", lambda x: x.starts_at),
        Col("first_planned_at_utc", "moment", lambda x: x.first_planned_at),
        Col("planned_min", "real", lambda x: x.minutes),
        Col("cancelled", "boolean", lambda x: x.cancelled),
    ]
    return table("schedule", weekend.event.name, columns, weekend.schedule)


def _history(event: str, raw: list[AnyRecord]) -> Iterator[DataTable]:
    yield table(
        "corrections",
        event,
        [
            *record_columns(itself),
            Col[Correction]("replaces", "text", lambda x: x.replaces),
            Col("reason", "text", lambda x: x.reason),
            Col("taken_back", "boolean", lambda x: x.replacement is None),
            Col("new_kind", "text", lambda x: x.replacement.kind if x.replacement else None),
        ],
        [r for r in raw if isinstance(r, Correction)],
    )
    yield table(
        "clock_shifts",
        event,
        [
            *record_columns(itself),
            Col[ClockShift]("of_laptop", "text", lambda x: x.of_laptop),
            Col("first_sequence", "integer", lambda x: x.first_sequence),
            Col("last_sequence", "integer", lambda x: x.last_sequence),
            Col("shift_min", "real", lambda x: x.minutes),
            Col("records", "text", lambda x: " ".join(x.records)),
            Col("reason", "text", lambda x: x.reason),
        ],
        [r for r in raw if isinstance(r, ClockShift)],
    )


def _stock(weekend: Weekend) -> Iterator[DataTable]:
    event, stock = weekend.event.name, stock_desk(weekend)
    parts: list[Col[PartStock]] = [
        Col("place", "text", lambda x: x.place),
        Col("part", "text", lambda x: x.part),
        Col("label", "text", lambda x: x.label),
        Col("part_kind", "text", lambda x: x.kind),
        Col("standing", "text", lambda x: x.standing),
        Col("on_clutch", "text", lambda x: x.on),
        Col("run_min", "real", lambda x: x.run_minutes),
        Col("untimed_runs", "integer", lambda x: x.unknown_runs),
        Col("heats", "integer", lambda x: x.heats),
        Col("discarded_because", "text", lambda x: x.discarded_because),
    ]
    yield table("parts", event, parts, stock.parts)
    yield table(
        "shims",
        event,
        [
            Col("thickness_mm", "real", lambda x: x.mm),
            Col("in_tin", "integer", lambda x: x.in_tin),
            Col("fitted", "integer", lambda x: x.fitted),
            Col("missing", "integer", lambda x: x.missing),
        ],
        stock.shims,
    )
    yield table(
        "supplies",
        event,
        [
            Col("supply", "text", lambda x: x.name),
            Col("label", "text", lambda x: x.label),
            Col("left", "integer", lambda x: x.count),
            Col("buy_below", "integer", lambda x: x.buy_below),
        ],
        stock.supplies,
    )
