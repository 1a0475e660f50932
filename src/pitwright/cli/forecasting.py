"""The commands about wear: whether spring and shoes last, and what a race does to the bite."""

from __future__ import annotations

import argparse
import dataclasses
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    check_clutch,
    clutch_option,
    folder_argument,
    json_option,
    moment,
    opened,
)

if TYPE_CHECKING:
    from pitwright.desk.race.race import Option
    from pitwright.desk.wear.part_forecast import PartForecast
    from pitwright.desk.wear.timed import TimedLife

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parser."""
    forecast = commands.add_parser(
        "forecast", help="will spring, shoes and bearings last, and when to change them"
    )
    folder_argument(forecast)
    forecast.add_argument("--part", metavar="PART", help="one part only, by its short name")
    forecast.add_argument(
        "--now",
        metavar="TIME",
        help="count the heats to come from here, such as 2026-05-16T14:30 (default: now)",
    )
    clutch_option(forecast)
    json_option(forecast)
    forecast.set_defaults(run=_forecast)

    race = commands.add_parser(
        "race", help="the bite over a race: which spring, shoes and recess keep it nearest"
    )
    folder_argument(race)
    race.add_argument("heat", metavar="HEAT", nargs="?", help="a heat (default: the next main)")
    race.add_argument(
        "--at", metavar="TIME", help="as it stood then, such as 2026-05-16T14:30 (default: now)"
    )
    clutch_option(race)
    json_option(race)
    race.set_defaults(run=_race)


def _forecast(arguments: argparse.Namespace) -> int:
    from pitwright.desk.wear.timed import all_that_wears

    with opened(arguments.folder) as session:
        weekend = session.weekend
    check_clutch(weekend, arguments.clutch)
    now = (
        moment(arguments.now, weekend.event.zone)
        if arguments.now is not None
        else datetime.now(UTC)
    )
    found = all_that_wears(weekend, now, arguments.clutch)
    if arguments.part is not None:
        found = tuple(f for f in found if f.part.lower() == arguments.part.lower())
        if not found:
            raise CliError(f"no spring, shoe set or bearing set is called '{arguments.part}'")
    if arguments.json:
        answer({"forecasts": [_table(f) for f in found]})
    else:
        _print(found, full=arguments.part is not None)
    return 1 if any(_will_not_last(f) for f in found) else 0


def _will_not_last(found: PartForecast | TimedLife) -> bool:
    """Tell whether a fitted part is to be changed before a heat that is to come."""
    return found.standing == "fitted" and found.change_before is not None


def _table(found: PartForecast | TimedLife) -> dict[str, Any]:
    figures = {f.name: getattr(found, f.name) for f in dataclasses.fields(found)}
    return {**figures, "sentences": found.sentences, "short": found.short}


def _print(found: tuple[PartForecast | TimedLife, ...], *, full: bool) -> None:
    if not found:
        print("Nothing that wears is known yet: list it in stock.toml or fit it.")
    for i, part in enumerate(found):
        if i:
            print()
        first, *rest = part.sentences
        print(first)
        for line in rest:
            print(f"  {line}")
        for note in part.notes:
            print(f"  Note: {note}.")
        if full:
            for line in part.table:
                print(f"  {line}".rstrip())


def _race(arguments: argparse.Namespace) -> int:
    from pitwright.desk.as_of import as_of
    from pitwright.desk.race.race import race_desk
    from pitwright.desk.race.words import race_lines, short_answer

    with opened(arguments.folder) as session:
        weekend = session.weekend
    check_clutch(weekend, arguments.clutch)
    now = datetime.now(UTC)
    if arguments.at is not None:
        now = moment(arguments.at, weekend.event.zone)
        weekend = as_of(weekend, now)
    try:
        found = race_desk(weekend, now, arguments.heat, arguments.clutch)
    except KeyError:
        names = ", ".join(h.name for h in weekend.schedule) or "none is planned"
        raise CliError(f"no heat is called '{arguments.heat}': {names}") from None
    if arguments.json:
        figures = {f.name: getattr(found, f.name) for f in dataclasses.fields(found)}
        options = [_option(option) for option in found.options]
        answer({**figures, "options": options, "short": short_answer(found)})
    else:
        print("\n".join(race_lines(found)))
    return 1 if found.best is None else 0


def _option(option: Option) -> dict[str, Any]:
    """Return an option as plain figures; the forecasts behind it are no answer."""
    parts = {
        place: {f.name: getattr(part, f.name) for f in dataclasses.fields(part) if f.compare}
        for place, part in (("spring", option.spring), ("shoes", option.shoes))
    }
    return {
        **parts,
        "leave": option.leave,
        "outcome": option.outcome,
        "unknown": option.unknown,
        "change_as_fitted": option.change,
        "crosses_a_limit": option.crosses,
    }
