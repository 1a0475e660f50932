"""What is promised of a weekend's folder while it is worked with."""

from __future__ import annotations

import hashlib
from pathlib import Path

from factory import LAPTOP

from pitwright.store.reader import read_folder

__all__ = ["Kept", "LostError"]


class LostError(AssertionError):
    """Something that must hold did not."""


class Kept:
    """Remembers the records of a folder: once there, each stays, as it was written."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._files: dict[str, str] = {}
        self._usual = {str(p) for p in read_folder(folder, LAPTOP).problems}

    def look(self) -> set[str]:
        """Return the ids of the records there are.

        Raises LostError when one was changed or is gone, or a file cannot be read any more.
        """
        found = read_folder(self._folder, self._laptop())
        # A clock that runs on beyond the weekend is rightly pointed out.
        if unread := [str(p) for p in found.unread if str(p) not in self._usual]:
            raise LostError(f"the folder is not in order: {unread}")
        paths = sorted((self._folder / "log").glob("*.toml"))
        for path in paths:
            digest = hashlib.sha256(path.read_bytes()).hexdigest()
            if self._files.setdefault(path.name, digest) != digest:
                raise LostError(f"{path.name} was changed")
        if gone := set(self._files) - {p.name for p in paths}:
            raise LostError(f"records are gone: {gone}")
        return {r.id for r in found.records}

    def _laptop(self) -> str:
        """Return the name that an app goes by here: of its own where it runs by itself."""
        names = sorted(path.name for path in self._folder.glob("open/*/"))
        return LAPTOP if LAPTOP in names or not names else names[0]
