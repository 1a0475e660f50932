"""How a table is made from records: columns given by name, type and where the value comes from."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from pitwright.weekend.records import AnyRecord, Record
from pitwright.weekend.table import ColumnType, DataColumn, DataTable, Value

__all__ = [
    "Col",
    "FigureOf",
    "Within",
    "in_order",
    "itself",
    "of_kind",
    "record_columns",
    "record_of",
    "table",
]

_T = TypeVar("_T")
_In = TypeVar("_In", contravariant=True)
_R = TypeVar("_R", bound=Record)


@dataclass(frozen=True)
class Col(Generic[_In]):
    """A column and the value it takes from a row's thing."""

    name: str
    type: ColumnType
    of: Callable[[_In], Value]


@dataclass(frozen=True)
class Within:
    """One thing of a record, by its place in it."""

    record: Record
    number: int


@dataclass(frozen=True)
class FigureOf(Within):
    """A figure of a record, or two that go together; ``repeat`` counts within ``number``."""

    value: float
    other: float = 0.0
    repeat: int = 0


def record_of(thing: Within) -> Record:
    """Return the record a thing belongs to."""
    return thing.record


def of_kind(kind: type[_R], records: Iterable[AnyRecord]) -> list[_R]:
    """Return the records of one kind."""
    return [record for record in records if isinstance(record, kind)]


def table(name: str, event: str, columns: Iterable[Col[_T]], things: Iterable[_T]) -> DataTable:
    """Return a table whose first column is the event, so that a season's tables stack."""
    cols = list(columns)
    return DataTable(
        name,
        (DataColumn("event"), *(DataColumn(col.name, col.type) for col in cols)),
        tuple((event, *(col.of(thing) for col in cols)) for thing in things),
    )


def record_columns(of: Callable[[_T], Record]) -> tuple[Col[_T], ...]:
    """Return the columns all records share."""
    return (
        Col("record", "text", lambda x: of(x).id),
        Col("clutch", "text", lambda x: of(x).clutch),
        Col("happened_at_utc", "moment", lambda x: of(x).happened_at),
        Col("recorded_at_utc", "moment", lambda x: of(x).recorded_at),
        Col("laptop", "text", lambda x: of(x).laptop),
        Col("sequence", "integer", lambda x: of(x).sequence),
    )


def itself(record: Record) -> Record:
    """Return the record; for tables whose rows are records."""
    return record


def in_order(values: Iterable[float | int]) -> str:
    """Return numbers as text parted by spaces, for a list that is too small for a table."""
    return " ".join(f"{value:g}" for value in values)
