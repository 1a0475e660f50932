"""The short form of the kills in a real terminal, and the proof that they would notice."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

if os.name == "nt":
    pytest.skip("there is no pseudo-terminal on Windows", allow_module_level=True)

from trust import kill_terminal


def test_four_kills_lose_nothing_that_was_seen(tmp_path: Path) -> None:
    tally = kill_terminal.run(4, 1, tmp_path)
    assert tally.faults == []
    assert tally.kills == 4
    assert sum(tally.seen.values()) > 3


def test_an_app_that_does_not_write_what_it_shows_is_caught(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Nor does it say that it is late, which would be right.
    monkeypatch.setattr(kill_terminal, "COMMAND", kill_terminal.sabotaged(kill_terminal.SABOTAGE))
    tally = kill_terminal.run(4, 2, tmp_path, linger_s=0.3, fast=False)
    faults = "\n".join(tally.faults)
    missed = [kind for kind in kill_terminal.KINDS if f"seen and lost: {kind} " not in faults]
    assert missed == [], tally
