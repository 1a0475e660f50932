"""Where the shipped files are: themes and the demo weekend.

In a wheel they are package data; in a checkout they stand at its root.
"""

from __future__ import annotations

from pathlib import Path

__all__ = ["demo_folder", "shipped", "themes_folder"]

_PACKAGE = Path(__file__).resolve().parent


def shipped(name: str) -> Path:
    """Return the folder ``name`` shipped with pitwright.

    Raises FileNotFoundError when the installation is incomplete.
    """
    for root in (_PACKAGE, _PACKAGE.parent.parent):
        folder = root / name
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the folder '{name}' is missing from this installation of pitwright")


def themes_folder() -> Path:
    """Return the folder of the shipped themes."""
    return shipped("themes")


def demo_folder() -> Path:
    """Return the folder of the demo weekend; read it, never write into it."""
    return shipped("demo_weekend")
