"""Commands about weekend folders: open, demo, new, backup."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, date, datetime
from pathlib import Path

from pitwright.cli.shared import CliError, Commands, answer, folder_argument, json_option, opened

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    demo = commands.add_parser("demo", help="open a fresh copy of a made-up weekend")
    demo.add_argument(
        "--to", metavar="FOLDER", type=Path, help="where to put the copy (default: demo-weekend)"
    )
    demo.set_defaults(run=_demo)

    open_ = commands.add_parser("open", help="open a weekend in the app")
    folder_argument(open_)
    open_.set_defaults(run=_open)

    new = commands.add_parser("new", help="make a new weekend folder")
    folder_argument(new)
    new.add_argument("--name", help="the event's name (default: the folder's)")
    new.add_argument(
        "--time-zone",
        metavar="ZONE",
        help="the venue's, such as \"Europe/Lisbon\" (default: this laptop's)",
    )
    new.add_argument("--starts-on", metavar="DATE", type=_date, help="first day (default: today)")
    new.add_argument("--days", type=int, default=3, help="how many days (default: 3)")
    new.add_argument(
        "--from",
        dest="old",
        metavar="OLD",
        type=Path,
        help="carry over cards, parts with their ages, last readings and setting from OLD",
    )
    new.set_defaults(run=_new)

    backup = commands.add_parser("backup", help="copy a weekend somewhere safe and compare")
    folder_argument(backup)
    backup.add_argument("target", metavar="TARGET", type=Path, help="where backups are kept")
    json_option(backup)
    backup.set_defaults(run=_backup)


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date such as 2026-05-15") from None


def _run_app(folder: Path) -> int:
    from pitwright.app.app import PitwrightApp
    from pitwright.store.session import CannotOpenError, Session

    if not sys.stdout.isatty():
        raise CliError("the app needs a terminal; the other commands work without one")
    try:
        session = Session(folder)
    except CannotOpenError as error:
        lines = "\n".join(f"  {problem}" for problem in error.problems)
        raise CliError(f"the weekend cannot be opened:\n{lines}") from error
    with session:
        app = PitwrightApp(session)
        app.run()
    return app.return_code or 0


def _demo(arguments: argparse.Namespace) -> int:
    from pitwright.paths import demo_folder
    from pitwright.store.create import copy_demo

    folder = copy_demo(demo_folder(), arguments.to or Path("demo-weekend"))
    print(f"A fresh copy of the demo weekend is in {folder}")
    return _run_app(folder)


def _open(arguments: argparse.Namespace) -> int:
    return _run_app(arguments.folder)


def _new(arguments: argparse.Namespace) -> int:
    from pitwright.store.create import new_weekend
    from pitwright.store.files import StoreError
    from pitwright.weekend.carry import carry_over

    folder: Path = arguments.folder
    if not 1 <= arguments.days <= 31:
        raise CliError("--days must be between 1 and 31")
    zone = _zone(arguments.time_zone)
    now = datetime.now(UTC)
    carry = None
    if arguments.old is not None:
        with opened(arguments.old) as old:
            carry = carry_over(old.weekend, now)
            zone = arguments.time_zone or old.weekend.event.time_zone
    try:
        new_weekend(
            folder,
            name=arguments.name or folder.resolve().name,
            time_zone=zone,
            starts_on=arguments.starts_on or now.date(),
            days=arguments.days,
            cards_from=arguments.old,
            carry=carry,
            now=now,
        )
    except (FileExistsError, StoreError) as error:
        raise CliError(str(error)) from error
    print(f"Made {folder}. Its four cards are yours to edit; then: pitwright open {folder}")
    return 0


def _zone(given: str | None) -> str:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    name = given or _laptop_zone()
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise CliError(f"'{name}' is not a time zone such as Europe/Lisbon") from None
    return name


def _laptop_zone() -> str:
    """Return this laptop's time zone, UTC when it does not tell."""
    import os

    named = os.environ.get("TZ", "").lstrip(":")
    if named and not named.startswith("/"):
        return named
    link = Path("/etc/localtime")
    parts = str(link.resolve()).split("zoneinfo/") if link.exists() else []
    return parts[1] if len(parts) == 2 else "UTC"


def _backup(arguments: argparse.Namespace) -> int:
    from pitwright.store.create import backup
    from pitwright.store.files import StoreError

    folder: Path = arguments.folder
    if not folder.is_dir():
        raise CliError(f"{folder} is not a folder")
    try:
        done = backup(folder, arguments.target)
    except (FileExistsError, StoreError) as error:
        raise CliError(str(error)) from error
    if arguments.json:
        answer(done)
    else:
        print(f"{done.files} files, {done.size:,} bytes, all compared: {done.target}")
    return 0
