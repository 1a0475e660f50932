"""The short form of what the open folder can suffer, in a real terminal."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

if os.name == "nt":
    pytest.skip("there is no pseudo-terminal on Windows", allow_module_level=True)

from trust import suffer_terminal


@pytest.mark.parametrize(
    ("work", "kinds"),
    [
        ("typing", ("deleted", "a file", "read-only", "full")),
        ("heat", ("renamed", "clock set back")),
    ],
)
def test_what_is_in_hand_outlives_what_the_folder_suffers(
    tmp_path: Path, work: str, kinds: tuple[str, ...]
) -> None:
    tally = suffer_terminal.run(1, 1, tmp_path / "ground", [work], kinds)
    assert tally.faults == []
    assert tally.tried + len(tally.not_tried) == len(kinds)
    if tally.not_tried:
        print(f"not tried here: {tally.not_tried}")
