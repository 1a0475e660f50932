"""One writer per folder: a file lock, and a note beside it that names the holder."""

from __future__ import annotations

import contextlib
import json
import os
import socket
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from filelock import BaseFileLock

__all__ = ["FolderLock", "Holder"]


@dataclass(frozen=True)
class Holder:
    """Who has the folder open for writing."""

    host: str
    process: int
    since: str

    def __str__(self) -> str:
        """Return the holder in words."""
        return f"pitwright on {self.host} (process {self.process}), since {self.since}"


class FolderLock:
    """The right to write into a weekend folder.

    The operating system drops the lock when its process dies, so a stale one cannot stay; the
    note beside it may, and is then overwritten by the next holder.
    """

    def __init__(self, folder: Path) -> None:
        self._note = folder / "open" / "holder.json"
        self._path = folder / "open" / "writing.lock"
        self._lock: BaseFileLock | None = None

    def take(self) -> bool:
        """Try to take the lock; False when another instance holds it, or nothing can be written.

        A folder that cannot be written to at all is readable still, so this is no error.
        """
        # Whoever only reads takes no lock and need not load the library.
        from filelock import FileLock, Timeout

        lock = FileLock(self._path)
        try:
            self._note.parent.mkdir(parents=True, exist_ok=True)
            lock.acquire(timeout=0)
        except (Timeout, OSError, NotImplementedError):
            return False
        self._lock = lock
        with contextlib.suppress(OSError):
            self._note.write_text(
                json.dumps(
                    {
                        "host": socket.gethostname(),
                        "process": os.getpid(),
                        "since": datetime.now(UTC).isoformat(timespec="seconds"),
                    }
                ),
                encoding="utf-8",
            )
        return True

    def holder(self) -> Holder | None:
        """Return who holds the lock, as far as their note tells."""
        try:
            note = json.loads(self._note.read_text(encoding="utf-8"))
            return Holder(str(note["host"])[:60], int(note["process"]), str(note["since"])[:40])
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def drop(self) -> None:
        """Give the lock back."""
        if self._lock is not None:
            with contextlib.suppress(OSError):
                self._note.unlink()
            self._lock.release()
            self._lock = None
