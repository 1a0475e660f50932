"""The files of the log: each read into its record, and each record counted once.

A record is known by the ``id`` written in it. Files of an earlier pitwright hold none: there it
is the part of the file's name that has the shape of one, so that a copy made by a tool is known
as what it is; and where a name has been changed altogether, the record is known by who wrote it
and when, or by the correction that asks for it.
"""

from __future__ import annotations

import gc
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias, cast

from pitwright.store.toml_reader import names_in, other_format, parse_toml, text_inside, validate
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import RECORD_KINDS, AnyRecord, Correction

__all__ = ["KnownTexts", "LoggedFile", "each_once", "read_log"]

KnownTexts: TypeAlias = dict[str, AnyRecord]
"""Whole texts of files that were read before, and the records they hold."""

_KINDS: Final = "|".join(kind.replace(" ", "-") for kind in RECORD_KINDS)
_ID: Final = re.compile(rf"\d{{8}}T\d{{6}}Z-(?:{_KINDS})-[^-\s]+-[a-z0-9]{{4}}(?![A-Za-z0-9])")


@dataclass(frozen=True)
class LoggedFile:
    """A file of the log, by its name in the folder, and the record in it."""

    name: str
    record: AnyRecord

    @property
    def own_name(self) -> str:
        """What the record's file is called when nobody has renamed it."""
        return f"log/{self.record.id}.toml"


def read_log(
    folder: Path, problems: list[Problem], known: KnownTexts | None = None
) -> list[LoggedFile]:
    """Read every file of the log; what cannot be read goes among the problems.

    Every file is read to its end, but a text that stands in ``known`` is taken for the very record
    it was before. Afterwards ``known`` holds the texts that were found, and no others.
    """
    before = dict(known or {})
    known = {} if known is None else known
    known.clear()
    found = []
    with _no_collections():
        for name in names_in(folder, "log", ".toml", problems):
            shown = f"log/{name}"
            text = text_inside(folder, shown)
            if isinstance(text, Problem):
                problems.append(text)
                continue
            record = before.get(text) or _record(text, shown)
            if isinstance(record, list):
                problems += record
            else:
                known[text] = record
                found.append(LoggedFile(shown, record))
    return _known(found)


@contextmanager
def _no_collections() -> Iterator[None]:
    """Have nobody look for garbage among thousands of records, again and again, as they come."""
    looking = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if looking:
            gc.enable()


def each_once(found: Iterable[LoggedFile]) -> tuple[list[AnyRecord], list[Problem]]:
    """Return each record once, and what to say of copies, other versions and changed names.

    Of several files that hold one record, the one under the record's own name counts.
    """
    by_id: dict[str, list[LoggedFile]] = defaultdict(list)
    for file in found:
        by_id[file.record.id].append(file)
    records: list[AnyRecord] = []
    problems: list[Problem] = []
    for files in by_id.values():
        counts = next((f for f in files if f.name == f.own_name), files[0])
        records.append(counts.record)
        if counts.name != counts.own_name:
            problems.append(_renamed(counts))
        problems += [_beside(f, counts) for f in files if f is not counts]
    return records, problems


def _renamed(file: LoggedFile) -> Problem:
    return Problem(
        file.name,
        "",
        f"holds the record {file.record.id} under another name; it counts as ever",
        f"its own name is {file.own_name}",
        "warning",
    )


def _beside(file: LoggedFile, counts: LoggedFile) -> Problem:
    if file.record == counts.record:
        return Problem(
            file.name,
            "",
            f"holds the same record as {counts.name}; it counts once",
            "one of the two can go",
            "warning",
        )
    return Problem(
        file.name,
        "",
        f"and {counts.name} hold one record in two versions; the latter is used for now",
        "move the wrong one out of the log folder; a change belongs in a correction",
    )


def _record(text: str, shown: str) -> AnyRecord | list[Problem]:
    table = parse_toml(text, shown)
    if isinstance(table, Problem):
        return [table]
    # A newer format may have kinds that are not known here; that is what is to be said then.
    other = other_format(table, shown)
    if other is not None:
        return [other]
    kind = table.get("kind")
    model = RECORD_KINDS.get(kind) if isinstance(kind, str) else None
    if model is None:
        reason = "is missing" if kind is None else f"{kind!r:.40} is not a kind of record"
        return [Problem(shown, "kind", reason, "one of: " + ", ".join(RECORD_KINDS))]
    record = validate(table, model, shown)
    if isinstance(record, list):
        return record
    if record.sequence < 1 or not record.laptop or record.recorded_at is None:
        reason = "a record in the log needs laptop, sequence, recorded_at"
        return [Problem(shown, "sequence", reason)]
    return cast(AnyRecord, record)


def _known(found: Iterable[LoggedFile]) -> list[LoggedFile]:
    """Give every record its id, from the file, from its name, or from what the others tell."""
    known: list[LoggedFile] = []
    strange: list[LoggedFile] = []
    for file in found:
        in_name = _ID.search(file.name)
        if file.record.id:
            known.append(file)
        elif in_name is not None:
            known.append(_called(file, in_name[0]))
        else:
            strange.append(file)
    if not strange:
        return known
    written = {_written(f.record): f.record.id for f in known}
    ids = set(written.values())
    wanted = {
        f.record.replaces
        for f in (*known, *strange)
        if isinstance(f.record, Correction) and f.record.replaces not in ids
    }
    for file in strange:
        record = file.record
        start = f"{record.happened_at:%Y%m%dT%H%M%SZ}-{record.kind.replace(' ', '-')}-"
        asked = [w for w in wanted if w.startswith(f"{start}{record.laptop}-")]
        stem = file.name.removeprefix("log/").removesuffix(".toml")
        name = asked[0] if len(asked) == 1 else stem
        known.append(_called(file, written.setdefault(_written(record), name)))
    return sorted(known, key=lambda f: f.name)


def _called(file: LoggedFile, name: str) -> LoggedFile:
    # model_copy would validate nothing more and costs less than a second validation.
    return LoggedFile(file.name, file.record.model_copy(update={"id": name}))


def _written(record: AnyRecord) -> tuple[object, ...]:
    return (record.laptop, record.sequence, record.recorded_at, record.kind)
