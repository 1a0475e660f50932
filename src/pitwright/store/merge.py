"""Two laptops' folders into one: what is missing is copied, what differs is said."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pitwright.store.check import check_folder
from pitwright.store.create import CARDS
from pitwright.store.files import StoreError, create_file, replace_file
from pitwright.store.laptop import laptop_name
from pitwright.store.log_files import read_log
from pitwright.store.superseded import put_right
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.clocks import name_problems
from pitwright.weekend.model import visible
from pitwright.weekend.problems import Problem

__all__ = ["CardComparison", "Merged", "merge"]

# Where whatever has the same name has the same meaning; other parts of a folder stay its own.
_PARTS = ("log", "laps", "recordings")
_LARGEST = 2_000_000_000


@dataclass(frozen=True)
class CardComparison:
    """One hand-written card in both folders; ``keys`` are those that differ.

    ``comments`` when only what a person reads differs.
    """

    card: str
    result: Literal["same", "comments differ", "differs", "only here", "only there", "unreadable"]
    keys: tuple[str, ...] = ()


@dataclass(frozen=True)
class Merged:
    """What a merge did, or would do: files copied, had already, kept beside, and left out.

    ``beside`` maps a name that stands for different files in the two folders to the name under
    which the other folder's file was kept here; where it is among ``replaced``, the other folder's
    has the name now and the one that was here was kept. ``put_right`` are those of which the one
    that was put aside in the other folder gave way, whatever is in them. ``left`` maps what was
    not copied to the reason.
    """

    copied: tuple[str, ...]
    already: int
    beside: dict[str, str]
    replaced: tuple[str, ...]
    put_right: tuple[str, ...]
    left: dict[str, str]
    cards: tuple[CardComparison, ...]
    problems: tuple[Problem, ...]
    dry_run: bool = False


def merge(into: Path, other: Path, *, dry_run: bool = False) -> Merged:
    """Copy what ``other`` has and ``into`` has not: records, laps, recordings.

    Cards are compared and never written. Nothing in ``other`` is touched. A record that is here,
    under whatever name of its file, is not copied again; another version of it is left out and
    said: a record is never changed, so one of the two was edited by hand. Laps and recordings of
    one name with other content are both kept, one of them beside, where no reader takes it for the
    heat's own. Laps that one of the folders has put aside, since they were put right there, give
    way to those that stand there; of others the ones with more lines have the name. It makes no
    difference which folder they come from: both ways round lead to the same. ``problems`` are
    the folder's after the merge. Raises StoreError when ``other`` holds nothing of a weekend or the
    disk will not have it; what was copied till then is whole.
    """
    if os.path.realpath(into) == os.path.realpath(other):
        raise StoreError(0, f"{into} and {other} are the same folder")
    copied: list[str] = []
    already = 0
    beside: dict[str, str] = {}
    replaced: list[str] = []
    later: list[str] = []
    left = dict(_strange_folders(other))
    here = {file.record.id: file for file in read_log(into, [])}
    there = {file.name: file for file in read_log(other, [])}
    if not (there or _is_weekend(other) or any((other / "laps").glob("*.csv"))):
        raise StoreError(0, f"{other} holds no weekend, nor records or laps saved from one")
    try:
        for name in _names(other):
            target = into / name
            reason = _not_a_plain_file(other, name)
            if not reason and os.path.lexists(target) and _not_a_plain_file(into, name):
                reason = f"cannot come here: what has its name here {_not_a_plain_file(into, name)}"
            if reason:
                left[name] = reason
                continue
            data = (other / name).read_bytes()
            logged = there.get(name)
            known = here.setdefault(logged.record.id, logged) if logged is not None else None
            if logged is not None and known is not None and known is not logged:
                if known.record == logged.record:
                    already += 1
                else:
                    left[name] = f"is another version of {known.name}: one was changed by hand"
            elif not target.exists():
                if not dry_run:
                    create_file(target, data, within=into)
                copied.append(name)
            elif target.read_bytes() == data:
                already += 1
            elif name.startswith("log/"):
                left[name] = "another record of this name is here: one was changed by hand"
            else:
                heat = _heat_of(name)
                right = put_right(into, other, heat) if heat else ""
                wins = right == "there" or (not right and _fuller(name, data, target.read_bytes()))
                kept = _both(into, name, data, wins=wins, right=bool(right), dry_run=dry_run)
                already += kept is None
                if kept is not None:
                    beside[name] = kept
                    replaced += [name] * wins
                    later += [name] * bool(right)
    except FileExistsError as error:
        raise StoreError(0, f"{error} came up while merging; merge again") from error
    except StoreError:
        raise
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        raise StoreError(error.errno or 0, f"{where}{error.strerror or error}") from error
    cards = tuple(_compare(into, other, card) for card in _cards(into, other))
    problems = check_folder(into, laptop_name()).problems
    # What was not copied in a dry run nobody has read yet.
    names = name_problems(file.record for file in here.values())
    problems += tuple(p for p in names if p not in problems)
    return Merged(
        tuple(copied),
        already,
        beside,
        tuple(replaced),
        tuple(later),
        left,
        cards,
        problems,
        dry_run,
    )


def _names(other: Path) -> Iterator[str]:
    for part in _PARTS:
        found: list[str] = []
        for place, folders, names in os.walk(other / part):
            if part == "log":
                folders.clear()
            inside = Path(place).relative_to(other)
            found += [
                (inside / name).as_posix()
                for name in names
                if not name.startswith(".") and (part != "log" or name.endswith(".toml"))
            ]
        # What is put aside comes after what it was put aside for: by it the two are told apart.
        yield from sorted(found, key=lambda name: (name.count("/"), name))


def _strange_folders(other: Path) -> Iterator[tuple[str, str]]:
    """Return the folders that are not looked into, and why."""
    for part in _PARTS:
        for place, folders, _names in os.walk(other / part):
            for folder in sorted(f for f in folders if not f.startswith(".")):
                path = Path(place) / folder
                name = path.relative_to(other).as_posix()
                if path.is_symlink():
                    yield name, "is a link; copy the folder itself"
                elif part == "log":
                    yield name, "is a folder inside the log, which is never read"
            if part == "log":
                folders.clear()


def _is_weekend(folder: Path) -> bool:
    return (folder / "weekend.toml").is_file()


def _not_a_plain_file(other: Path, name: str) -> str:
    path = other / name
    inside = os.path.realpath(other) + os.sep
    if path.is_symlink() or not os.path.realpath(path).startswith(inside):
        return "is a link; copy the file itself"
    if not path.is_file():
        return "is not a file"
    return "is larger than 2 GB" if path.stat().st_size > _LARGEST else ""


def _heat_of(name: str) -> str:
    path = Path(name)
    return path.stem if path.parent.as_posix() == "laps" and path.suffix == ".csv" else ""


def _both(
    into: Path, name: str, theirs: bytes, *, wins: bool, right: bool, dry_run: bool
) -> str | None:
    """Keep two files of one name, and return where the one is that does not have it.

    None when theirs stands beside already, and is not to have the name since it was put ``right``:
    then nothing is changed, whatever was chosen here since.
    """
    target = into / name
    mine = target.read_bytes()
    if (into / _beside(name, theirs)).exists() and not (wins and right):
        return None
    spare = _beside(name, mine if wins else theirs)
    if not dry_run:
        if not (into / spare).exists():
            create_file(into / spare, mine if wins else theirs, within=into)
        if wins:
            replace_file(target, theirs, within=into)
    return spare


def _fuller(name: str, theirs: bytes, mine: bytes) -> bool:
    """Tell whether theirs has more laps. A recording stays what the records here name."""
    return name.startswith("laps/") and (theirs.count(b"\n"), theirs) > (mine.count(b"\n"), mine)


def _beside(name: str, data: bytes) -> str:
    """Return the name under which a file is kept beside another one: by what is in it.

    Laps get an ending of their own, so that nothing reads them as a heat's.
    """
    path = Path(name)
    ending = f"{path.suffix}.other" if path.suffix == ".csv" else path.suffix
    digest = hashlib.sha256(data).hexdigest()[:10]
    return path.with_name(f"{path.stem}-other-{digest}{ending}").as_posix()


def _cards(into: Path, other: Path) -> list[str]:
    extra = {p.name for folder in (into, other) for p in folder.glob("clutch-*.toml")}
    # A folder that holds only what was saved elsewhere has no cards to compare.
    has = any((other / card).exists() for card in CARDS)
    return [*CARDS, *sorted(extra)] if has else []


def _compare(into: Path, other: Path, card: str) -> CardComparison:
    if not (into / card).exists():
        return CardComparison(card, "only there")
    if not (other / card).exists():
        return CardComparison(card, "only here")
    here, there = (read_text(folder / card, card) for folder in (into, other))
    if here == there and isinstance(here, str):
        return CardComparison(card, "same")
    tables = [parse_toml(t, card) if isinstance(t, str) else t for t in (here, there)]
    if any(isinstance(table, Problem) for table in tables):
        return CardComparison(card, "unreadable")
    keys = tuple(_differences(tables[0], tables[1], ""))
    return CardComparison(card, "differs" if keys else "comments differ", keys)


def _differences(here: Any, there: Any, at: str) -> Iterator[str]:
    if isinstance(here, dict) and isinstance(there, dict):
        for key in [*here, *(k for k in there if k not in here)]:
            shown = visible(key, keep="")[:60]
            yield from _differences(here.get(key), there.get(key), f"{at}.{shown}" if at else shown)
    elif isinstance(here, list) and isinstance(there, list):
        yield from _list_differences(here, there, at)
    elif here != there:
        yield at


def _list_differences(here: list[Any], there: list[Any], at: str) -> Iterator[str]:
    """Compare blocks by their own id or name where they have one, else by place."""
    named = [{_label(block): block for block in blocks} for blocks in (here, there)]
    whole = all(None not in names for names in named)
    if whole and len(named[0]) == len(here) and len(named[1]) == len(there):
        for label in [*named[0], *(k for k in named[1] if k not in named[0])]:
            inside = f"{at}[{label}]"
            yield from _differences(named[0].get(label), named[1].get(label), inside)
        return
    for number in range(max(len(here), len(there))):
        pair = [blocks[number] if number < len(blocks) else None for blocks in (here, there)]
        yield from _differences(pair[0], pair[1], f"{at}[{number + 1}]")


def _label(block: Any) -> str | None:
    if not isinstance(block, dict):
        return None
    label = block.get("id", block.get("name", block.get("label")))
    return visible(label, keep="")[:60] if isinstance(label, str) else None
