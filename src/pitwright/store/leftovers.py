"""Temporary files: how they are named, and which of them a dead process left behind."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import socket
import time
from collections.abc import Iterator
from pathlib import Path

from pitwright.store.inside import leads_out
from pitwright.weekend.problems import Problem

__all__ = [
    "TEMPORARY_SUFFIX",
    "clean_leftovers",
    "clear_unfinished_folders",
    "explain_leftovers",
    "host_name",
    "process_is_gone",
    "temporary_name",
    "unfinished_folders",
]

TEMPORARY_SUFFIX = ".unfinished"
_OLD_S = 3600.0
_NAME = re.compile(
    r"\.(?P<file>.+)\.(?P<host>[a-z0-9]{1,12})-(?P<process>\d{1,10})-[0-9a-f]{8}\.unfinished"
)


def host_name() -> str:
    """Return letters and digits of the host's name; two laptops may have the same."""
    name = re.sub(r"[^a-z0-9]", "", socket.gethostname().split(".")[0].lower())[:12]
    return name or "laptop"


def temporary_name(name: str) -> str:
    """Return a fresh name for the file that becomes ``name``; it tells who was writing."""
    return f".{name}.{host_name()}-{os.getpid()}-{os.urandom(4).hex()}{TEMPORARY_SUFFIX}"


def process_is_gone(process: int) -> bool:
    """Tell whether a process of this laptop has surely ended."""
    if os.name == "nt":
        return False  # there, asking a process with os.kill would end it
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False


def _places(folder: Path) -> Iterator[tuple[Path, re.Match[str]]]:
    own = (folder / "open", folder / "log", folder / "laps")
    for top in (folder, *own):
        if leads_out(top, folder):
            continue
        for place, folders, names in os.walk(top):
            if top == folder:
                folders.clear()
            for name in names:
                match = _NAME.fullmatch(name)
                if match is not None:
                    yield Path(place) / name, match


def clean_leftovers(folder: Path) -> int:
    """Remove the temporary files that dead processes of this laptop left; return how many.

    Only what pitwright named on this laptop goes, and only when its process has ended or the
    file is older than an hour: what another laptop is writing is never touched.
    """
    removed = 0
    for path, match in list(_places(folder)):
        with contextlib.suppress(OSError):
            if _is_left(path, match):
                path.unlink()
                removed += 1
    return removed


def _is_left(path: Path, match: re.Match[str]) -> bool:
    if match["host"] != host_name():
        return False
    # A clock that was set back makes a file come from the future: that is old as well.
    old = abs(time.time() - path.lstat().st_mtime) > _OLD_S
    return old or process_is_gone(int(match["process"]))


def unfinished_folders(target: Path) -> list[str]:
    """Return the names of folders that a backup or a migration into ``target`` is to become."""
    with os.scandir(target) as entries:
        return sorted(
            e.name
            for e in entries
            if e.is_dir(follow_symlinks=False) and _NAME.fullmatch(e.name) is not None
        )


def clear_unfinished_folders(target: Path) -> tuple[str, ...]:
    """Remove such folders that dead processes of this laptop left; return their names."""
    cleared = []
    for name in unfinished_folders(target):
        match = _NAME.fullmatch(name)
        with contextlib.suppress(OSError):
            if match is not None and _is_left(target / name, match):
                shutil.rmtree(target / name)
                cleared.append(name)
    return tuple(cleared)


def explain_leftovers(folder: Path) -> list[Problem]:
    """Return a warning for each temporary file that lies in the folder."""
    return [
        Problem(
            path.relative_to(folder).as_posix(),
            "",
            f"was left by a write of '{match['file']}' that did not finish; the record or card of "
            "that name is whole without it",
            f"opening the weekend for writing on {match['host']} clears it away",
            "warning",
        )
        for path, match in sorted(_places(folder))
    ]
