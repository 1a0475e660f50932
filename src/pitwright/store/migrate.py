"""Weekends of an older format: brought to today's on a copy, the original left as it is."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pitwright.store.check import check_folder
from pitwright.store.files import StoreError, make_folder, replace_file, sync_folder
from pitwright.store.laptop import laptop_name
from pitwright.store.leftovers import temporary_name
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.problems import Problem

__all__ = ["MIGRATIONS", "Migrated", "format_of", "migrate"]

FORMAT = 1


@dataclass(frozen=True)
class Migration:
    """One step from a format to the next: by part of the folder, a change of a file's text.

    Text is changed and not parsed and written again, so that comments survive.
    """

    weekend: Callable[[str], str]
    card: Callable[[str], str]
    record: Callable[[str], str]


def _renamed(text: str, old: str, new: str) -> str:
    return re.sub(rf"(?m)^([ \t]*){re.escape(old)}([ \t]*=)", rf"\g<1>{new}\g<2>", text)


def _numbered(text: str, number: int, count: int = 1) -> str:
    return re.sub(r"(?m)^([ \t]*format[ \t]*=[ \t]*)\d+", rf"\g<1>{number}", text, count=count)


# Format 0 was written before the first release only: the zone was 'timezone', a record's laptop
# 'laptop_id'.
MIGRATIONS: dict[int, Migration] = {
    0: Migration(
        weekend=lambda text: _numbered(_renamed(text, "timezone", "time_zone"), 1),
        card=lambda text: _numbered(text, 1),
        # A correction holds a record inside; no text in a record spans lines.
        record=lambda text: _numbered(_renamed(text, "laptop_id", "laptop"), 1, count=0),
    ),
}


@dataclass(frozen=True)
class Migrated:
    """What a migration did: from which format, how many files changed, and what is wrong after."""

    target: Path
    from_format: int
    changed: tuple[str, ...]
    problems: tuple[Problem, ...]


def format_of(folder: Path) -> int:
    """Return the format a weekend is written in. Raises StoreError when it does not tell."""
    path = folder / "weekend.toml"
    text = read_text(path, str(path))
    table = parse_toml(text, str(path)) if isinstance(text, str) else text
    if isinstance(table, Problem):
        raise StoreError(0, str(table))
    number = table.get("format")
    if not isinstance(number, int) or isinstance(number, bool):
        raise StoreError(0, f"{path}: 'format' is missing or no whole number")
    return number


def migrate(old: Path, new: Path) -> Migrated:
    """Copy the weekend ``old`` to ``new`` and bring the copy to today's format.

    ``old`` is only read, and compared with what it was at the end. ``new`` must not exist and has
    its name only once it is whole. Raises StoreError when there is nothing to migrate, the format
    is not known here, or the disk will not have it.
    """
    number = format_of(old)
    if number == FORMAT:
        raise StoreError(0, f"{old} is in format {FORMAT} already; there is nothing to migrate")
    if number > FORMAT or number not in MIGRATIONS:
        raise StoreError(
            0, f"{old} is in format {number}, which this pitwright cannot migrate; update it"
        )
    if new.exists():
        raise StoreError(0, f"{new} is there already; choose another name")
    if (os.path.realpath(new) + os.sep).startswith(os.path.realpath(old) + os.sep):
        raise StoreError(0, "The copy cannot stand inside the old folder")
    making = new.with_name(temporary_name(new.name))
    try:
        before = _digests(old)
        make_folder(new.absolute().parent)
        shutil.copytree(
            old, making, symlinks=True, ignore=shutil.ignore_patterns("open", "*.unfinished")
        )
        changed = _change(making, number)
        for part in (making, *(p for p in making.rglob("*") if p.is_dir())):
            sync_folder(part)
        if _digests(old) != before:
            raise StoreError(0, f"{old} was changed by somebody while it was copied; try again")
        making.rename(new)
        sync_folder(new.absolute().parent)
    except BaseException as error:
        shutil.rmtree(making, ignore_errors=True)
        if isinstance(error, OSError | shutil.Error | UnicodeDecodeError):
            if isinstance(error, StoreError):
                raise
            raise StoreError(0, f"The copy to {new} failed: {error}") from error
        raise
    return Migrated(new, number, changed, check_folder(new, laptop_name()).problems)


def _change(folder: Path, number: int) -> tuple[str, ...]:
    changed: list[str] = []
    for path in sorted([*folder.glob("*.toml"), *(folder / "log").glob("*.toml")]):
        if path.is_symlink():
            continue
        data = path.read_bytes()
        text = data.decode("utf-8")
        for step in range(number, FORMAT):
            migration = MIGRATIONS[step]
            if path.parent.name == "log":
                text = migration.record(text)
            elif path.name == "weekend.toml":
                text = migration.weekend(text)
            else:
                text = migration.card(text)
        if text.encode() != data:
            changed.append(path.relative_to(folder).as_posix())
        # Written even when alike: every file of the copy then has been synced.
        replace_file(path, text.encode())
    return tuple(changed)


def _digests(folder: Path) -> dict[str, str]:
    found: dict[str, str] = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not path.is_symlink():
            with path.open("rb") as file:
                name = path.relative_to(folder).as_posix()
                found[name] = hashlib.file_digest(file, "sha256").hexdigest()
    return found
