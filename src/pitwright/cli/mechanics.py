"""Commands about the clutch at work: bite, launch, shims, and speeds seen."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from pitwright.cli import numbers
from pitwright.cli.prepared import air_options, clutch_argument, given_air, prepared_clutch
from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    check_clutch,
    clutch_option,
    folder_argument,
    json_option,
    opened,
    rpm,
)
from pitwright.desk.cautions import CREEP_CAUTION

if TYPE_CHECKING:
    from pitwright.desk.bite.bite import Prepared

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    bite = commands.add_parser("bite", help="where the clutch bites, lets go and locks up")
    clutch_argument(bite)
    bite.add_argument("--like", metavar="HEAT", help="the heat to compare with (default: the last)")
    bite.add_argument("--recess", metavar="MM", type=numbers.mm, help="try this nut recess")
    bite.add_argument("--free-length", metavar="MM", type=numbers.mm, help="try this free length")
    bite.add_argument(
        "--worn", metavar="MM", type=numbers.mm, help="try this much wear off each shoe"
    )
    bite.add_argument("--hot", action="store_true", help="try the spring at running temperature")
    air_options(bite)
    bite.add_argument("--at", metavar="TIME", help="a moment, such as 2026-05-16T14:30")
    bite.add_argument(
        "--card", action="store_true", help="the card's figures it stands on, each with its doubt"
    )
    bite.set_defaults(run=_bite)

    launch = commands.add_parser("launch", help="one launch: time, heat, and what the tyres carry")
    clutch_argument(launch)
    launch.add_argument("--from", dest="start", metavar="RPM", type=rpm, help="default: idle")
    launch.set_defaults(run=_launch)

    shims = commands.add_parser("shims", help="the tin, the end play and the best shim stacks")
    clutch_argument(shims)
    shims.add_argument(
        "--measured", metavar="MM", type=numbers.mm, help="end play with the shims that are in now"
    )
    shims.add_argument(
        "--keep", metavar="N", type=numbers.few, default=5, help="answers (default: 5)"
    )
    shims.set_defaults(run=_shims)

    observe = commands.add_parser(
        "observe",
        help="record a creep or take-up speed seen on the car",
        description=f"Record a creep or take-up speed seen on the car. {CREEP_CAUTION}.",
    )
    folder_argument(observe)
    observe.add_argument(
        "how",
        choices=("creep", "plateau"),
        help="creep: the wheels just turn; plateau: the steady speed while it slips",
    )
    observe.add_argument("rpm", metavar="RPM", type=rpm)
    observe.add_argument(
        "--plus-minus", metavar="RPM", type=numbers.rpm_spread, help="how far off it may be"
    )
    observe.add_argument(
        "--by",
        choices=("tachometer", "recording", "by ear"),
        default="tachometer",
        help="default: tachometer",
    )
    observe.add_argument("--heat", metavar="HEAT", help="the heat it was seen in")
    observe.add_argument("--note", default="")
    observe.add_argument(
        "--accept-slip", action="store_true", help="keep it although it looks like a slip"
    )
    clutch_option(observe)
    json_option(observe)
    observe.set_defaults(run=_observe)


def _bite(arguments: argparse.Namespace) -> int:
    from pitwright.desk.bite.bite import Tries, bite_desk
    from pitwright.desk.bite.words import bite_lines

    air = given_air(arguments)
    with opened(arguments.folder) as session:
        prepared = prepared_clutch(session.weekend, arguments)
    if arguments.card:
        return _card(arguments, prepared)
    found = bite_desk(
        prepared,
        Tries(arguments.recess, arguments.free_length, arguments.worn, arguments.hot, air),
    )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(bite_lines(found)))
    return 1 if found.tried.refused or (arguments.like and found.like is None) else 0


def _card(arguments: argparse.Namespace, prepared: Prepared) -> int:
    from pitwright.desk.clutch.card_figures import card_figures, card_lines

    figures = card_figures(prepared.card, prepared.fitted)
    if arguments.json:
        answer({"figures": figures})
    else:
        print("\n".join(card_lines(figures)))
    return 0


def _launch(arguments: argparse.Namespace) -> int:
    from pitwright.desk.bite.launch import launch_desk, launch_lines

    with opened(arguments.folder) as session:
        found = launch_desk(prepared_clutch(session.weekend, arguments), arguments.start)
    if arguments.json:
        answer(found)
    else:
        print("\n".join(launch_lines(found)))
    return 1 if found.unknown or found.full is None else 0


def _shims(arguments: argparse.Namespace) -> int:
    from pitwright.desk.stock.shim_words import shim_lines
    from pitwright.desk.stock.shims import shim_desk

    with opened(arguments.folder) as session:
        check_clutch(session.weekend, arguments.clutch)
        found = shim_desk(
            session.weekend,
            clutch=arguments.clutch,
            measured_mm=arguments.measured,
            keep=arguments.keep,
        )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(shim_lines(found)))
    return 1 if found.unknown or found.out_of_reach else 0


def _observe(arguments: argparse.Namespace) -> int:
    from pydantic import ValidationError

    from pitwright.desk.bite.bite import bite_desk
    from pitwright.desk.bite.doubt import observation_doubt
    from pitwright.desk.bite.words import observation_lines, trust_line
    from pitwright.desk.clutch.observed import observation_record
    from pitwright.store.files import StoreError

    with opened(arguments.folder, write=True) as session:
        weekend = session.weekend
        check_clutch(weekend, arguments.clutch)
        heat = None
        if arguments.heat is not None:
            try:
                heat = weekend.heat(arguments.heat).run.heat
            except KeyError:
                raise CliError(f"there is no heat '{arguments.heat}' in the log") from None
        try:
            record = observation_record(
                arguments.how,
                arguments.rpm,
                now=session.clock(),
                clutch=weekend.card(arguments.clutch).id,
                source=arguments.by,
                # A limit on both sides is taken as twice the standard uncertainty.
                u_rpm=None if arguments.plus_minus is None else arguments.plus_minus / 2,
                heat=heat,
                note=arguments.note,
            )
        except ValidationError as error:  # a note with control signs, say
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            raise CliError(f"cannot be recorded, {where}: {first['msg']}") from error
        doubt = observation_doubt(weekend, record)
        if doubt and not arguments.accept_slip:
            raise CliError(f"{doubt}. Not kept; if it is right, say so with --accept-slip")
        try:
            landed = session.append(record)
        except StoreError as error:
            raise CliError(error.strerror or str(error)) from error
        prepared = prepared_clutch(session.weekend, arguments)
    found = bite_desk(prepared)
    if arguments.json:
        answer({"record": landed.id, "bite": found})
    else:
        print("\n".join([trust_line(found), *observation_lines(found.observations)]))
    return 0
