"""New weekends, fresh copies of the demo, and backups that are verified."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from pathlib import Path

from pitwright.store.files import StoreError, create_file
from pitwright.store.log_writer import append_record, laptop_name
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
    for byte; ``carry`` the record of what it hands on. Raises FileExistsError when a card is
    there already, StoreError when the disk will not have it.
    """
    for card in CARDS:
        if (folder / card).exists():
            raise FileExistsError(f"{folder} holds a {card} already; choose another folder")
    values: Mapping[str, str] = {
        "{name}": _quoted(name),
        "{time_zone}": _quoted(time_zone),
        "{starts_on}": starts_on.isoformat(),
        "{ends_on}": (starts_on + timedelta(days=days - 1)).isoformat(),
    }
    weekend = _template("weekend.toml")
    for mark, value in values.items():
        weekend = weekend.replace(mark, value)
    texts: dict[str, bytes] = {"weekend.toml": weekend.encode()}
    for card in CARDS[1:]:
        source = cards_from / card if cards_from is not None else None
        texts[card] = source.read_bytes() if source is not None else _template(card).encode()
    if cards_from is not None:
        for extra in sorted(cards_from.glob("clutch-*.toml")):
            texts[extra.name] = extra.read_bytes()
    for card, text in texts.items():
        create_file(folder / card, text)
    for part in ("log", "laps"):
        (folder / part).mkdir(exist_ok=True)
    if carry is not None:
        moment = now or datetime.now(UTC)
        append_record(folder, carry, laptop=laptop_name(), sequence=1, now=moment)


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
    """What a backup copied: where to, how many files and bytes, all compared afterwards."""

    target: Path
    files: int
    size: int


def backup(folder: Path, target: Path, *, now: datetime | None = None) -> BackedUp:
    """Copy the weekend into a dated folder under ``target`` and compare every file.

    The original is only read. Raises StoreError when a copy is not like its original.
    """
    stamp = (now or datetime.now(UTC)).strftime("%Y%m%dT%H%M%SZ")
    inside = os.path.realpath(target)
    if (inside + os.sep).startswith(os.path.realpath(folder) + os.sep):
        raise StoreError(0, "A backup inside the weekend's own folder would be lost with it")
    place = target / f"{folder.resolve().name}-{stamp}"
    try:
        target.mkdir(parents=True, exist_ok=True)
        shutil.copytree(
            folder, place, symlinks=True, ignore=shutil.ignore_patterns("*.unfinished", "*.lock")
        )
        sizes = [_same(folder, place, copied) for copied in sorted(place.rglob("*"))]
    except FileExistsError:
        raise
    except (OSError, shutil.Error) as error:
        raise StoreError(
            getattr(error, "errno", 0) or 0, f"The backup to {place} failed: {error}"
        ) from error
    copied_sizes = [size for size in sizes if size is not None]
    return BackedUp(place, len(copied_sizes), sum(copied_sizes))


def _same(folder: Path, place: Path, copied: Path) -> int | None:
    if not copied.is_file():
        return None
    original = folder / copied.relative_to(place)
    with copied.open("rb") as file:
        os.fsync(file.fileno())
    if _digest(original) != _digest(copied):
        raise StoreError(0, f"The copy of {original.name} differs from its original")
    return copied.stat().st_size


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
