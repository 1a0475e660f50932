"""A folder into a weekend, with every problem found on the way."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from pitwright.store.copies import copy_of, copy_problem
from pitwright.store.lap_csv import read_lap_csv, read_lap_marks
from pitwright.store.log_files import KnownTexts, each_once, read_log
from pitwright.store.open_work import other_names, read_open
from pitwright.store.toml_reader import names_in, parse_toml, text_inside, validate
from pitwright.timing.text import LapFileError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.card_check import card_questions, card_refusals
from pitwright.weekend.clocks import clock_problems
from pitwright.weekend.event import EventCard
from pitwright.weekend.log import Log, in_force
from pitwright.weekend.model import Model
from pitwright.weekend.open_work import OpenWork
from pitwright.weekend.problems import Problem
from pitwright.weekend.procedure import Procedure
from pitwright.weekend.records import AnyRecord, HeatRun
from pitwright.weekend.stock import Stock
from pitwright.weekend.weekend import Weekend

__all__ = ["Opened", "read_folder"]

_M = TypeVar("_M", bound=Model)
_CARDS: Final = {"weekend", "clutch", "procedure", "stock"}


@dataclass(frozen=True)
class Opened:
    """What a folder holds: the weekend when its cards can be used, and all problems.

    ``unread`` are those of the files alone, without what the records say against each other.
    """

    weekend: Weekend | None
    problems: tuple[Problem, ...]
    records: tuple[AnyRecord, ...] = ()
    unread: tuple[Problem, ...] = ()


def read_folder(
    folder: Path, laptop: str, known: KnownTexts | None = None, before: Log | None = None
) -> Opened:
    """Read the weekend in ``folder``; nothing is written.

    Cards that cannot be read leave no weekend; a record or a lap file that cannot be read is
    named among the problems and left out. ``known`` are texts of records read before, ``before``
    the log that was resolved last: who reads again is quicker with them.
    """
    trouble = _no_folder(folder)
    if trouble is not None:
        return Opened(None, (trouble,), (), (trouble,))
    problems: list[Problem] = []
    event = _card(folder, "weekend.toml", EventCard, problems)
    procedure = _card(folder, "procedure.toml", Procedure, problems)
    stock = _card(folder, "stock.toml", Stock, problems)
    clutches: dict[str, ClutchCard] = {}
    for name in ("clutch.toml", *_more_clutches(folder, problems)):
        card = _card(folder, name, ClutchCard, problems)
        refused = [] if card is None else card_refusals(card, name)
        problems += refused
        if card is not None and not refused:
            problems += card_questions(card, name)
            if card.id in clutches:
                problems.append(Problem(name, "id", f"'{card.id}' is taken by another clutch card"))
            clutches.setdefault(card.id, card)
    records, twice = each_once(read_log(folder, problems, known))
    problems += twice
    log = in_force(records, before)
    laps, marks = _laps(folder, _heat_names(event, records), problems)
    open_work = _of_known_clutches(read_open(folder, laptop, problems), clutches, laptop, problems)
    problems += other_names(folder, laptop, problems)
    unread = tuple(problems)
    if event is None or procedure is None or stock is None or not clutches:
        return Opened(None, unread + log.problems, tuple(records), unread)
    weekend = Weekend(event, clutches, procedure, stock, log, laps, open_work, marks)
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


def _more_clutches(folder: Path, problems: list[Problem]) -> list[str]:
    """Return the names of the cards of further clutches; copies of any card are named."""
    stems = [n.removesuffix(".toml") for n in names_in(folder, "", ".toml", problems)]
    known = _CARDS | {stem for stem in stems if stem.startswith("clutch-")}
    copies = {stem: copy_of(stem, known - {stem}) for stem in stems if stem not in _CARDS}
    problems += [copy_problem(f"{s}.toml", f"{of}.toml") for s, of in copies.items() if of]
    return [f"{s}.toml" for s, of in copies.items() if of is None and s.startswith("clutch-")]


def _heat_names(event: EventCard | None, records: Iterable[AnyRecord]) -> set[str]:
    """Return what heats are called, planned or noted."""
    names = {heat.name for heat in event.heat} if event is not None else set()
    return names | {r.heat for r in records if isinstance(r, HeatRun)}


def _card(folder: Path, name: str, model: type[_M], problems: list[Problem]) -> _M | None:
    text = text_inside(folder, name)
    table = parse_toml(text, name) if isinstance(text, str) else text
    found = [table] if isinstance(table, Problem) else validate(table, model, name)
    if isinstance(found, list):
        problems += found
        return None
    return found


def _laps(
    folder: Path, heats: Collection[str], problems: list[Problem]
) -> tuple[dict[str, tuple[float, ...]], dict[str, dict[int, str]]]:
    """The laps of each heat in seconds, and what stood beside them by the number of the lap."""
    laps: dict[str, tuple[float, ...]] = {}
    marks: dict[str, dict[int, str]] = {}
    stems = [name.removesuffix(".csv") for name in names_in(folder, "laps", ".csv", problems)]
    for stem in stems:
        shown = f"laps/{stem}.csv"
        original = None if stem in heats else copy_of(stem, {*heats, *stems} - {stem})
        if original is not None:
            problems.append(copy_problem(shown, f"laps/{original}.csv"))
            continue
        text = text_inside(folder, shown)
        if isinstance(text, Problem):
            problems.append(text)
            continue
        try:
            laps[stem] = tuple(read_lap_csv(text))
            marks[stem] = read_lap_marks(text)
        except LapFileError as error:
            problems.append(Problem(shown, "", str(error)))
    return laps, marks
