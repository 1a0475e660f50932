"""One writer per folder: a file lock, and a note beside it that names the holder."""

from __future__ import annotations

import contextlib
import json
import os
import socket
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pitwright.signs import visible
from pitwright.store.files import make_folder
from pitwright.store.leftovers import process_is_gone
from pitwright.store.toml_reader import read_text
from pitwright.weekend.problems import Problem

if TYPE_CHECKING:
    from filelock import BaseFileLock

__all__ = ["FolderLock", "Holder", "held_elsewhere", "left_behind"]

_LONGEST_NOTE = 4_000
_MINUTE = timedelta(minutes=1)
_LOOK_AGAIN_S = 0.02


@dataclass(frozen=True)
class Holder:
    """Who has the folder open for writing."""

    host: str
    process: int
    since: str

    def __str__(self) -> str:
        """Return the holder in words."""
        return f"pitwright on {self.host} (process {self.process}{self._opened()})"

    def _opened(self) -> str:
        """Tell how long ago; clocks and zones of two laptops differ, so no time of day."""
        try:
            minutes = int((datetime.now(UTC) - datetime.fromisoformat(self.since)) / _MINUTE)
        except (ValueError, TypeError):
            return ""
        if minutes < 0:  # the other laptop's clock is ahead
            return ""
        if minutes < 1:
            return ", opened just now"
        if minutes < 60:
            return f", opened {minutes} min ago"
        return f", opened {minutes // 60} h {minutes % 60:02d} min ago"

    @property
    def gone(self) -> bool:
        """Whether this is a process of this laptop that has ended."""
        return self.host == socket.gethostname() and process_is_gone(self.process)


def _read_note(note: Path) -> Holder | None:
    text = read_text(note, note.name, limit=_LONGEST_NOTE)
    if isinstance(text, Problem):
        return None
    try:
        found = json.loads(text)
        host, process, since = found["host"], found["process"], found["since"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    # The note may have been written by anything: only what a process number can be is asked about.
    if not isinstance(process, int) or not 0 < process < 2**31:
        return None
    return Holder(visible(str(host), keep="")[:60], process, visible(str(since), keep="")[:40])


def held_elsewhere(folder: Path) -> bool:
    """Tell whether another process is noted as the one who writes, and not known to have ended."""
    holder = _read_note(folder / "open" / "holder.json")
    ours = (socket.gethostname(), os.getpid())
    return holder is not None and not holder.gone and (holder.host, holder.process) != ours


def left_behind(folder: Path) -> Holder | None:
    """Return the holder whose note stayed although the process on this laptop has ended."""
    holder = _read_note(folder / "open" / "holder.json")
    return holder if holder is not None and holder.gone else None


class FolderLock:
    """The right to write into a weekend folder.

    The operating system drops the lock when its process dies, so a stale one cannot stay; the
    note beside it may, and is then overwritten by the next holder. ``refused`` tells why the last
    try to take it failed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._note = folder / "open" / "holder.json"
        self._path = folder / "open" / "writing.lock"
        self._lock: BaseFileLock | None = None
        self._mark: tuple[int, int] | None = None
        self.refused: Literal["", "held", "not writable"] = ""

    def _acquire(self, wait_s: float = 0.0) -> BaseFileLock | None:
        # Whoever only reads takes no lock and need not load the library.
        from filelock import FileLock, Timeout

        lock = FileLock(self._path, is_singleton=False)
        try:
            make_folder(self._note.parent, within=self._folder)
            lock.acquire(timeout=wait_s, poll_interval=_LOOK_AGAIN_S)
        except Timeout:
            self.refused = "held"
            return None
        except (OSError, NotImplementedError):
            self.refused = "not writable"
            return None
        return lock

    def take(self, wait_s: float = 0.0) -> bool:
        """Try to take the lock; False when another instance holds it, or nothing can be written.

        ``wait_s`` is how many seconds to wait for another instance to leave. A folder that cannot
        be written to at all is readable still, so this is no error.
        """
        lock = self._acquire(wait_s)
        if lock is None:
            return False
        self._lock, self.refused = lock, ""
        self._mark = self._look()
        note = {
            "host": socket.gethostname(),
            "process": os.getpid(),
            "since": datetime.now(UTC).isoformat(timespec="seconds"),
        }
        with contextlib.suppress(OSError):
            self._note.write_text(json.dumps(note), encoding="utf-8")
        return True

    def is_free(self) -> bool:
        """Tell whether nobody holds the lock and it could be taken now."""
        lock = self._acquire()
        if lock is None:
            return False
        with contextlib.suppress(OSError):
            lock.release()
        return True

    def still_ours(self) -> bool:
        """Tell whether the lock held still is the file in the folder.

        It is not when the folder was moved, unplugged or made afresh meanwhile.
        """
        return self._lock is not None and self._mark is not None and self._look() == self._mark

    def _look(self) -> tuple[int, int] | None:
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_dev, found.st_ino

    def holder(self) -> Holder | None:
        """Return who holds the lock, as far as their note tells."""
        if self.refused == "not writable":
            return None
        holder = _read_note(self._note)
        return None if holder is None or holder.gone else holder

    def drop(self) -> None:
        """Give the lock back."""
        if self._lock is None:
            return
        with contextlib.suppress(OSError):
            if self.still_ours():
                self._note.unlink()
        with contextlib.suppress(OSError):
            self._lock.release()
        self._lock = None
