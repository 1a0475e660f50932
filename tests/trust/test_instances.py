"""Two instances of one folder, as real processes: one writes, the other reads and is told."""

from __future__ import annotations

import errno
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pitwright.cli import main
from pitwright.store import files
from pitwright.store.create import new_weekend
from pitwright.store.laptop import host_name, laptop_name
from pitwright.store.leftovers import clean_leftovers, explain_leftovers
from pitwright.store.lock import Holder
from pitwright.store.session import CannotOpenError, ReadOnlyError, Session
from pitwright.weekend.records import NoteRecord

NOW = datetime(2026, 5, 15, 8, tzinfo=UTC)

HOLD = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from pitwright.store.session import Session
from pitwright.weekend.records import NoteRecord
with Session(Path(sys.argv[1]), laptop="tent1") as session:
    assert session.writable
    session.append(NoteRecord(happened_at=datetime(2026, 5, 15, 8, tzinfo=UTC), text="theirs"))
    print("held", flush=True)
    sys.stdin.readline()
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    new_weekend(tmp_path / "w", name="W", time_zone="UTC", starts_on=date(2026, 5, 15))
    return tmp_path / "w"


def note(text: str = "mine") -> NoteRecord:
    return NoteRecord(happened_at=NOW, text=text)


@contextmanager
def holding(folder: Path) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        try:
            yield process
        finally:
            process.kill()


def test_the_second_reads_is_told_who_writes_and_takes_over(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with holding(folder) as process, Session(folder, laptop="tent1") as second:
        assert not second.writable
        assert second.holder is not None
        assert second.holder.process == process.pid
        assert second.holder.host == socket.gethostname()
        assert str(process.pid) in second.why_reading_only
        with pytest.raises(ReadOnlyError, match=f"process {process.pid}"):
            second.append(note())
        assert not second.can_take_over()
        assert not second.take_over()
        assert main(["note", str(folder), "x"]) == 2
        assert str(process.pid) in capsys.readouterr().err
        assert main(["state", str(folder)]) == 0

        process.communicate("go\n", timeout=30)
        assert second.can_take_over()
        assert second.take_over()
        assert second.writable
        assert second.why_reading_only == ""
        assert [r.text for r in second.records if isinstance(r, NoteRecord)] == ["theirs"]
        assert second.append(note()).sequence == 2
        with Session(folder, laptop="tent1") as third:
            assert not third.writable


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL on Windows")
def test_a_dead_holders_lock_and_note_hold_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with holding(folder) as process:
        process.send_signal(signal.SIGKILL)
        process.wait(30)
    assert (folder / "open" / "holder.json").exists()
    assert main(["verify", str(folder)]) == 0
    out = capsys.readouterr().out
    assert f"process {process.pid}" in out
    assert "has ended without closing" in out
    with Session(folder, laptop="tent1", write=False) as reading:
        assert reading.holder is None
    with Session(folder, laptop="tent1") as next_one:
        assert next_one.writable
        mine = json.loads((folder / "open" / "holder.json").read_text())
        assert mine["process"] == os.getpid()
    assert not (folder / "open" / "holder.json").exists()
    assert main(["verify", str(folder)]) == 0
    assert "ended" not in capsys.readouterr().out


@pytest.mark.parametrize("text", ["", "{", "[]", '{"host": 1}', "\x00", "[" * 5000])
def test_a_spoilt_note_is_no_reason_to_fail(folder: Path, text: str) -> None:
    (folder / "open").mkdir(exist_ok=True)
    (folder / "open" / "holder.json").write_text(text)
    with Session(folder, laptop="a", write=False) as session:
        assert session.holder is None
    with Session(folder, laptop="a") as session:
        assert session.writable


def test_of_ten_commands_at_once_none_is_told_that_the_folder_is_read_only(folder: Path) -> None:
    calls = [
        subprocess.Popen(
            [sys.executable, "-m", "pitwright", "note", str(folder), f"from {number}"],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )
        for number in range(10)
    ]  # fmt: skip
    said = [call.communicate(timeout=60)[1] for call in calls]
    kept = [call for call in calls if call.returncode == 0]
    # On a machine that is full enough, 2 s may pass before it is one's turn.
    assert len(kept) >= 5, said
    for call, words in zip(calls, said, strict=True):
        assert call.returncode == 0 or "has it open" in words, words
    with Session(folder, laptop="tent1", write=False) as session:
        assert len({(r.laptop, r.sequence) for r in session.records}) == len(kept)


def test_who_waited_in_vain_is_told_who_writes_and_not_that_it_is_read_only(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with holding(folder) as process:
        # The holder's note is the last to come and the first to go.
        (folder / "open" / "holder.json").unlink()
        begun = time.monotonic()
        assert main(["note", str(folder), "x"]) == 2
        assert 1.9 < time.monotonic() - begun < 10
        said = capsys.readouterr().err
        assert "another pitwright has it open" in said
        assert "read-only" not in said
        process.communicate("go\n", timeout=30)


def test_a_command_never_says_that_what_was_typed_is_still_there(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_args: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files, "_write_temporary", full)
    assert main(["note", str(folder), "x"]) == 2
    said = capsys.readouterr().err
    assert "No space left on device" in said
    assert "still here" not in said


def test_taking_over_a_folder_whose_card_broke_stays_reading(folder: Path) -> None:
    first = Session(folder, laptop="tent1")
    with Session(folder, laptop="tent1") as second:
        first.close()
        good = (folder / "stock.toml").read_bytes()
        (folder / "stock.toml").write_text("format = ")
        with pytest.raises(CannotOpenError):
            second.take_over()
        assert not second.writable
        (folder / "stock.toml").write_bytes(good)
        assert second.take_over()


def test_a_folder_that_will_not_open_holds_no_lock(folder: Path) -> None:
    (folder / "stock.toml").write_text("format = ")
    with pytest.raises(CannotOpenError):
        Session(folder)
    (folder / "stock.toml").unlink()
    new = folder.with_name("n")
    new_weekend(new, name="W", time_zone="UTC", starts_on=date(2026, 5, 15))
    (folder / "stock.toml").write_bytes((new / "stock.toml").read_bytes())
    with Session(folder) as session:
        assert session.writable


def test_a_change_just_before_our_own_write_is_still_noticed(folder: Path) -> None:
    with Session(folder, laptop="tent1") as session:
        card = folder / "stock.toml"
        card.write_text(card.read_text().replace('"Spring 1"', '"The old spring"'))
        session.append(note())
        session.keep_laps("Q1", [20.0])
        assert session.changed_outside()
        assert session.reload()
        assert session.weekend.stock.spring[0].label == "The old spring"
        assert not session.changed_outside()


def leave(place: Path, name: str, *, host: str = "", process: int, age_s: float = 0.0) -> Path:
    path = place / f".{name}.{host or laptop_name()}-{process}-0123abcd.unfinished"
    path.write_text("half")
    at = time.time() - age_s
    os.utime(path, (at, at))
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="there a living process cannot be asked")
def test_only_what_the_dead_of_this_laptop_left_is_cleared_away(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with subprocess.Popen([sys.executable, "-c", ""]) as gone:
        gone.wait(30)
    drafts = folder / "open" / "tent1" / "drafts"
    drafts.mkdir(parents=True)
    ours = [
        leave(folder, "weekend.toml", process=gone.pid),
        leave(folder / "log", "a.toml", process=gone.pid),
        leave(folder / "laps", "Q1.csv", process=gone.pid),
        leave(drafts, "m.toml", process=gone.pid),
        leave(folder / "log", "b.toml", process=os.getpid(), age_s=7200),
        leave(folder / "log", "c.toml", process=os.getpid(), age_s=-7200),
    ]
    living = leave(folder / "log", "d.toml", process=os.getpid())
    elsewhere = leave(folder / "log", "e.toml", host="othertent", process=gone.pid, age_s=7200)
    # An earlier pitwright wrote letters of the host's name, which another laptop may have as well.
    earlier = leave(folder / "log", "g.toml", host=host_name(), process=gone.pid, age_s=7200)
    foreign = [folder / "log" / ".f.unfinished", folder / "notes.unfinished", folder / ".swp"]
    for path in foreign:
        path.write_text("somebody else's")
    assert len(explain_leftovers(folder)) == len(ours) + 3
    assert main(["verify", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "note: log/.a.toml." in out
    assert "did not finish" in out
    assert f"delete it when no laptop called {host_name()} writes here" in out
    assert "All in order, 9 notes; 0 records read" in out
    assert all(path.exists() for path in ours), "verify only reads"
    with Session(folder, laptop="tent1", write=False):
        assert all(path.exists() for path in ours), "so does whoever only reads"
    with Session(folder, laptop="tent1"):
        assert not any(path.exists() for path in ours)
    assert all(path.exists() for path in (living, elsewhere, earlier, *foreign))
    assert clean_leftovers(folder) == 0


def test_cleaning_never_follows_a_link_out(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    there = leave(other, "a.toml", process=os.getpid(), age_s=7200)
    (folder / "log" / "linked").symlink_to(other)
    assert clean_leftovers(folder) == 0
    assert there.exists()


@pytest.mark.parametrize(
    ("ago_min", "told"),
    [(0, "opened just now"), (12.5, "opened 12 min ago"), (125, "opened 2 h 05 min ago")],
)
def test_a_holder_is_told_by_how_long_ago_not_by_a_time_of_another_zone(ago_min, told):
    since = (datetime.now(UTC) - timedelta(minutes=ago_min)).isoformat(timespec="seconds")
    assert str(Holder("tent1", 7, since)) == f"pitwright on tent1 (process 7, {told})"
    assert str(Holder("tent1", 7, "no time")) == "pitwright on tent1 (process 7)"
