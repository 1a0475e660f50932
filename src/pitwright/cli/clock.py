"""Commands about time: the pit clock, fuel stops, the list before a main, a delay."""

from __future__ import annotations

import argparse
import dataclasses
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from pitwright.cli.numbers import minutes
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
    refusals_told,
)

if TYPE_CHECKING:
    from pitwright.weekend.weekend import Weekend

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    clock = commands.add_parser("clock", help="what still fits before the next heat")
    folder_argument(clock)
    _at_option(clock)
    clock.set_defaults(run=_clock)

    stops = commands.add_parser("stints", help="fuel stops of a main: how many, and when")
    folder_argument(stops)
    length = stops.add_mutually_exclusive_group()
    length.add_argument("--heat", metavar="HEAT", help="a heat (default: the next main)")
    length.add_argument("--minutes", metavar="MIN", type=minutes, help="a race of so long")
    _at_option(stops)
    stops.set_defaults(run=_stints)

    premain = commands.add_parser("premain", help="the list before a main, from the records")
    folder_argument(premain)
    _at_option(premain)
    premain.set_defaults(run=_premain)

    delay = commands.add_parser("delay", help="the schedule runs late from a heat on")
    folder_argument(delay)
    delay.add_argument("heat", metavar="HEAT", help="this heat and the later ones of its day")
    delay.add_argument("minutes", metavar="MINUTES", help="later by; -5 for earlier")
    delay.add_argument("--note", metavar="TEXT", default="", help="why")
    json_option(delay)
    delay.set_defaults(run=_delay)


def _at_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--at", metavar="TIME", help="as it stood then, such as 2026-05-16T14:30 (default: now)"
    )
    clutch_option(parser)
    json_option(parser)


def _stood(arguments: argparse.Namespace) -> tuple[Weekend, datetime]:
    """Return the weekend as it stood at the time asked for, and that time."""
    from pitwright.desk.as_of import as_of

    with opened(arguments.folder) as session:
        weekend = session.weekend
    check_clutch(weekend, arguments.clutch)
    if arguments.at is None:
        return weekend, datetime.now(UTC)
    at = moment(arguments.at, weekend.event.zone)
    return as_of(weekend, at), at


def _clock(arguments: argparse.Namespace) -> int:
    from pitwright.desk.clock.pit_clock import pit_clock
    from pitwright.desk.clock.pit_clock_words import pit_clock_lines

    weekend, now = _stood(arguments)
    found = pit_clock(weekend, now, arguments.clutch)
    if arguments.json:
        figures = {f.name: getattr(found, f.name) for f in dataclasses.fields(found)}
        jobs = [{**dataclasses.asdict(job), "fits": job.fits} for job in found.jobs]
        timers = [{**dataclasses.asdict(timer), "due": timer.due} for timer in found.timers]
        answer({**figures, "jobs": jobs, "timers": timers})
    else:
        print("\n".join(pit_clock_lines(found, weekend)))
    return 0


def _stints(arguments: argparse.Namespace) -> int:
    from pitwright.desk.clock.stints import stint_lines, stints

    weekend, now = _stood(arguments)
    minutes = arguments.minutes or _race_minutes(weekend, now, arguments.heat)
    found = stints(weekend, minutes, arguments.clutch)
    if isinstance(found, str):
        raise CliError(f"cannot plan the fuel stops: {found}")
    if arguments.json:
        answer(found)
    else:
        print("\n".join(stint_lines(found)))
    return 0


def _race_minutes(weekend: Weekend, now: datetime, name: str | None) -> float:
    from pitwright.desk.status import next_main

    if name is None:
        main = next_main(weekend, now)
        if main is None:
            raise CliError("no main is left on the schedule: say --heat or --minutes")
        return main.minutes
    found = next((h for h in weekend.schedule if h.name.casefold() == name.casefold()), None)
    if found is None:
        names = ", ".join(h.name for h in weekend.schedule) or "none is planned"
        raise CliError(f"no heat is called '{name}': {names}")
    return found.minutes


def _premain(arguments: argparse.Namespace) -> int:
    from pitwright.desk.clock.pre_main import pre_main, pre_main_lines

    weekend, now = _stood(arguments)
    found = pre_main(weekend, now, arguments.clutch)
    if arguments.json:
        answer({"main": found.main, "ready": found.ready, "points": found.points,
                "notes": found.notes})  # fmt: skip
    else:
        print("\n".join(pre_main_lines(found, weekend, now)))
    return 0 if found.ready else 1


def _delay(arguments: argparse.Namespace) -> int:
    from pitwright.desk.heats.note_forms import read_delay
    from pitwright.desk.wording import day_time

    values = {"heat": arguments.heat, "minutes": arguments.minutes, "note": arguments.note}
    with opened(arguments.folder, write=True) as session:
        before = {h.name: h.starts_at for h in session.weekend.schedule}
        with refusals_told():
            landed = session.append(read_delay(session.weekend, values, session.clock()))
        moved = [h for h in session.weekend.schedule if before[h.name] != h.starts_at]
        if arguments.json:
            answer(landed)
        else:
            zone = session.weekend.event.zone
            for heat in moved:
                was, new = day_time(before[heat.name], zone), day_time(heat.starts_at, zone)
                print(f"{heat.name}: {was} → {new}")
    return 0
