"""Tables written as CSV, one SQLite file, and Parquet, for any tool that reads data."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from pitwright.store.files import StoreError, replace_file
from pitwright.weekend.table import ColumnType, DataTable, Value

__all__ = ["SQLITE_NAME", "Exported", "MissingLibraryError", "csv_text", "export"]

SQLITE_NAME: Final = "weekend.sqlite"

_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "'", "＝", "＋", "－", "＠")
"""Signs with which a spreadsheet may take a text for a formula, and the guard's own sign."""

_SQL_TYPES: Final[dict[ColumnType, str]] = {
    "text": "TEXT",
    "integer": "INTEGER",
    "real": "REAL",
    "boolean": "INTEGER",
    "moment": "TEXT",
}


class MissingLibraryError(Exception):
    """The library for a format is not installed; the message says how to get it."""


@dataclass(frozen=True)
class Exported:
    """What was written."""

    files: tuple[Path, ...]
    tables: int
    rows: int


def export(
    tables: Iterable[DataTable], target: Path, *, weekend: Path, parquet: bool = False
) -> Exported:
    """Write every table to ``target``: a CSV each, all in one SQLite file, Parquet if asked.

    Files of an earlier export are replaced, each whole or not at all. Raises StoreError when
    ``target`` lies among the weekend's own files or the disk will not have it, and
    MissingLibraryError, before anything is written, when Parquet is asked for without its library.
    """
    every = list(tables)
    _keep_apart(target, weekend)
    to_parquet = _parquet_writer() if parquet else None
    written: list[Path] = []

    def write(name: str, data: bytes) -> None:
        replace_file(target / name, data)
        written.append(target / name)

    for table in every:
        write(f"{table.name}.csv", csv_text(table).encode())
        if to_parquet is not None:
            write(f"{table.name}.parquet", to_parquet(table))
    write(SQLITE_NAME, _sqlite(every))
    return Exported(tuple(written), len(every), sum(len(table.rows) for table in every))


def _keep_apart(target: Path, weekend: Path) -> None:
    folder, home = target.resolve(), weekend.resolve()
    own = [home / name for name in ("log", "laps", "open", "recordings")]
    if folder == home or any(folder == place or place in folder.parents for place in own):
        raise StoreError(
            0, f"{target} is among the weekend's own files: name another folder for the export"
        )
    if target.exists() and not target.is_dir():
        raise StoreError(0, f"{target} is a file: name a folder for the export")


def csv_text(table: DataTable) -> str:
    """Return a table as CSV after RFC 4180: a heading line, moments in ISO 8601, nothing for None.

    A text that a spreadsheet could take for a formula gets a leading apostrophe, and so does one
    that begins with an apostrophe: taking one leading apostrophe off gives the text back.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([column.name for column in table.columns])
    for row in table.rows:
        writer.writerow([_csv_cell(value) for value in row])
    return out.getvalue()


def _csv_cell(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return repr(value)


def _sqlite(tables: Iterable[DataTable]) -> bytes:
    import sqlite3

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / SQLITE_NAME
        with closing(sqlite3.connect(path)) as connection, connection:
            for table in tables:
                columns = ", ".join(f'"{c.name}" {_SQL_TYPES[c.type]}' for c in table.columns)
                connection.execute(f'CREATE TABLE "{table.name}" ({columns})')
                marks = ", ".join("?" * len(table.columns))
                connection.executemany(
                    f'INSERT INTO "{table.name}" VALUES ({marks})',
                    [[_sql_value(value) for value in row] for row in table.rows],
                )
        return path.read_bytes()


def _sql_value(value: Value) -> str | int | float | None:
    if isinstance(value, bool):
        return int(value)
    return value.isoformat() if isinstance(value, datetime) else value


def _parquet_writer() -> Callable[[DataTable], bytes]:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise MissingLibraryError(
            "Parquet needs pyarrow, which pip install 'pitwright[parquet]' brings"
        ) from None
    types: dict[ColumnType, Any] = {
        "text": pa.string(),
        "integer": pa.int64(),
        "real": pa.float64(),
        "boolean": pa.bool_(),
        "moment": pa.timestamp("us", tz="UTC"),
    }

    def write(table: DataTable) -> bytes:
        schema = pa.schema([(column.name, types[column.type]) for column in table.columns])
        columns: list[list[Value]] = [[row[n] for row in table.rows] for n in range(len(schema))]
        arrays = [
            pa.array(values, type=field.type) for values, field in zip(columns, schema, strict=True)
        ]
        out = io.BytesIO()
        pq.write_table(pa.Table.from_arrays(arrays, schema=schema), out)
        return out.getvalue()

    return write
