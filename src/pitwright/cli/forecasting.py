"""The command about wear: whether spring and shoes last the main."""

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
