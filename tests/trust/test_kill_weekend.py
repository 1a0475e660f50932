"""The short form of the killer, and the proof that it would notice."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from trust import kill_weekend

from pitwright.store import log_writer, session

pytestmark = pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL on Windows")


def test_fifteen_kills_lose_nothing(tmp_path: Path) -> None:
    tally = kill_weekend.run(15, 1, tmp_path)
    assert tally.faults == []
    assert tally.kills == 15
    # That it worked between the kills; how much is a matter of the machine's load.
    assert tally.acknowledged > 5
    assert tally.stale_notes > 5


@pytest.mark.long
def test_five_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    tally = kill_weekend.run(500, 20260516, tmp_path)
    assert tally.faults == []
    assert tally.kills == 500


def _in_place(path: Path, data: bytes, *, within: Path | None = None) -> None:
    """Write as one must not: straight into the file, in two halves."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb", buffering=0) as file:
        file.write(data[: len(data) // 2])
        time.sleep(0.01)
        file.write(data[len(data) // 2 :])


def test_a_store_that_writes_in_place_is_caught(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_writer, "create_file", _in_place)
    monkeypatch.setattr(session, "replace_file", _in_place)
    assert kill_weekend.run(15, 2, tmp_path).faults


def test_a_store_that_acknowledges_too_early_is_caught(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[tuple[Path, bytes]] = []
    real = session.replace_file

    def later(path: Path, data: bytes, *, within: Path | None = None) -> None:
        kept.append((path, data))
        if len(kept) > 3:
            real(*kept.pop(0), within=within)

    monkeypatch.setattr(session, "replace_file", later)
    assert kill_weekend.run(15, 3, tmp_path).faults
