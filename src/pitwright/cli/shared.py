"""What the commands share: opening a folder, printing an answer, reading a time."""

from __future__ import annotations

import argparse
import dataclasses
import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from pitwright.store.session import Session

__all__ = ["CliError", "Commands", "answer", "folder_argument", "json_option", "moment", "opened"]

Commands = Any
"""argparse's subparsers action, whose type is private there."""


class CliError(Exception):
    """Said to the user in a line; the exit status is 2."""


def folder_argument(parser: argparse.ArgumentParser) -> None:
    """Add the weekend folder as first argument."""
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="the weekend's folder")


def json_option(parser: argparse.ArgumentParser) -> None:
    """Add --json."""
    parser.add_argument("--json", action="store_true", help="answer as JSON")


def opened(folder: Path, *, write: bool = False) -> Session:
    """Open a weekend folder.

    Raises CliError with every problem when its cards cannot be used.
    """
    from pitwright.store.session import CannotOpenError, Session

    try:
        session = Session(folder, write=write)
    except CannotOpenError as error:
        lines = "\n".join(f"  {problem}" for problem in error.problems)
        raise CliError(f"the weekend cannot be opened:\n{lines}") from error
    if write and not session.writable:
        holder = session.holder
        raise CliError(f"{folder} cannot be written to: {holder or 'it is read-only'}")
    return session


def moment(text: str, zone: ZoneInfo) -> datetime:
    """Read a time: ISO 8601, the venue's wall clock unless an offset is given.

    Raises CliError when it cannot be read.
    """
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        raise CliError(f"'{text}' is not a time such as 2026-05-16T14:30") from None
    return (read if read.tzinfo is not None else read.replace(tzinfo=zone)).astimezone(UTC)


def answer(value: object) -> None:
    """Print an answer as JSON."""
    print(json.dumps(value, default=_plain, indent=2, ensure_ascii=False))


def _plain(value: object) -> object:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
    if isinstance(value, datetime | date):
        return value.isoformat()
    if hasattr(value, "model_dump"):
        return value.model_dump(mode="json", exclude_none=True)
    if hasattr(value, "items"):
        return dict(value.items())
    return str(value)
