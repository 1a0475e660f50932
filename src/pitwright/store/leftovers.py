"""Temporary files: how they are named, and which of them a dead process left behind."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

from pitwright.store.inside import leads_out
from pitwright.store.laptop import laptop_name
from pitwright.weekend.problems import Problem

__all__ = [
    "TEMPORARY_SUFFIX",
    "clean_leftovers",
    "clear_unfinished_folders",
    "explain_leftovers",
    "process_is_gone",
    "temporary_name",
    "unfinished_folders",
]

TEMPORARY_SUFFIX = ".unfinished"
_OLD_S = 3600.0
# An earlier pitwright wrote letters of the host's name, which two laptops may share: that is never
# this laptop's name, which has a tail.
_NAME = re.compile(
    r"\.(?P<file>.+)\.(?P<laptop>[a-z0-9][a-z0-9_]{0,39})-(?P<process>\d{1,10})-[0-9a-f]{8}"
    r"\.unfinished"
)


def temporary_name(name: str) -> str:
    """Return a fresh name for the file that becomes ``name``; it tells who was writing."""
    return f".{name}.{laptop_name()}-{os.getpid()}-{os.urandom(4).hex()}{TEMPORARY_SUFFIX}"


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
    removed, ours = 0, laptop_name()
    for path, match in list(_places(folder)):
        with contextlib.suppress(OSError):
            # A write takes no hour. A clock that was set back makes a file come from the future:
            # that is old as well.
            old = abs(time.time() - path.lstat().st_mtime) > _OLD_S
            if match["laptop"] == ours and (old or process_is_gone(int(match["process"]))):
                path.unlink()
                removed += 1
    return removed


def unfinished_folders(target: Path) -> list[str]:
    """Return the names of folders that a backup or a migration into ``target`` is to become."""
    with os.scandir(target) as entries:
        return sorted(
            e.name
            for e in entries
            if e.is_dir(follow_symlinks=False) and _NAME.fullmatch(e.name) is not None
        )


def clear_unfinished_folders(target: Path) -> tuple[str, ...]:
    """Remove such folders that dead processes of this laptop left; return their names.

    However old one is, a process that lives may still be filling it.
    """
    cleared, ours = [], laptop_name()
    for name in unfinished_folders(target):
        match = _NAME.fullmatch(name)
        with contextlib.suppress(OSError):
            if (
                match is not None
                and match["laptop"] == ours
                and process_is_gone(int(match["process"]))
            ):
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
            _who_clears(match["laptop"]),
            "warning",
        )
        for path, match in sorted(_places(folder))
    ]


def _who_clears(laptop: str) -> str:
    if "_" in laptop:
        return f"opening the weekend for writing on {laptop} clears it away"
    return f"an earlier pitwright wrote it; delete it when no laptop called {laptop} writes here"
