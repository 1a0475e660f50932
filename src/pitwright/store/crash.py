"""Crash reports: what went wrong in pitwright itself goes to a file, not onto the screen."""

from __future__ import annotations

import contextlib
import os
import platform
import tempfile
import traceback
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from pitwright import __version__
from pitwright.store.files import StoreError, create_file
from pitwright.weekend.model import visible

__all__ = ["CRASH_FOLDER", "crash_words", "write_crash_report"]

CRASH_FOLDER = "crash-reports"


def _places(folder: Path | None) -> Iterator[tuple[Path, Path | None]]:
    """Yield where a report may go, best first, and the folder that must be there for it."""
    if folder is not None:
        with contextlib.suppress(OSError):
            if (folder / "weekend.toml").is_file():
                yield folder / CRASH_FOLDER, folder
    state = os.environ.get("XDG_STATE_HOME", "")
    with contextlib.suppress(RuntimeError):
        home = Path(state) if Path(state).is_absolute() else Path.home() / ".local" / "state"
        yield home / "pitwright" / CRASH_FOLDER, None
    yield Path(tempfile.gettempdir()) / "pitwright-crash-reports", None


def write_crash_report(
    error: BaseException,
    *,
    folder: Path | None = None,
    doing: str = "",
    now: datetime | None = None,
) -> Path | None:
    """Write what is needed to mend a crash to a file, and return where; None when no disk takes it.

    It goes into the weekend's ``crash-reports``, else into the user's state folder, else among
    the temporary files. It holds no records and no values, only where in the code it went wrong.
    """
    moment = (now or datetime.now(UTC)).astimezone(UTC)
    text = "\n".join(
        [
            f"pitwright {__version__}, {moment:%Y-%m-%d %H:%M:%S} UTC",
            f"Python {platform.python_version()} on {platform.platform()}",
            f"textual {_version('textual')}, pydantic {_version('pydantic')}",
            f"doing: {doing or 'unknown'}",
            "",
            "".join(traceback.format_exception(error)),
        ]
    )
    data = visible(text).encode(errors="replace")
    for place, within in _places(folder):
        for number in range(1, 100):
            tail = "" if number == 1 else f"-{number}"
            path = place / f"{moment:%Y%m%dT%H%M%SZ}{tail}.txt"
            try:
                create_file(path, data, within=within)
            except FileExistsError:
                continue
            except StoreError:
                break
            return path
    return None


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "unknown"


def crash_words(report: Path | None) -> str:
    """Return what the user is told."""
    where = f"A report is in {report}" if report else "No report could be written on any disk"
    return (
        "pitwright ended because of a mistake of its own. What was kept before is safe; "
        f"open the weekend again to go on.\n{where}"
    )
