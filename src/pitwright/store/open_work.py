"""What is in progress on this laptop: read, rewritten atomically, cleared when it has landed."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from pydantic import Field

from pitwright.store.files import replace_file, sync_folder
from pitwright.store.log_writer import as_toml
from pitwright.store.toml_reader import read_model
from pitwright.weekend.model import Model
from pitwright.weekend.open_work import Draft, OpenBuild, OpenHeat, OpenWork, Timer
from pitwright.weekend.problems import Problem

__all__ = ["OpenFolder", "read_open"]

_M = TypeVar("_M", bound=Model)


class _Timers(Model):
    timer: list[Timer] = Field(default_factory=list)


def read_open(folder: Path, laptop: str, problems: list[Problem]) -> OpenWork:
    """Read the open work of ``laptop``; what cannot be read goes among the problems."""
    place = folder / "open" / laptop

    def read(name: str, model: type[_M]) -> _M | None:
        if not (place / name).exists():
            return None
        found = read_model(place / name, model, f"open/{laptop}/{name}")
        if isinstance(found, list):
            problems.extend(found)
            return None
        return found

    timers = read("timers.toml", _Timers)
    drafts: dict[str, Draft] = {}
    if (place / "drafts").is_dir():
        for path in sorted((place / "drafts").glob("*.toml")):
            draft = read(f"drafts/{path.name}", Draft)
            if draft is not None:
                drafts[draft.form] = draft
    return OpenWork(
        build=read("build.toml", OpenBuild),
        heat=read("heat.toml", OpenHeat),
        timers=timers.timer if timers is not None else [],
        drafts=drafts,
    )


class OpenFolder:
    """The folder ``open/<laptop>`` of a weekend; every write is whole or not at all."""

    def __init__(self, folder: Path, laptop: str) -> None:
        self._place = folder / "open" / laptop

    def keep_build(self, build: OpenBuild) -> None:
        """Keep the build in progress."""
        replace_file(self._place / "build.toml", as_toml(build))

    def keep_heat(self, heat: OpenHeat) -> None:
        """Keep the running heat."""
        replace_file(self._place / "heat.toml", as_toml(heat))

    def keep_timers(self, timers: list[Timer]) -> None:
        """Keep the running timers."""
        replace_file(self._place / "timers.toml", as_toml(_Timers(timer=timers)))

    def keep_draft(self, draft: Draft) -> None:
        """Keep what was typed into a form."""
        replace_file(self._place / "drafts" / f"{draft.form}.toml", as_toml(draft))

    def clear_build(self) -> None:
        """Forget the build in progress, once its record has landed."""
        self._clear("build.toml")

    def clear_heat(self) -> None:
        """Forget the running heat, once its record has landed."""
        self._clear("heat.toml")

    def clear_draft(self, form: str) -> None:
        """Forget what was typed into a form."""
        self._clear(f"drafts/{form}.toml")

    def _clear(self, name: str) -> None:
        path = self._place / name
        if path.exists():
            path.unlink()
            sync_folder(path.parent)
