"""What a killed app left on the disk, read without the app's own reader."""

from __future__ import annotations

import csv
import tomllib
from functools import cached_property
from pathlib import Path
from typing import Any

__all__ = ["LeftBehind"]


class LeftBehind:
    """The files of a weekend folder, or of the user's own, after a kill."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def _texts(self, pattern: str) -> list[str]:
        # A file begun and not finished (.tmp) is none.
        return [path.read_text(encoding="utf-8") for path in sorted(self._folder.glob(pattern))]

    def _table(self, pattern: str) -> dict[str, Any]:
        found = self._texts(pattern)
        return tomllib.loads(found[0]) if found else {}

    @cached_property
    def _log(self) -> list[str]:
        return self._texts("log/*.toml")

    @cached_property
    def _drafts(self) -> list[str]:
        return [
            text for where in ("open/*/drafts", "drafts") for text in self._texts(f"{where}/*.toml")
        ]

    @cached_property
    def _heat(self) -> dict[str, Any]:
        return self._table("open/*/heat.toml")

    @cached_property
    def _build(self) -> dict[str, Any]:
        return self._table("open/*/build.toml")

    def recorded(self, word: str) -> bool:
        """Whether a record holds a word."""
        return any(word in text for text in self._log)

    def typed(self, word: str) -> bool:
        """Whether a draft holds a word, or what it became does."""
        kept = [*self._drafts, *self._log, *self._texts("open/*/*.toml")]
        return any(word in text for text in kept)

    def ticked(self, at: int) -> bool:
        """Whether a step of the open build is done."""
        steps, results = self._build.get("steps", []), self._build.get("results", [])
        done = {result["step"] for result in results if "done_at" in result}
        return at < len(steps) and steps[at]["id"] in done

    def runs(self, name: str, since: float) -> bool:
        """Whether a heat runs since about then (a clock shows whole seconds, and some time ago)."""
        kept = self._heat.get("heat", {})
        right = kept.get("heat") == name and -3.0 < kept["happened_at"].timestamp() - since < 0.1
        return right or self.recorded(f'"{name}"')

    def stopped(self, name: str) -> bool:
        """Whether a heat has been stopped, or is in the log already."""
        open_one = self._heat.get("heat", {}).get("heat") == name and "stopped_at" in self._heat
        return open_one or self.recorded(f'"{name}"')

    def tapped(self, name: str) -> int:
        """Return how often the line was tapped in a heat."""
        if self._heat.get("heat", {}).get("heat") == name:
            return len(self._heat.get("taps", []))
        path = self._folder / "laps" / f"{name}.csv"
        if not path.exists():
            # One tap makes no lap, and leaves no file once the heat is in the log.
            return int(self.recorded(f'"{name}"'))
        rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
        return len(rows)  # a line of titles, and a lap less than taps

    def timed(self, word: str) -> bool:
        """Whether a timer is called so."""
        return any(word in text for text in self._texts("open/*/timers.toml"))
