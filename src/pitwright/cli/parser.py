"""The parser of the command line, put together from the families of commands."""

from __future__ import annotations

import argparse
import importlib
from typing import Final

from pitwright import __version__
from pitwright.cli import apps

__all__ = ["FAMILIES", "build_parser"]

FAMILIES: Final[dict[str, tuple[str, ...]]] = {
    "apps": ("demo", "open"),
    "serve": ("serve",),
    "own": ("keys", "themes"),
    "folders": ("new", "backup"),
    "upkeep": ("verify", "merge", "migrate", "shift-clock"),
    "clutch": ("state", "nut"),
    "clock": ("clock", "stints", "premain", "delay"),
    "mechanics": ("bite", "launch", "shims", "observe"),
    "warmth": ("warmth",),
    "figures": ("gears", "air", "torques", "spring"),
    "ear": ("ear",),
    "measuring": ("measure",),
    "heats": ("heat", "timeline", "note"),
    "pace": ("laps", "pace", "compare"),
    "forecasting": ("forecast", "race"),
    "reports": ("daysheet", "export", "stock"),
}
"""The modules that hold the commands, in the order of the help, and the commands of each."""

_ABOUT = """\
A race-weekend assistant for the clutch bench of a nitro 1/8 on-road car.

A weekend is a folder of plain text files. Without a command you choose one
and the app opens. The commands below give one answer each; most take --json
for scripts.
"""

_END = """\
New here? 'pitwright demo' opens a made-up weekend to play with.
"""


def build_parser(first: str | None = None) -> argparse.ArgumentParser:
    """Return the parser with every command.

    When ``first``, the first word of the call, is a command, only its own family is put in:
    setting up the other thirty parsers takes longer (25 ms) than reading the call.
    """
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
    families = [family for family, names in FAMILIES.items() if first in names]
    for family in families or FAMILIES:
        importlib.import_module(f"pitwright.cli.{family}").add(commands)
    return parser
