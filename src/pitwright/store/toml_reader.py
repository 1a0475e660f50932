"""From a TOML file to a model, or to problems that say file, key and reason."""

from __future__ import annotations

import io
import os
import re
import stat
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

# The same parser as tomllib, compiled: 5 ms instead of 16 for the ninety files of the demo, and 2
# instead of 7 to import. A weekend is read at every start.
import tomli

from pitwright.signs import visible
from pitwright.store.inside import leads_out
from pitwright.weekend.problems import Problem

# Themes are read through here before the app's first frame, and pydantic takes a third as long to
# import as the app takes to that frame: it is imported where a table meets a model.
if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

    from pitwright.weekend.model import Model

__all__ = [
    "MAX_CARD_BYTES",
    "MAX_DEPTH",
    "names_in",
    "other_format",
    "parse_toml",
    "read_model",
    "read_text",
    "text_inside",
    "validate",
]

MAX_CARD_BYTES = 2_000_000
MAX_DEPTH = 12
MAX_LINE = 20_000
_PART_BYTES = 65_536
MAX_PROBLEMS = 50
# No whole number of 2**63 or more is written shorter, in any base; looking for one in every table
# of a weekend takes as long as parsing them.
_MANY_DIGITS = re.compile(r"[0-9A-Fa-f_]{16}")
_COPY_IT = "put the thing itself here, not a link to it"

_M = TypeVar("_M", bound="Model")


def names_in(folder: Path, place: str, suffix: str, problems: list[Problem]) -> list[str]:
    """Return the names in a part of the folder that end in ``suffix``, in order.

    A part that is not there holds nothing; one that cannot be read goes among the problems.
    """
    shown = place or str(folder)
    try:
        if leads_out(folder / place, folder):
            problems.append(Problem(shown, "", "leads out of the folder", _COPY_IT))
            return []
        with os.scandir(folder / place) as entries:
            return sorted(
                e.name for e in entries if e.name.endswith(suffix) and not e.name.startswith(".")
            )
    except FileNotFoundError:
        return []
    except OSError as error:
        problems.append(Problem(shown, "", f"cannot be read: {error.strerror or error}"))
        return []


def read_text(path: Path, name: str, limit: int = MAX_CARD_BYTES) -> str | Problem:
    """Return the UTF-8 text of a regular file of at most ``limit`` bytes, or the problem."""
    try:
        # Pipes and devices would block; only what is a file is opened.
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            return Problem(name, "", "is not a file")
        size = found.st_size
        if size > limit:
            return Problem(
                name, "", f"is too large ({size:,} bytes; at most {limit:,} can be read)"
            )
        with path.open("rb", buffering=0) as file:
            data = _read_up_to(file, limit + 1)
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return Problem(name, "", "is not there")
    except OSError as error:
        return Problem(name, "", f"cannot be read: {error.strerror or error}")
    if len(data) > limit:
        return Problem(name, "", f"is too large (at most {limit:,} bytes can be read)")
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        return Problem(
            name,
            "",
            f"is not UTF-8 text (byte {error.start + 1})",
            "save it as UTF-8 in the editor",
        )


def _read_up_to(file: io.FileIO, most: int) -> bytes:
    # Asked for all that may come at once, it makes room for two megabytes for every record.
    data = b""
    while part := file.read(min(most - len(data), _PART_BYTES)):
        data += part
    return data


def text_inside(folder: Path, name: str) -> str | Problem:
    """Return the text of a file in the folder; a link that leads out of it is not followed."""
    path = folder / name
    try:
        # Where the folders lead was looked at when they were listed.
        out = path.is_symlink() and leads_out(path, folder)
    except OSError as error:
        return Problem(name, "", f"cannot be read: {error.strerror or error}")
    if out:
        return Problem(name, "", "leads out of the folder", _COPY_IT)
    return read_text(path, name)


def parse_toml(text: str, name: str) -> dict[str, Any] | Problem:
    """Return the table of a TOML text, or the problem."""
    if len(text) > MAX_LINE:
        for number, line in enumerate(text.split("\n"), 1):
            # Reading a key of many thousand parts would take hours.
            if len(line) > MAX_LINE:
                return Problem(name, "", f"line {number} is longer than {MAX_LINE:,} signs")
    try:
        table = tomli.loads(text)
    except tomli.TOMLDecodeError as error:
        return Problem(name, "", f"is not valid TOML: {visible(str(error), keep='')}")
    except (RecursionError, ValueError) as error:
        return Problem(name, "", f"is not valid TOML: {visible(str(error), keep='')[:120]}")
    if _too_deep(table):
        return Problem(name, "", f"is nested deeper than {MAX_DEPTH} levels")
    huge = _huge_number(table, ()) if _MANY_DIGITS.search(text) else None
    if huge is not None:
        return Problem(name, _toml_path(huge), "is a number with more than 18 digits")
    return table


def _too_deep(table: dict[str, Any]) -> bool:
    """Tell whether something stands deeper than MAX_DEPTH levels, level by level."""
    level: list[Any] = [table]
    for _ in range(MAX_DEPTH):
        level = [
            child
            for at in level
            for child in (at.values() if isinstance(at, dict) else at)
            if isinstance(child, (dict, list))
        ]
        if not level:
            return False
    return any(level)


def _huge_number(value: object, path: tuple[int | str, ...]) -> tuple[int | str, ...] | None:
    """Return where a whole number stands that TOML 1.0 does not promise to hold, if one does."""
    if isinstance(value, int):
        return path if abs(value) >= 2**63 else None
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for key, child in items:
        found = _huge_number(child, (*path, key))
        if found is not None:
            return found
    return None


def read_model(folder: Path, name: str, model: type[_M]) -> _M | list[Problem]:
    """Read one TOML file of a folder; all its problems at once when it does not fit ``model``."""
    text = text_inside(folder, name)
    if isinstance(text, Problem):
        return [text]
    table = parse_toml(text, name)
    if isinstance(table, Problem):
        return [table]
    return validate(table, model, name)


def validate(table: dict[str, Any], model: type[_M], name: str) -> _M | list[Problem]:
    """Fit a table to ``model``; all problems at once when it does not fit."""
    from pydantic import ValidationError

    if "format" in model.model_fields:
        other = other_format(table, name)
        if other is not None:
            return [other]
    try:
        return model.model_validate(table)
    except ValidationError as error:
        details = error.errors(include_url=False)
        found = {_problem(model, detail, name) for detail in details[:MAX_PROBLEMS]}
        more = len(details) - MAX_PROBLEMS
        rest = [Problem(name, "", f"{more} more keys or values do not fit")] if more > 0 else []
        return sorted(found, key=lambda p: (p.key, p.reason)) + rest
    except RecursionError:
        return [Problem(name, "", "is nested too deeply")]


def other_format(table: dict[str, Any], name: str) -> Problem | None:
    """Return the problem when a file says that it is of another format than today's."""
    version = table.get("format")
    if not isinstance(version, int) or isinstance(version, bool) or version == 1:
        return None
    if version > 1:
        return Problem(
            name,
            "format",
            f"is {version}, written for a newer pitwright; this one reads format 1",
            "update pitwright; the file is left as it is",
        )
    return Problem(
        name,
        "format",
        f"is {version}, an older format; this pitwright reads format 1",
        "make a copy in today's format with: pitwright migrate OLD NEW",
    )


def _problem(model: type[BaseModel], detail: ErrorDetails, name: str) -> Problem:
    # "[key]" is pydantic's own mark for the name of an entry.
    location = [part for part in detail["loc"] if part != "[key]"]
    key = _toml_path(location)
    kind = detail["type"]
    if kind == "extra_forbidden":
        import difflib

        known = _keys_at(model, location[:-1])
        near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.6)
        advice = f"did you mean '{near[0]}'?" if near else ""
        return Problem(name, key, "is not a key known here", advice)
    if kind == "missing":
        return Problem(name, key, "is missing")
    reason = detail["msg"].removeprefix("Value error, ")
    given = detail.get("input")
    if isinstance(given, str | int | float | bool) and kind not in ("value_error", "figure"):
        reason = f"{reason} (it is {_shown(given)})"
    return Problem(name, key, visible(reason, keep=""))


def _shown(given: object) -> str:
    text = visible(repr(given), keep="")
    return text if len(text) <= 40 else text[:37] + "..."


def _toml_path(location: Iterable[int | str]) -> str:
    path = ""
    for part in location:
        if isinstance(part, int):
            path += f"[{part + 1}]"
        else:
            shown = visible(part, keep="")[:60]
            bare = shown.replace("-", "").replace("_", "").isalnum()
            path += ("." if path else "") + (shown if bare else f'"{shown}"')
    return path


def _keys_at(model: type[BaseModel], location: Iterable[int | str]) -> list[str]:
    """Return the keys allowed at a place of the model."""
    at: set[type[BaseModel]] = {model}
    for part in location:
        if isinstance(part, int):
            continue
        found: set[type[BaseModel]] = set()
        for candidate in at:
            field = candidate.model_fields.get(part)
            if field is not None:
                found |= _models_in(field.annotation)
        at = found or at
    return sorted(
        {field.alias or key for candidate in at for key, field in candidate.model_fields.items()}
    )


def _models_in(annotation: object) -> set[type[BaseModel]]:
    from pydantic import BaseModel

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return {annotation}
    found: set[type[BaseModel]] = set()
    for inner in get_args(annotation):
        found |= _models_in(inner)
    return found
