"""Commands about weekend folders: new, backup."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime
from pathlib import Path

from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    folder_argument,
    json_option,
    note_problems,
)

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add this family's parsers."""
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


def _new(arguments: argparse.Namespace) -> int:
    from pitwright.store.begin import CannotBeginError, begin_weekend

    folder: Path = arguments.folder
    now = datetime.now(UTC)
    try:
        problems = begin_weekend(
            folder,
            name=arguments.name or "",
            time_zone=arguments.time_zone or "",
            starts_on=arguments.starts_on or now.date(),
            days=arguments.days,
            old=arguments.old,
            now=now,
        )
    except CannotBeginError as error:
        raise CliError(str(error)) from error
    note_problems(problems)
    print(f"Made {folder}. Its four cards are yours to edit; then: pitwright open {folder}")
    return 0


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
        for name, reason in done.left.items():
            print(f"left out: {name} {reason}")
        for name in done.cleared:
            print(f"cleared away, from a backup that was cut short: {arguments.target / name}")
        for name in done.unfinished:
            print(f"not whole, made elsewhere or just now: {arguments.target / name}")
    return 1 if done.left else 0
