"""Records into the log: named, numbered, written once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from random import SystemRandom
from typing import Any, TypeVar

import tomli_w
from pydantic import BaseModel

from pitwright.store.files import StoreError, create_file
from pitwright.store.laptop import TAIL_SIGNS
from pitwright.weekend.records import Record

__all__ = [
    "append_record",
    "as_toml",
    "next_sequence",
    "prepared",
    "record_id",
    "record_path",
]

_R = TypeVar("_R", bound=Record)


def record_id(moment: datetime, kind: str, laptop: str) -> str:
    """Return a fresh record id: UTC stamp, kind, laptop, random tail; never a colon."""
    tail = "".join(SystemRandom().choices(TAIL_SIGNS, k=4))
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}-{kind.replace(' ', '-')}-{laptop}-{tail}"


def next_sequence(sequences: list[int]) -> int:
    """Return the number for the next record of a laptop, given those it has used."""
    return max(sequences, default=0) + 1


def as_toml(model: BaseModel) -> bytes:
    """Return a model as TOML; what was not given is left out."""
    return tomli_w.dumps(_given(model.model_dump(mode="python", by_alias=True))).encode()


def _given(table: dict[str, Any]) -> dict[str, Any]:
    kept: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            value = _given(value)
        elif isinstance(value, list):
            value = [_given(v) if isinstance(v, dict) else v for v in value]
        if value is not None and value != "" and value != [] and value != {}:
            kept[key] = value
    return kept


def prepared(record: _R, *, laptop: str, sequence: int, now: datetime) -> _R:
    """Return a record as it will stand in the log, under a fresh id."""
    kind: str = getattr(record, "kind")  # noqa: B009 - every record class has one
    happened = record.happened_at.replace(microsecond=0)
    return record.model_copy(
        update={
            "id": record_id(happened, kind, laptop),
            "happened_at": happened,
            "recorded_at": now.astimezone(UTC).replace(microsecond=0),
            "laptop": laptop,
            "sequence": sequence,
        }
    )


def record_path(folder: Path, record: Record) -> Path:
    """Return where a prepared record stands."""
    return folder / "log" / f"{record.id}.toml"


def append_record(folder: Path, record: _R, *, laptop: str, sequence: int, now: datetime) -> _R:
    """Write a new record into ``folder/log`` and return it as it stands there.

    Raises StoreError when the disk will not have it; then no record was written.
    """
    for _ in range(20):
        landed = prepared(record, laptop=laptop, sequence=sequence, now=now)
        try:
            create_file(record_path(folder, landed), as_toml(landed), within=folder)
        except FileExistsError:
            continue
        return landed
    raise StoreError(0, "No free name for the record was found in the log; try again")
