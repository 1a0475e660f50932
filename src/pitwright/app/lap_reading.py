"""Laps as a user gives them, by file, paste or typing, read into one shape for the preview."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, cast

from pitwright.store.lap_source import read_source
from pitwright.timing.laps import parse_typed_laps, read_laps
from pitwright.timing.lengths import Kind
from pitwright.timing.text import LapFileError

__all__ = ["LapsRead", "Way", "read_way"]

Way = Literal["file", "paste", "typed"]


@dataclass(frozen=True)
class LapsRead:
    """What was understood. ``trouble`` says why nothing could be read at all.

    ``source`` is what it came from, byte for byte. ``refused`` holds line number, text, reason.
    """

    source: bytes
    laps: tuple[float, ...] = ()
    marks: Mapping[int, str] = field(default_factory=dict)
    sentence: str = ""
    notes: tuple[str, ...] = ()
    refused: tuple[tuple[int, str, str], ...] = ()
    question: tuple[str, ...] = ()
    asks: str = ""
    drivers: tuple[str, ...] = ()
    driver: str = ""
    kind: str = ""
    trouble: str = ""


def read_way(way: Way, text: str, driver: str | None = None, kind: str | None = None) -> LapsRead:
    """Read a file by its path, or text that was pasted or typed."""
    if way == "typed":
        typed = parse_typed_laps(text)
        refused = tuple((r.line, r.text, r.reason) for r in typed.rejected)
        return LapsRead(text.encode(errors="replace"), typed.laps, refused=refused)
    try:
        data = (
            text.encode(errors="replace")
            if way == "paste"
            else read_source(Path(text).expanduser())
        )
    except (LapFileError, RuntimeError) as error:
        return LapsRead(b"", trouble=str(error))
    try:
        found = read_laps(data, driver=driver, kind=cast("Kind | None", kind))
    except LapFileError as error:
        return LapsRead(data, trouble=str(error))
    return LapsRead(
        source=data,
        laps=found.laps,
        marks=found.marks,
        sentence=found.understood.sentence,
        notes=found.understood.notes,
        refused=tuple((r.line, r.text, r.reason) for r in found.rejected),
        question=found.question,
        asks=found.asks,
        drivers=found.understood.drivers,
        driver=found.driver,
        kind=found.understood.kind,
    )
