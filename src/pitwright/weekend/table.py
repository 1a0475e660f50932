"""A plain table of a weekend's data, for files that other tools read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias

__all__ = ["ColumnType", "DataColumn", "DataTable", "Value"]

ColumnType = Literal["text", "integer", "real", "boolean", "moment"]
Value: TypeAlias = str | int | float | bool | datetime | None


@dataclass(frozen=True)
class DataColumn:
    """A column: its name ends in the unit where it has one (``_mm``, ``_min``, ``_c``, ``_s``)."""

    name: str
    type: ColumnType = "text"


@dataclass(frozen=True)
class DataTable:
    """Rows of one kind; None is a value nobody noted. Moments are aware and in UTC."""

    name: str
    columns: tuple[DataColumn, ...]
    rows: tuple[tuple[Value, ...], ...]
