"""What the commands share: opening a folder, printing an answer, reading a time."""

from __future__ import annotations

import argparse
import dataclasses
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from pitwright.store.session import CannotOpenError, Session
    from pitwright.weekend.weekend import Weekend

__all__ = [
    "CliError",
    "Commands",
    "answer",
    "cannot_open",
    "check_clutch",
    "clutch_option",
    "folder_argument",
    "json_option",
    "json_text",
    "moment",
    "opened",
    "refusals_told",
    "rpm",
]

Commands = Any
"""argparse's subparsers action, whose type is private there."""


class CliError(Exception):
    """Said to the user in a line; the exit status is 2."""


def folder_argument(parser: argparse.ArgumentParser) -> None:
    """Add the weekend folder as first argument."""
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="the weekend's folder")


def clutch_option(parser: argparse.ArgumentParser) -> None:
    """Add the choice of a clutch."""
    parser.add_argument("--clutch", metavar="NAME", help="which clutch, when there are several")


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
        raise cannot_open(error) from error
    if write and not session.writable:
        holder = session.holder
        raise CliError(f"{folder} cannot be written to: {holder or 'it is read-only'}")
    return session


@contextmanager
def refusals_told() -> Iterator[None]:
    """Turn what cannot be read as a record, or cannot be kept, into a CliError."""
    from pitwright.desk.form_text import FormError
    from pitwright.store.files import StoreError

    try:
        yield
    except FormError as error:
        raise CliError("; ".join(error.errors.values())) from error
    except StoreError as error:
        raise CliError(str(error)) from error


def cannot_open(error: CannotOpenError) -> CliError:
    """Return what to say of a weekend whose cards cannot be used: every problem."""
    lines = "\n".join(f"  {problem}" for problem in error.problems)
    return CliError(f"the weekend cannot be opened:\n{lines}")


def check_clutch(weekend: Weekend, clutch: str | None) -> None:
    """Raise CliError when the weekend has no such clutch."""
    if clutch is not None and clutch not in weekend.clutches:
        raise CliError(f"there is no clutch '{clutch}' in this weekend")


def rpm(text: str) -> float:
    """Read an engine speed for argparse; only what an engine can turn."""
    try:
        value = float(text.replace(" ", "").replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number") from None
    if not 1000 <= value <= 60000:
        raise argparse.ArgumentTypeError("must be between 1000 and 60000 rpm")
    return value


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
    print(json_text(value))


def json_text(value: object) -> str:
    """Return an answer as JSON; signs a terminal would obey are written as escapes."""
    import json

    from pitwright.signs import first_hidden

    text = json.dumps(value, default=_plain, indent=2, ensure_ascii=False)
    return text if first_hidden(text) is None else json.dumps(value, default=_plain, indent=2)


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
