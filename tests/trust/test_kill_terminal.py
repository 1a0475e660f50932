"""The short form of the kills in a real terminal, and the proof that they would notice."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

if os.name == "nt":
    pytest.skip("there is no pseudo-terminal on Windows", allow_module_level=True)

from trust import kill_terminal


def test_ten_kills_lose_nothing_that_was_seen(tmp_path: Path) -> None:
    tally = kill_terminal.run(10, 1, tmp_path)
    assert tally.faults == []
    assert tally.kills == 10
    assert tally.typed > 2


def test_a_writer_that_waits_is_caught(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    late = (
        "import pitwright.app.drafts as drafts; drafts._GATHER_S = 5.0; "
        # Nor does it say that it is late, which would be right.
        "drafts._LATE_S = 60.0; "
        "from pitwright.cli import main; raise SystemExit(main())"
    )
    monkeypatch.setattr(kill_terminal, "COMMAND", (sys.executable, "-c", late, "open"))
    tally = kill_terminal.run(10, 2, tmp_path)
    assert any("seen and lost" in fault for fault in tally.faults), tally
