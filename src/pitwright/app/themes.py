"""Themes from TOML files: those shipped and the user's own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from textual.color import Color
from textual.theme import Theme

from pitwright.signs import visible
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.problems import Problem

__all__ = ["COLORS", "FLAGS", "load_themes"]

COLORS = (
    "primary",
    "secondary",
    "accent",
    "foreground",
    "background",
    "surface",
    "panel",
    "warning",
    "error",
    "success",
)
FLAGS = ("good", "close", "out")
_LARGEST_FILE = 100_000

_COLOR = re.compile(r"#[0-9a-fA-F]{6}")


def load_themes(folders: Iterable[Path]) -> tuple[list[Theme], list[str]]:
    """Load every theme file of ``folders``; return the good ones and a line per bad one.

    A later folder's theme replaces an earlier one of the same name.
    """
    good: dict[str, Theme] = {}
    bad: list[str] = []
    for folder in folders:
        for path in sorted(folder.glob("*.toml")) if folder.is_dir() else ():
            try:
                theme = _read(path)
            except ValueError as error:
                bad.append(visible(str(error), keep=""))
                continue
            good[theme.name] = theme
    return list(good.values()), bad


def _read(path: Path) -> Theme:
    text = read_text(path, path.name, limit=_LARGEST_FILE)
    table = parse_toml(text, path.name) if isinstance(text, str) else text
    if isinstance(table, Problem):
        raise ValueError(str(table))
    try:
        return _theme(table)
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from None


def _theme(table: dict[str, Any]) -> Theme:
    name = table.get("name")
    if not isinstance(name, str) or not re.fullmatch(r"[a-z0-9-]{1,30}", name):
        raise ValueError("name: must be lower-case letters, digits and dashes")
    colors = {key: _color(table, "colors", key) for key in COLORS}
    flags = {f"flag-{key}": _color(table, "flags", key) for key in FLAGS}
    return Theme(
        name=name,
        dark=table.get("dark") is not False,
        primary=colors["primary"],
        secondary=colors["secondary"],
        accent=colors["accent"],
        foreground=colors["foreground"],
        background=colors["background"],
        surface=colors["surface"],
        panel=colors["panel"],
        warning=colors["warning"],
        error=colors["error"],
        success=colors["success"],
        variables={
            **flags,
            "footer-key-foreground": colors["accent"],
            "block-cursor-background": colors["primary"],
            "block-cursor-foreground": colors["background"],
            "block-cursor-blurred-background": _mixed(colors["surface"], colors["primary"]),
            "block-cursor-blurred-foreground": colors["foreground"],
        },
    )


def _mixed(ground: str, color: str) -> str:
    # Weak enough that the quiet text of a row stays readable on it.
    return Color.parse(ground).blend(Color.parse(color), 0.21).hex


def _color(table: dict[str, object], group: str, key: str) -> str:
    colors = table.get(group)
    value = colors.get(key) if isinstance(colors, dict) else None
    if not isinstance(value, str) or not _COLOR.fullmatch(value):
        raise ValueError(f"{group}.{key}: must be a colour such as #1c2126")
    return value
