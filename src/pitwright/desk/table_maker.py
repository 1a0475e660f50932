"""How a table is made from records: columns given by name, type and where the value comes from."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from pitwright.weekend.records import Record
from pitwright.weekend.table import ColumnType, DataColumn, DataTable, Value

__all__ = ["Col", "in_order", "itself", "record_columns", "table"]

_T = TypeVar("_T")
_In = TypeVar("_In", contravariant=True)


@dataclass(frozen=True)
class Col(Generic[_In]):
    """A column and the value it takes from a row's thing."""

    name: str
    type: ColumnType
    of: Callable[[_In], Value]


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
