"""Commands that open the app: without a command, open, demo."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from pitwright.cli.shared import CliError, Commands, cannot_open, folder_argument

if TYPE_CHECKING:
    from pitwright.app.app import Opening
    from pitwright.store.session import Session

__all__ = ["add", "display_options", "home"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    demo = commands.add_parser("demo", help="open a fresh copy of a made-up weekend")
    demo.add_argument(
        "--to", metavar="FOLDER", type=Path, help="where to put the copy (default: demo-weekend)"
    )
    display_options(demo)
    demo.set_defaults(run=_demo)

    open_ = commands.add_parser("open", help="open a weekend in the app")
    folder_argument(open_)
    display_options(open_)
    open_.add_argument(
        "--plain",
        action="store_true",
        help="work a build line by line, for screen readers and braille lines",
    )
    open_.set_defaults(run=_open)


def display_options(parser: argparse.ArgumentParser) -> None:
    """Add how the app is shown."""
    # Suppressed, so that a subcommand's parser does not undo what stands before the command.
    parser.add_argument(
        "--theme",
        metavar="NAME",
        default=argparse.SUPPRESS,
        help="colours: daylight, night, high-contrast, blue-orange, plain or one of your own",
    )
    parser.add_argument(
        "--ascii",
        action=argparse.BooleanOptionalAction,
        default=argparse.SUPPRESS,
        help="show ASCII signs only, or all (default: what the terminal says it can)",
    )


def _needs_terminal() -> None:
    # Served to a browser there is a driver of its own in place of a terminal.
    if not sys.stdout.isatty() and "TEXTUAL_DRIVER" not in os.environ:
        raise CliError("the app needs a terminal; the other commands work without one")


def _run_app(weekend: Session | Opening, arguments: argparse.Namespace) -> int:
    from pitwright.app.app import PitwrightApp
    from pitwright.store.user import UserFiles

    app = PitwrightApp(
        weekend,
        user=UserFiles.of_this_user(),
        theme=getattr(arguments, "theme", None),
        ascii_only=getattr(arguments, "ascii", None),
    )
    try:
        app.run()
    finally:
        app.close_weekend()
    if app.cannot_open is not None:
        raise app.cannot_open
    return app.return_code or 0


def _open_folder(folder: Path, arguments: argparse.Namespace) -> int:
    from pitwright.app.app import Opening

    _needs_terminal()
    weekend = Opening(folder, lambda: _opened(folder))
    if not (folder / "weekend.toml").is_file():
        # Said at once, without an app that comes and goes.
        weekend.open().close()
    return _run_app(weekend, arguments)


def _opened(folder: Path) -> Session:
    from pitwright.store.session import CannotOpenError, Session

    try:
        return Session(folder)
    except CannotOpenError as error:
        raise cannot_open(error) from error


def home(arguments: argparse.Namespace) -> int:
    """Ask where to begin, then open it."""
    from pitwright.app.home import HomeApp
    from pitwright.store.user import UserFiles

    _needs_terminal()
    app = HomeApp(
        user=UserFiles.of_this_user(),
        theme=getattr(arguments, "theme", None),
        ascii_only=getattr(arguments, "ascii", None),
    )
    session = app.run()
    return (app.return_code or 0) if session is None else _run_app(session, arguments)


def _demo(arguments: argparse.Namespace) -> int:
    from pitwright.paths import demo_folder
    from pitwright.store.create import copy_demo

    folder = copy_demo(demo_folder(), arguments.to or Path("demo-weekend"))
    print(f"A fresh copy of the demo weekend is in {folder}")
    return _open_folder(folder, arguments)


def _open(arguments: argparse.Namespace) -> int:
    if arguments.plain:
        from pitwright.cli.plain import work_in_lines

        return work_in_lines(arguments.folder)
    return _open_folder(arguments.folder, arguments)
