"""The command about slip heat: how warm it gets, what that moves, and what it costs in shoes."""

from __future__ import annotations

import argparse

from pitwright.cli import numbers
from pitwright.cli.prepared import clutch_argument, prepared_clutch
from pitwright.cli.shared import CliError, Commands, answer, opened, refusals_told

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    warmth = commands.add_parser(
        "warmth", help="slip heat of the corners: bell, fade, and its price in shoes"
    )
    clutch_argument(warmth)
    warmth.add_argument("--minute", metavar="N", type=numbers.minutes, help="show this minute too")
    warmth.add_argument("--air", metavar="C", type=numbers.degrees, help="air temperature, Celsius")
    warmth.add_argument(
        "--read", metavar="C", type=numbers.bell_degrees, help="keep a gun reading of the bell"
    )
    warmth.add_argument("--heat", metavar="HEAT", help="with --read: the heat it had just run")
    warmth.add_argument(
        "--ago", metavar="MIN", type=numbers.minutes, default=0.0, help="with --read: how long ago"
    )
    warmth.set_defaults(run=_warmth)


def _warmth(arguments: argparse.Namespace) -> int:
    from pitwright.desk.warmth.gun import gun_record
    from pitwright.desk.warmth.warmth import warmth_desk
    from pitwright.desk.warmth.words import warmth_lines

    with opened(arguments.folder, write=arguments.read is not None) as session:
        if arguments.read is not None:
            with refusals_told():
                session.append(
                    gun_record(
                        session.weekend,
                        arguments.read,
                        now=session.clock(),
                        clutch=arguments.clutch,
                        heat=arguments.heat,
                        ago_minutes=arguments.ago,
                    )
                )
        elif arguments.heat is not None or arguments.ago:
            raise CliError("--heat and --ago go with --read")
        prepared = prepared_clutch(session.weekend, arguments)
        found = warmth_desk(prepared, session.clock(), minute=arguments.minute, air_c=arguments.air)
    if arguments.json:
        answer(found)
    else:
        print("\n".join(warmth_lines(found)))
    return 1 if found.unknown else 0
