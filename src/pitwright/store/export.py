"""Tables written as CSV, one SQLite file, and Parquet, for any tool that reads data."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import tempfile
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import tomli_w

from pitwright.store.files import StoreError, replace_file
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.problems import Problem
from pitwright.weekend.table import ColumnType, DataTable, Value

__all__ = ["MADE_NAME", "SQLITE_NAME", "Exported", "MissingLibraryError", "csv_text", "export"]

SQLITE_NAME: Final = "weekend.sqlite"
MADE_NAME: Final = "pitwright-export.toml"
"""Which files in the folder an export made, and may replace: by name, what was in them."""

_MADE_FIRST_LINE: Final = "# Made by pitwright export, which replaces only what it made itself.\n"

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

    Files of an earlier export are replaced, each whole or not at all; a file beside them tells
    which these are. Raises StoreError, before anything is written, when ``target`` lies among the
    weekend's own files or another file stands there under a name that is to be written, and when
    the disk will not have it; MissingLibraryError, before anything is written, when Parquet is
    asked for without its library.
    """
    every = list(tables)
    _keep_apart(target, weekend)
    to_parquet = _parquet_writer() if parquet else None
    made: dict[str, bytes] = {}
    for table in every:
        made[f"{table.name}.csv"] = csv_text(table).encode()
        if to_parquet is not None:
            made[f"{table.name}.parquet"] = to_parquet(table)
    made[SQLITE_NAME] = _sqlite(every)
    digests = {name: _digest(data) for name, data in made.items()}
    before = _made_before(target)
    strange = [n for n in (*made, MADE_NAME) if not _is_ours(target / n, before, digests)]
    if strange:
        raise StoreError(
            0,
            f"{target / strange[0]} is not from an export, or was changed since"
            f"{f', and {len(strange) - 1} more' if strange[1:] else ''}: it stays, and nothing "
            "was written. Name another folder",
        )
    # What was made is known before it is, so that an export cut short can be made again.
    both = {name: [*before.get(name, []), digests[name]] for name in digests}
    replace_file(target / MADE_NAME, _as_made({**before, **both}))
    for name, data in made.items():
        replace_file(target / name, data)
    replace_file(target / MADE_NAME, _as_made({**before, **{n: [d] for n, d in digests.items()}}))
    rows = sum(len(table.rows) for table in every)
    return Exported(tuple(target / name for name in made), len(every), rows)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _as_made(files: dict[str, list[str]]) -> bytes:
    return (_MADE_FIRST_LINE + tomli_w.dumps({"files": files})).encode()


def _made_before(target: Path) -> dict[str, list[str]]:
    """Return the files that exports made in this folder, each with what was in it."""
    text = read_text(target / MADE_NAME, MADE_NAME)
    table = parse_toml(text, MADE_NAME) if isinstance(text, str) else text
    files = None if isinstance(table, Problem) else table.get("files")
    if not isinstance(files, dict):
        return {}
    return {name: digests for name, digests in files.items() if isinstance(digests, list)}


def _is_ours(path: Path, before: dict[str, list[str]], made: dict[str, str]) -> bool:
    """Tell whether a file may be written: it is not there, or was made by an export."""
    if not os.path.lexists(path):
        return True
    if path.is_symlink() or not path.is_file():
        return False
    with path.open("rb") as file:
        if path.name == MADE_NAME:
            return file.read(len(_MADE_FIRST_LINE)) == _MADE_FIRST_LINE.encode()
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return digest in (*before.get(path.name, ()), made[path.name])


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
