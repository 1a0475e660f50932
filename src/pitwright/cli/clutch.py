"""Commands about the clutch: its state, and the advice for its nut."""

from __future__ import annotations

import argparse

from pitwright.cli.shared import (
    Commands,
    answer,
    folder_argument,
    json_option,
    moment,
    opened,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    state = commands.add_parser("state", help="what the clutch is like, now or at a time")
    folder_argument(state)
    state.add_argument("--at", metavar="TIME", help="a moment, such as 2026-05-16T14:30")
    state.add_argument("--clutch", metavar="NAME", help="which clutch, when there are several")
    json_option(state)
    state.set_defaults(run=_state)


def _state(arguments: argparse.Namespace) -> int:
    from pitwright.cli.shared import CliError
    from pitwright.desk.condition import condition, condition_lines

    with opened(arguments.folder) as session:
        weekend = session.weekend
        at = moment(arguments.at, weekend.event.zone) if arguments.at else None
        if arguments.clutch is not None and arguments.clutch not in weekend.clutches:
            raise CliError(f"there is no clutch '{arguments.clutch}' in this weekend")
        found = condition(weekend, at, arguments.clutch)
        if arguments.json:
            answer(found)
        else:
            print("\n".join(condition_lines(found, weekend.event.zone)))
    return 0
