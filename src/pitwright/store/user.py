"""What belongs to the user and not to a weekend: their keys and themes, and what was open last.

Two folders of the operating system's own choice: one for what the user writes (``keys.toml`` and
``themes/*.toml``), one for what pitwright remembers (``remembered.toml``, ``drafts/*.toml`` of what
is typed before a weekend is open, and what this laptop is called). Losing either loses no fact
about any weekend, so nothing here raises when a disk will not have it.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final, Self

from pitwright.signs import visible
from pitwright.store.files import StoreError, replace_file
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.problems import Problem

__all__ = ["RecentWeekend", "UserFiles"]

_MOST: Final = 9
_LONGEST: Final = 1000


@dataclass(frozen=True)
class RecentWeekend:
    """A weekend that was open before; ``there`` tells whether its folder still is one."""

    folder: Path
    name: str
    opened_at: str
    there: bool


@dataclass(frozen=True)
class UserFiles:
    """The user's own two folders."""

    config: Path
    state: Path

    @classmethod
    def of_this_user(cls) -> Self:
        """Return the folders the operating system gives this user."""
        from platformdirs import user_config_path, user_state_path

        return cls(
            user_config_path("pitwright", appauthor=False),
            user_state_path("pitwright", appauthor=False),
        )

    @property
    def themes(self) -> Path:
        """Where the user's own themes are."""
        return self.config / "themes"

    @property
    def keys(self) -> Path:
        """The user's own keys."""
        return self.config / "keys.toml"

    @property
    def drafts(self) -> Path:
        """What is typed where no weekend is open yet."""
        return self.state / "drafts"

    @property
    def _remembered(self) -> Path:
        return self.state / "remembered.toml"

    def _read(self) -> dict[str, Any]:
        text = read_text(self._remembered, self._remembered.name)
        table = parse_toml(text, self._remembered.name) if isinstance(text, str) else text
        return {} if isinstance(table, Problem) else table

    def _write(self, table: dict[str, Any]) -> None:
        import tomli_w

        with contextlib.suppress(StoreError):
            replace_file(self._remembered, tomli_w.dumps(table).encode())

    def recent(self) -> list[RecentWeekend]:
        """Return the weekends opened before, the last one first."""
        rows = self._read().get("weekend", [])
        found = []
        for row in rows if isinstance(rows, list) else []:
            texts = [_shown(row, key) for key in ("folder", "name", "opened_at")]
            if all(texts):
                folder = Path(texts[0])
                found.append(RecentWeekend(folder, texts[1], texts[2], _is_weekend(folder)))
        return found[:_MOST]

    def remember(self, folder: Path, name: str, now: datetime) -> None:
        """Put a weekend first among the recent ones."""
        place = str(folder.resolve())
        rows = [{"folder": place, "name": name, "opened_at": f"{now:%Y-%m-%d}"}]
        rows += [
            {"folder": str(r.folder), "name": r.name, "opened_at": r.opened_at}
            for r in self.recent()
            if str(r.folder) != place
        ]
        self._write({**self._read(), "weekend": rows[:_MOST]})

    def theme(self) -> str | None:
        """Return the theme chosen last."""
        name = self._read().get("theme")
        return name if isinstance(name, str) else None

    def keep_theme(self, name: str) -> None:
        """Remember the theme."""
        if name != self.theme():
            self._write({**self._read(), "theme": name})


def _shown(row: object, key: str) -> str:
    """Return a text of a row as it can be shown; empty when there is none."""
    text = row.get(key) if isinstance(row, dict) else None
    return visible(text, keep="")[:_LONGEST] if isinstance(text, str) else ""


def _is_weekend(folder: Path) -> bool:
    try:
        return (folder / "weekend.toml").is_file()
    except (OSError, ValueError):
        return False
