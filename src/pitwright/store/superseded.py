"""Which of two folders' laps of one heat were put right in the other: by what was put aside."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

from pitwright.store.toml_reader import names_in

__all__ = ["put_right"]


def put_right(into: Path, other: Path, heat: str) -> Literal["here", "there", ""]:
    """Tell in which of the two folders the laps of ``heat`` are the later ones, where that shows.

    Laps that one folder has put aside are the earlier ones, however many they are. Where each has
    put aside what stands in the other, the one that has put aside all that the other has, and
    more, came later. Raises OSError.
    """
    here, there = _aside(into, heat), _aside(other, heat)
    shown = f"laps/{heat}.csv"
    mine_went = (into / shown).read_bytes() in there and not here > there
    theirs_went = (other / shown).read_bytes() in here and not there > here
    if mine_went == theirs_went:
        return ""
    return "here" if theirs_went else "there"


def _aside(folder: Path, heat: str) -> set[bytes]:
    place = "laps/as-it-came"
    # More of them have a number, those of another folder a mark of what is in them.
    ours = re.compile(re.escape(heat) + r" replaced(-\d+|-other-[0-9a-f]{10})*\.txt")
    paths = (folder / place / name for name in names_in(folder, place, ".txt", []))
    return {
        path.read_bytes()
        for path in paths
        if ours.fullmatch(path.name) and path.is_file() and not path.is_symlink()
    }
