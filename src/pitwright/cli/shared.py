"""What the commands share: opening a folder, printing an answer, reading a time.

Also what an answer is worth: what the folder holds and nobody could read is said with every answer,
by whatever command, from here and nowhere else.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from pitwright.store.session import CannotOpenError, Session
    from pitwright.weekend.problems import Problem
    from pitwright.weekend.weekend import Weekend

__all__ = [
    "LEFT_OUT",
    "CliError",
    "Commands",
    "answer",
    "answering",
    "cannot_open",
    "check_clutch",
    "clutch_option",
    "folder_argument",
    "json_option",
    "json_text",
    "left_out_lines",
    "moment",
    "note_problems",
    "opened",
    "refusals_told",
    "rpm",
]

Commands = Any
"""argparse's subparsers action, whose type is private there."""


LEFT_OUT: Final = 4
"""The exit status of an answer, or a finding, that may be wrong: a file could not be used."""


_WAIT_S: Final = 2.0
"""How long a command that writes waits for another one to be done."""


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


class Answering:
    """The command that is running, and what the files behind its answer have against them.

    ``problems`` is None until the command has opened a folder. ``in_words`` when its answer is
    lines to read, in which a line may stand.
    """

    def __init__(self, *, in_words: bool) -> None:
        self.in_words = in_words
        self.problems: tuple[Problem, ...] | None = None
        self._marked = False

    def note(self, problems: Iterable[Problem], *, mark: bool) -> None:
        """Take note of a folder's problems; ``mark`` the answer's lines as not certain."""
        self.problems = tuple(p for p in problems if p.weight != "warning")
        if mark and self.in_words and not self._marked and self._left_out():
            self._marked = True
            print("Not certain: a file of this folder could not be used, named at the end.")

    def _left_out(self) -> list[Problem]:
        return [p for p in self.problems or () if p.weight == "error"]

    def status(self, given: int) -> int:
        """Return the exit status of a command that would have ended with ``given``."""
        return LEFT_OUT if given in (0, 1) and self._left_out() else given

    def tell(self) -> None:
        """Say on standard error which files were left out and why, then what is asked."""
        for line in left_out_lines(self.problems or ()):
            print(line, file=sys.stderr)


_running = Answering(in_words=False)


@contextmanager
def answering(arguments: argparse.Namespace) -> Iterator[Answering]:
    """Run one command; at its end, however it ends, what its answer may be wrong for is said."""
    global _running
    json = getattr(arguments, "json", False) or getattr(arguments, "format", "text") != "text"
    before, _running = _running, Answering(in_words=not json)
    try:
        yield _running
    finally:
        _running.tell()
        _running = before


def left_out_lines(problems: Iterable[Problem]) -> list[str]:
    """Return what to say beside an answer of files that could not be used, and of odd figures."""
    problems = tuple(problems)
    errors = [p for p in problems if p.weight == "error"]
    asked = [p for p in problems if p.weight == "question"]
    lines = [f"  {problem}" for problem in errors]
    if errors:
        lines.insert(0, "pitwright: the answer may be wrong, this was left out:")
    if asked:
        lines += ["pitwright: the answer is as good as these figures:"]
        lines += [f"  {problem}" for problem in asked]
    return lines


def note_problems(problems: Iterable[Problem]) -> None:
    """Take note of the problems of a folder that was read in another way than ``opened``."""
    _running.note(problems, mark=False)


def opened(folder: Path, *, write: bool = False) -> Session:
    """Open a weekend folder.

    To write, it waits a moment for another command that does. Raises CliError with every problem
    when its cards cannot be used, or with the reason why it cannot be written to.
    """
    from pitwright.store.session import CannotOpenError, Session

    try:
        session = Session(folder, write=write, wait_s=_WAIT_S)
    except CannotOpenError as error:
        raise cannot_open(error) from error
    if write and not session.writable:
        raise CliError(f"nothing was kept in {folder}: {session.why_reading_only}")
    _running.note(session.problems, mark=not write)
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
    """Return an answer as JSON; signs a terminal would obey are written as escapes.

    An answer from a folder is a table with the key ``problems``: what it may be wrong for.
    """
    import json

    from pitwright.signs import visible

    if _running.problems is not None:
        table = value if isinstance(value, dict) else _plain(value)
        assert isinstance(table, dict), "an answer from a folder is a table"
        value = {**table, "problems": _running.problems}
    text = json.dumps(value, default=_plain, indent=2, ensure_ascii=False)
    return text if visible(text) == text else json.dumps(value, default=_plain, indent=2)


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
