"""New weekends, fresh copies of the demo, and backups that are verified."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from pathlib import Path

from pitwright.store.files import StoreError, create_file, make_folder, sync_folder
from pitwright.store.laptop import laptop_name
from pitwright.store.leftovers import (
    TEMPORARY_SUFFIX,
    clear_unfinished_folders,
    temporary_name,
    unfinished_folders,
)
from pitwright.store.log_writer import append_record
from pitwright.store.toml_reader import parse_toml, validate
from pitwright.weekend.event import EventCard
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import CarryOver

__all__ = ["CARDS", "BackedUp", "backup", "copy_demo", "new_weekend"]

CARDS = ("weekend.toml", "clutch.toml", "procedure.toml", "stock.toml")


def _template(name: str) -> str:
    return (files("pitwright.store") / "templates" / name).read_text(encoding="utf-8")


def new_weekend(
    folder: Path,
    *,
    name: str,
    time_zone: str,
    starts_on: date,
    days: int = 3,
    cards_from: Path | None = None,
    carry: CarryOver | None = None,
    now: datetime | None = None,
) -> None:
    """Make a weekend folder with its four cards.

    ``cards_from`` is an earlier weekend whose clutch, procedure and stock cards are copied byte
    for byte; ``carry`` the record of what it hands on. A weekend whose making was cut short is
    finished by the same call. Raises FileExistsError when another card is there already,
    StoreError when the disk will not have it.
    """
    values: Mapping[str, str] = {
        "name": _quoted(name),
        "time_zone": _quoted(time_zone),
        "starts_on": starts_on.isoformat(),
        "ends_on": (starts_on + timedelta(days=days - 1)).isoformat(),
    }
    weekend = re.sub(
        r"\{(name|time_zone|starts_on|ends_on)\}",
        lambda found: values[found[1]],
        _template("weekend.toml"),
    )
    table = parse_toml(weekend, "weekend.toml")
    event = table if isinstance(table, Problem) else validate(table, EventCard, "weekend.toml")
    if not isinstance(event, EventCard):
        faults = [event] if isinstance(event, Problem) else event
        raise StoreError(0, "; ".join(str(fault) for fault in faults))
    try:
        texts = {"weekend.toml": weekend.encode(), **_cards(cards_from)}
        for card, text in texts.items():
            if _stands(folder / card) not in (None, text):
                raise FileExistsError(f"{folder} holds a {card} already; choose another folder")
        if any((folder / "log").glob("*.toml")):
            raise FileExistsError(f"{folder} holds records already; choose another folder")
        for part in ("log", "laps"):
            make_folder(folder / part)
        for card, text in texts.items():
            if _stands(folder / card) is None:
                create_file(folder / card, text)
    except (FileExistsError, StoreError):
        raise
    except OSError as error:
        raise StoreError(
            error.errno or 0, f"{folder} could not be made: {error.strerror or error}"
        ) from error
    if carry is not None:
        moment = now or datetime.now(UTC)
        append_record(folder, carry, laptop=laptop_name(), sequence=1, now=moment)


def _cards(cards_from: Path | None) -> dict[str, bytes]:
    if cards_from is None:
        return {card: _template(card).encode() for card in CARDS[1:]}
    extra = sorted(path.name for path in cards_from.glob("clutch-*.toml"))
    return {card: (cards_from / card).read_bytes() for card in (*CARDS[1:], *extra)}


def _stands(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None


def _quoted(text: str) -> str:
    # A TOML basic string and a JSON string agree on what is escaped here.
    return json.dumps(text, ensure_ascii=False)


def copy_demo(demo: Path, target: Path) -> Path:
    """Copy the demo weekend to a fresh folder at or beside ``target`` and return it.

    An earlier copy is never touched: the new one gets a number.
    """
    folder = target
    for number in range(2, 10_000):
        if not folder.exists():
            break
        folder = target.with_name(f"{target.name}-{number}")
    shutil.copytree(
        demo,
        folder,
        ignore=shutil.ignore_patterns("open", ".*"),
        copy_function=shutil.copyfile,
    )
    return folder


@dataclass(frozen=True)
class BackedUp:
    """What a backup copied: where to, how many files and bytes, all compared afterwards.

    ``left`` maps what is no plain file, and was not copied, to the reason. ``cleared`` are the
    remains of backups cut short that were taken away, ``unfinished`` those that another laptop or
    a living process may still be writing.
    """

    target: Path
    files: int
    size: int
    left: dict[str, str]
    cleared: tuple[str, ...]
    unfinished: tuple[str, ...]


def backup(folder: Path, target: Path, *, now: datetime | None = None) -> BackedUp:
    """Copy the weekend into a dated folder under ``target`` and compare every file.

    The original is only read. Links, pipes and the like are named and left out. What a backup that
    was killed left under ``target`` is cleared away. Raises StoreError when a copy is not like its
    original.
    """
    stamp = (now or datetime.now(UTC)).strftime("%Y%m%dT%H%M%SZ")
    inside = os.path.realpath(target)
    if (inside + os.sep).startswith(os.path.realpath(folder) + os.sep):
        raise StoreError(0, "A backup inside the weekend's own folder would be lost with it")
    place = target / f"{folder.resolve().name}-{stamp}"
    # Under another name until it is whole: a backup cut short must not look like one.
    making = place.with_name(temporary_name(place.name))
    left: dict[str, str] = {}

    def without(at: str, names: list[str]) -> set[str]:
        return {name for name in names if _stays_out(folder, Path(at) / name, left)}

    try:
        make_folder(target)
        if place.exists():
            raise FileExistsError(f"{place} is there already")
        cleared = clear_unfinished_folders(target)
        unfinished = tuple(unfinished_folders(target))
        shutil.copytree(folder, making, symlinks=True, ignore=without)
        copies = [p for p in sorted(making.rglob("*")) if p.is_file()]
        sizes = [_same(folder / p.relative_to(making), p) for p in copies]
        for part in (making, *(p for p in making.rglob("*") if p.is_dir())):
            sync_folder(part)
        making.rename(place)
        sync_folder(target)
    except FileExistsError:
        raise
    except (OSError, shutil.Error) as error:
        shutil.rmtree(making, ignore_errors=True)
        raise StoreError(
            getattr(error, "errno", 0) or 0, f"The backup to {place} failed: {_reason(error)}"
        ) from error
    return BackedUp(place, len(sizes), sum(sizes), left, cleared, unfinished)


def _stays_out(folder: Path, path: Path, left: dict[str, str]) -> bool:
    """Tell whether a backup leaves this out; what is not ours to leave out is noted."""
    if path.name.endswith((TEMPORARY_SUFFIX, ".lock")):
        return True
    if path.is_symlink():
        left[path.relative_to(folder).as_posix()] = "is a link; copy what it leads to itself"
        return True
    if path.is_file() or path.is_dir():
        return False
    left[path.relative_to(folder).as_posix()] = "is not a file"
    return True


def _reason(error: OSError | shutil.Error) -> str:
    if isinstance(error, shutil.Error) and isinstance(error.args[0], list):
        # A list of source, target and reason for each file that could not be copied.
        return "; ".join(str(fault[2]) for fault in error.args[0][:3])
    return error.strerror or str(error)


def _same(original: Path, copied: Path) -> int:
    with copied.open("rb") as file:
        os.fsync(file.fileno())
    if _digest(original) != _digest(copied):
        raise StoreError(0, f"the copy of {original.name} differs from its original")
    return copied.stat().st_size


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
