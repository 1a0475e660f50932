"""All that can be said about a folder's files: what is wrong, and what lies about."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pitwright.store.leftovers import explain_leftovers
from pitwright.store.lock import left_behind
from pitwright.store.reader import Opened, read_folder
from pitwright.weekend.problems import Problem

__all__ = ["check_folder"]


def check_folder(folder: Path, laptop: str) -> Opened:
    """Read a folder and add a warning for whatever a dead process left in it.

    Nothing is written; errors are what cannot be used, warnings what is worth knowing.
    """
    opened = read_folder(folder, laptop)
    found: list[Problem] = explain_leftovers(folder)
    holder = left_behind(folder)
    if holder is not None:
        found.append(
            Problem(
                "open/holder.json",
                "",
                f"names {holder}, which has ended without closing the weekend",
                "it holds nothing any more; the next opening for writing clears it away",
                "warning",
            )
        )
    return replace(opened, problems=(*opened.problems, *found))
