"""The parser of the command line, put together from the families of commands."""

from __future__ import annotations

import argparse

from pitwright import __version__
from pitwright.cli import (
    apps,
    clock,
    clutch,
    ear,
    folders,
    forecasting,
    heats,
    measuring,
    mechanics,
    pace,
    reports,
    serve,
    upkeep,
)

__all__ = ["build_parser"]

_ABOUT = """\
A race-weekend assistant for the clutch bench of a nitro 1/8 on-road car.

A weekend is a folder of plain text files. Without a command you choose one
and the app opens. The commands below give one answer each; most take --json
for scripts.
"""

_END = """\
New here? 'pitwright demo' opens a made-up weekend to play with.
"""


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with every command."""
    parser = argparse.ArgumentParser(
        prog="pitwright",
        description=_ABOUT,
        epilog=_END,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"pitwright {__version__}")
    apps.display_options(parser)
    parser.set_defaults(run=apps.home)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    for family in (
        apps,
        serve,
        folders,
        upkeep,
        clutch,
        clock,
        mechanics,
        ear,
        measuring,
        heats,
        pace,
        forecasting,
        reports,
    ):
        family.add(commands)
    return parser
