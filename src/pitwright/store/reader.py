"""A folder into a weekend, with every problem found on the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, cast

from pitwright.store.lap_csv import read_lap_csv
from pitwright.store.lap_text import LapFileError
from pitwright.store.open_work import read_open
from pitwright.store.toml_reader import names_in, other_format, parse_toml, text_inside, validate
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.clocks import clock_problems
from pitwright.weekend.event import EventCard
from pitwright.weekend.log import in_force
from pitwright.weekend.model import Model
from pitwright.weekend.open_work import OpenWork
from pitwright.weekend.problems import Problem
from pitwright.weekend.procedure import Procedure
from pitwright.weekend.records import RECORD_KINDS, AnyRecord
from pitwright.weekend.stock import Stock
from pitwright.weekend.weekend import Weekend

__all__ = ["Opened", "read_folder"]

_M = TypeVar("_M", bound=Model)


@dataclass(frozen=True)
class Opened:
    """What a folder holds: the weekend when its cards can be used, and all problems.

    ``unread`` are those of the files alone, without what the records say against each other.
    ``sequences`` are the numbers each laptop has used, of readable records.
    """

    weekend: Weekend | None
    problems: tuple[Problem, ...]
    records: tuple[AnyRecord, ...] = ()
    unread: tuple[Problem, ...] = ()

    def sequences(self, laptop: str) -> list[int]:
        """Return the sequence numbers a laptop has used."""
        return [r.sequence for r in self.records if r.laptop == laptop]


def read_folder(folder: Path, laptop: str) -> Opened:
    """Read the weekend in ``folder``; nothing is written.

    Cards that cannot be read leave no weekend; a record or a lap file that cannot be read is
    named among the problems and left out.
    """
    trouble = _no_folder(folder)
    if trouble is not None:
        return Opened(None, (trouble,), (), (trouble,))
    problems: list[Problem] = []
    event = _card(folder, "weekend.toml", EventCard, problems)
    procedure = _card(folder, "procedure.toml", Procedure, problems)
    stock = _card(folder, "stock.toml", Stock, problems)
    clutches: dict[str, ClutchCard] = {}
    extra = [n for n in names_in(folder, "", ".toml", problems) if n.startswith("clutch-")]
    for name in ("clutch.toml", *extra):
        card = _card(folder, name, ClutchCard, problems)
        if card is not None:
            if card.id in clutches:
                problems.append(Problem(name, "id", f"'{card.id}' is taken by another clutch card"))
            clutches[card.id] = card
    records = list(_records(folder, problems))
    log = in_force(records)
    laps = _laps(folder, problems)
    open_work = _of_known_clutches(read_open(folder, laptop, problems), clutches, laptop, problems)
    unread = tuple(problems)
    if event is None or procedure is None or stock is None or not clutches:
        return Opened(None, unread + log.problems, tuple(records), unread)
    weekend = Weekend(event, clutches, procedure, stock, log, laps, open_work)
    said = (*unread, *log.problems, *clock_problems(event, records))
    return Opened(weekend, said, tuple(records), unread)


def _of_known_clutches(
    work: OpenWork, clutches: Mapping[str, ClutchCard], laptop: str, problems: list[Problem]
) -> OpenWork:
    """Leave out what is in progress on a clutch whose card is not here."""
    known: dict[str, None] = {}
    for name, clutch in (
        ("build", work.build.clutch if work.build is not None else None),
        ("heat", work.heat.heat.clutch if work.heat is not None else None),
    ):
        if clutch is not None and clutch not in clutches:
            reason = f"names clutch '{clutch}', which no card has"
            advice = "put its card back, or move this file away"
            problems.append(Problem(f"open/{laptop}/{name}.toml", "clutch", reason, advice))
            known[name] = None
    return work.model_copy(update=known)


def _no_folder(folder: Path) -> Problem | None:
    try:
        if folder.is_dir():
            return None
        reason = "is not a folder" if folder.exists() else "is not there"
    except OSError as error:
        return Problem(str(folder), "", f"cannot be read: {error.strerror or error}")
    return Problem(str(folder), "", reason, "make one with: pitwright new FOLDER")


def _card(folder: Path, name: str, model: type[_M], problems: list[Problem]) -> _M | None:
    text = text_inside(folder, name)
    table = parse_toml(text, name) if isinstance(text, str) else text
    found = [table] if isinstance(table, Problem) else validate(table, model, name)
    if isinstance(found, list):
        problems += found
        return None
    return found


def _records(folder: Path, problems: list[Problem]) -> Iterator[AnyRecord]:
    for name in names_in(folder, "log", ".toml", problems):
        shown = f"log/{name}"
        text = text_inside(folder, shown)
        table = parse_toml(text, shown) if isinstance(text, str) else text
        if isinstance(table, Problem):
            problems.append(table)
            continue
        # A newer format may have kinds that are not known here; that is what is to be said then.
        other = other_format(table, shown)
        if other is not None:
            problems.append(other)
            continue
        kind = table.get("kind")
        model = RECORD_KINDS.get(kind) if isinstance(kind, str) else None
        if model is None:
            reason = "is missing" if kind is None else f"{kind!r:.40} is not a kind of record"
            problems.append(Problem(shown, "kind", reason, "one of: " + ", ".join(RECORD_KINDS)))
            continue
        record = validate(table, model, shown)
        if isinstance(record, list):
            problems += record
            continue
        if record.sequence < 1 or not record.laptop or record.recorded_at is None:
            problems.append(
                Problem(
                    shown, "sequence", "a record in the log needs laptop, sequence, recorded_at"
                )
            )
            continue
        # model_copy would validate nothing more and costs less than a second validation.
        yield cast(AnyRecord, record.model_copy(update={"id": name.removesuffix(".toml")}))


def _laps(folder: Path, problems: list[Problem]) -> dict[str, tuple[float, ...]]:
    laps: dict[str, tuple[float, ...]] = {}
    for name in names_in(folder, "laps", ".csv", problems):
        shown = f"laps/{name}"
        text = text_inside(folder, shown)
        if isinstance(text, Problem):
            problems.append(text)
            continue
        try:
            laps[name.removesuffix(".csv")] = tuple(read_lap_csv(text))
        except LapFileError as error:
            problems.append(Problem(shown, "", str(error)))
    return laps
