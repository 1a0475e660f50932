"""Commands about the clutch: its state, and the advice for its nut."""

from __future__ import annotations

import argparse

from pitwright.cli.shared import (
    Commands,
    answer,
    check_clutch,
    clutch_option,
    folder_argument,
    json_option,
    moment,
    opened,
    rpm,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    state = commands.add_parser("state", help="what the clutch is like, now or at a time")
    folder_argument(state)
    state.add_argument("--at", metavar="TIME", help="a moment, such as 2026-05-16T14:30")
    clutch_option(state)
    json_option(state)
    state.set_defaults(run=_state)

    nut = commands.add_parser("nut", help="which recess brings an earlier heat's bite back")
    folder_argument(nut)
    nut.add_argument(
        "--hold",
        choices=("preload", "bite"),
        help="what to bring back (default: the bite where the shoes have been measured, else the "
        "preload, which counts no shoe wear)",
    )
    nut.add_argument("--like", metavar="HEAT", help="the heat to match (default: the last one)")
    nut.add_argument("--aim", metavar="RPM", type=rpm, help="a bite speed to aim for instead")
    clutch_option(nut)
    json_option(nut)
    nut.set_defaults(run=_nut)


def _state(arguments: argparse.Namespace) -> int:
    from pitwright.desk.condition import condition, condition_lines

    with opened(arguments.folder) as session:
        weekend = session.weekend
        at = moment(arguments.at, weekend.event.zone) if arguments.at else None
        check_clutch(weekend, arguments.clutch)
        found = condition(weekend, at, arguments.clutch)
        if arguments.json:
            answer(found)
        else:
            print("\n".join(condition_lines(found, weekend.event.zone)))
    return 0


def _nut(arguments: argparse.Namespace) -> int:
    from pitwright.desk.nut.nut import nut_advice
    from pitwright.desk.nut.words import nut_lines

    with opened(arguments.folder) as session:
        weekend = session.weekend
        check_clutch(weekend, arguments.clutch)
        found = nut_advice(
            weekend,
            hold=arguments.hold,
            like=arguments.like,
            target_rpm=arguments.aim,
            clutch=arguments.clutch,
        )
    if arguments.json:
        answer(found)
    else:
        print("\n".join(nut_lines(found)))
    return 1 if found.refused or found.unknown else 0
