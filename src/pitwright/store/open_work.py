"""What is in progress on this laptop: where it stands, and reading it again."""

from __future__ import annotations

from pathlib import Path
from typing import Final, TypeVar

from pydantic import Field

from pitwright.store.copies import copy_of, copy_problem
from pitwright.store.laptop import short_part
from pitwright.store.lock import held_elsewhere
from pitwright.store.log_writer import as_toml
from pitwright.store.toml_reader import names_in, read_model
from pitwright.weekend.model import Model
from pitwright.weekend.open_work import Draft, OpenBuild, OpenHeat, OpenWork, Timer
from pitwright.weekend.problems import Problem

__all__ = ["OpenPlaces", "other_names", "read_open", "timers_toml"]

_M = TypeVar("_M", bound=Model)
_PARTS: Final = {"build", "heat", "timers"}
_LOST: Final = {"build": "a build in progress", "heat": "a running heat"}


class _Timers(Model):
    timer: list[Timer] = Field(default_factory=list)


def read_open(folder: Path, laptop: str, problems: list[Problem]) -> OpenWork:
    """Read the open work of ``laptop``; what cannot be read goes among the problems."""
    place = f"open/{laptop}"
    there = set(names_in(folder, place, ".toml", problems))

    def read(name: str, model: type[_M]) -> _M | None:
        shown = f"{place}/{name}"
        found = read_model(folder, shown, model)
        if isinstance(found, list):
            problems.extend(found)
            return None
        return found

    def read_there(name: str, model: type[_M]) -> _M | None:
        return read(name, model) if name in there else None

    for name in sorted(there):
        original = copy_of(name.removesuffix(".toml"), _PARTS)
        if original is not None:
            problems.append(copy_problem(f"{place}/{name}", f"{place}/{original}.toml"))
    timers = read_there("timers.toml", _Timers)
    drafts: dict[str, Draft] = {}
    for name in names_in(folder, f"{place}/drafts", ".toml", problems):
        draft = read(f"drafts/{name}", Draft)
        if draft is not None and name != f"{draft.form}.toml":
            problems.append(
                copy_problem(f"{place}/drafts/{name}", f"{place}/drafts/{draft.form}.toml")
            )
        elif draft is not None:
            drafts[draft.form] = draft
    # Each part was validated when it was read; validating them together would only build a schema
    # that nothing else needs, 3 ms at every start.
    return OpenWork.model_construct(
        build=read_there("build.toml", OpenBuild),
        heat=read_there("heat.toml", OpenHeat),
        timers=timers.timer if timers is not None else [],
        drafts=drafts,
    )


def other_names(folder: Path, laptop: str, problems: list[Problem]) -> list[Problem]:
    """Return a warning for each build or heat in progress that may be this laptop's own.

    It may be when its name begins as this laptop's does, for a laptop has another name where the
    user's files are gone or its host is called otherwise; and when it is the only one in the folder
    and nobody is writing. It is only said: it may as well be another laptop's. What cannot
    be read goes among the problems.
    """
    found = [
        (name, part)
        for name in names_in(folder, "open", "", problems)
        for part in _begun(folder, name, problems)
    ]
    names = {name for name, _part in found}
    alike = {name for name in names - {laptop} if short_part(name) == short_part(laptop)}
    if not alike and len(names) == 1 and laptop not in names and not held_elsewhere(folder):
        alike = names
    return [
        Problem(
            f"open/{name}/{part}.toml",
            "",
            f"is {_LOST[part]} under the name {name}; this laptop's name is {laptop}",
            f"if it is this laptop's, close pitwright and move the file to open/{laptop}",
            "warning",
        )
        for name, part in found
        if name in alike
    ]


def _begun(folder: Path, name: str, problems: list[Problem]) -> list[str]:
    place = folder / "open" / name
    try:
        return [part for part in _LOST if (place / f"{part}.toml").is_file()]
    except OSError as error:
        problems.append(Problem(f"open/{name}", "", f"cannot be read: {error.strerror or error}"))
        return []


def timers_toml(timers: list[Timer]) -> bytes:
    """Return the running timers as TOML."""
    return as_toml(_Timers(timer=timers))


class OpenPlaces:
    """Where the work in progress of a laptop stands: ``open/<laptop>`` of a weekend."""

    def __init__(self, folder: Path, laptop: str) -> None:
        place = folder / "open" / laptop
        self.build = place / "build.toml"
        self.heat = place / "heat.toml"
        self.timers = place / "timers.toml"
        self._drafts = place / "drafts"

    def draft(self, form: str) -> Path:
        """Return where the draft of a form stands."""
        return self._drafts / f"{form}.toml"
