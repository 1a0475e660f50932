"""Commands about the user's own keys and colours: what there is, and where one's own belong."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pitwright.cli.shared import Commands

if TYPE_CHECKING:
    from pitwright.store.user import UserFiles

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    keys = commands.add_parser(
        "keys",
        help="print every key of the app, as a file to change",
        description=(
            "Print every action of the app and its key, in the form of the file that changes "
            "them. Keep the lines you change in the file that the first line names."
        ),
    )
    keys.set_defaults(run=_keys)

    themes = commands.add_parser("themes", help="list the colours, and say where your own belong")
    themes.set_defaults(run=_themes)


def _user() -> UserFiles:
    from pitwright.store.user import UserFiles

    return UserFiles.of_this_user()


def _keys(_arguments: argparse.Namespace) -> int:
    from pitwright.app.app import PitwrightApp
    from pitwright.app.keymap import all_keys, as_toml, load_keymap

    user = _user()
    print(f"# Your own keys belong in {user.keys}")
    print(as_toml(all_keys(PitwrightApp)), end="")
    _keymap, bad = load_keymap(user.keys, PitwrightApp)
    for line in bad:
        print(f"# Left out of yours: {line}")
    return 1 if bad else 0


def _themes(_arguments: argparse.Namespace) -> int:
    from pitwright.app.themes import load_themes
    from pitwright.paths import themes_folder

    user = _user()
    shipped, own = load_themes([themes_folder()]), load_themes([user.themes])
    for theme in shipped[0]:
        print(f"{theme.name:<16}shipped")
    for theme in own[0]:
        print(f"{theme.name:<16}your own")
    for line in (*shipped[1], *own[1]):
        print(f"left out: {line}")
    example: Path = themes_folder() / "night.toml"
    print(f"Your own belong in {user.themes}; a copy of {example} is a start")
    return 1 if own[1] or shipped[1] else 0
