"""An open folder: writes reach the disk, hand-written files are left alone, nobody collides."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pitwright.cli import main
from pitwright.store.create import CARDS, backup, copy_demo, new_weekend
from pitwright.store.files import StoreError
from pitwright.store.laptop import host_name, laptop_name
from pitwright.store.reader import read_folder
from pitwright.store.session import CannotOpenError, ReadOnlyError, Session
from pitwright.weekend.carry import carry_over
from pitwright.weekend.open_work import OpenBuild, OpenHeat, Timer
from pitwright.weekend.records import Check, Correction, Fit, HeatRun, NoteRecord, Reading, Setting

NOW = datetime(2026, 5, 15, 8, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "weekend"
    new_weekend(
        place, name='A "quoted" name', time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15)
    )
    return place


def note(text: str = "seen") -> NoteRecord:
    return NoteRecord(happened_at=NOW, text=text)


def everything(session: Session) -> None:
    """Do one of each thing that writes."""
    session.append(Fit(happened_at=NOW, place="spring", part="S1"))
    reading = Reading(quantity="free_length", values_mm=[10.2], verdict="good")
    wrong = session.append(Check(happened_at=NOW, readings=[reading]))
    session.append(Setting(happened_at=NOW, recess_mm=1.35))
    session.append(Correction(happened_at=NOW, replaces=wrong.id, reason="slip"))
    heat = HeatRun(happened_at=NOW, heat="Q1", heat_kind="qualifier", run_minutes=8)
    session.keep_heat(OpenHeat(heat=heat))
    session.append(heat)
    session.clear_heat()
    session.keep_laps("Q1", [21.5, 21.25], b"as; it\r\ncame")
    steps = session.weekend.procedure.on_route("recess only")
    session.keep_build(OpenBuild(route="recess only", started_at=NOW, steps=steps))
    session.keep_timers([Timer(name="lock", label="Thread-lock", due_at=NOW)])
    session.keep_draft("measure", {"free_length": "10.1"})


def test_what_was_written_is_read_again_just_so(folder: Path) -> None:
    with Session(folder) as session:
        everything(session)
        written = session.weekend
    with Session(folder) as session:
        assert session.problems == ()
        assert session.weekend.log == written.log
        assert session.weekend.laps == {"Q1": (21.5, 21.25)}
        assert session.weekend.open == written.open
        assert session.weekend.open.drafts["measure"].fields == {"free_length": "10.1"}
    came = folder / "laps" / "as-it-came" / "Q1.txt"
    assert came.read_bytes() == b"as; it\r\ncame"


def test_hand_written_files_survive_every_action_byte_for_byte(folder: Path) -> None:
    for card in CARDS:
        path = folder / card
        path.write_bytes(b"# mine \xc3\xa4\r\n" + path.read_bytes() + b"\n# the end, no newline")
    before = {card: (folder / card).read_bytes() for card in CARDS}
    with Session(folder) as session:
        everything(session)
    backup(folder, folder.parent / "kept")
    new_weekend(
        folder.parent / "next",
        name="Next",
        time_zone="Europe/Lisbon",
        starts_on=date(2026, 6, 1),
        cards_from=folder,
    )
    assert {card: (folder / card).read_bytes() for card in CARDS} == before
    for card in CARDS[1:]:
        assert (folder.parent / "next" / card).read_bytes() == before[card]


def test_an_empty_draft_is_forgotten(folder: Path) -> None:
    with Session(folder) as session:
        session.keep_draft("measure", {"free_length": "10.1"})
        session.keep_draft("measure", {"free_length": "  "})
        assert session.weekend.open.drafts == {}
    assert not list((folder / "open").rglob("measure.toml"))


def test_a_second_instance_reads_and_is_told_who_writes(folder: Path) -> None:
    with Session(folder) as first, Session(folder) as second:
        assert first.writable
        assert not second.writable
        assert second.holder is not None
        with pytest.raises(ReadOnlyError, match="reading only"):
            second.append(note())
    with Session(folder) as third:
        assert third.writable


def test_changes_from_outside_are_noticed_and_read(folder: Path, tmp_path: Path) -> None:
    with Session(folder) as session:
        assert not session.changed_outside()
        session.append(note())
        assert not session.changed_outside()
        text = (folder / "stock.toml").read_text().replace('"Spring 1"', '"The old spring"')
        (folder / "stock.toml").write_text(text)
        assert session.changed_outside()
        assert session.reload()
        assert session.weekend.stock.spring[0].label == "The old spring"
        (folder / "stock.toml").write_text("format = ")
        assert not session.reload()
        assert session.weekend.stock.spring[0].label == "The old spring"
        assert session.problems


def test_two_laptops_merge_by_copying(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    with Session(folder, laptop="one") as session:
        session.append(note("common"))
    backup_of = backup(folder, tmp_path / "kept").target
    backup_of.rename(other)
    with Session(folder, laptop="one") as session:
        session.append(note("from one"))
    with Session(other, laptop="two") as session:
        session.append(note("from two"))
    for path in (other / "log").iterdir():
        target = folder / "log" / path.name
        if not target.exists():
            target.write_bytes(path.read_bytes())
    opened = read_folder(folder, "one")
    assert opened.problems == ()
    assert sorted(r.text for r in opened.records if isinstance(r, NoteRecord)) == [
        "common",
        "from one",
        "from two",
    ]


def test_a_folder_whose_cards_are_broken_does_not_open(folder: Path) -> None:
    (folder / "clutch.toml").write_text("format = 1\n")
    with pytest.raises(CannotOpenError) as caught:
        Session(folder)
    assert all(p.file == "clutch.toml" for p in caught.value.problems)


def test_sequence_goes_on_where_it_stopped(folder: Path) -> None:
    with Session(folder, laptop="a") as session:
        assert session.append(note()).sequence == 1
    with Session(folder, laptop="a") as session:
        assert session.append(note()).sequence == 2
    with Session(folder, laptop="b") as session:
        assert session.append(note()).sequence == 1


def test_new_refuses_to_overwrite(folder: Path) -> None:
    with pytest.raises(FileExistsError, match="already"):
        new_weekend(folder, name="x", time_zone="UTC", starts_on=date(2026, 5, 15))


def test_a_weekend_hands_on_parts_readings_and_setting(folder: Path, tmp_path: Path) -> None:
    with Session(folder) as session:
        session.append(Fit(happened_at=NOW, place="spring", part="S1"))
        reading = Reading(quantity="free_length", values_mm=[10.05], verdict="good")
        session.append(Check(happened_at=NOW, readings=[reading]))
        session.append(Setting(happened_at=NOW, recess_mm=1.55))
        session.append(Fit(happened_at=NOW, place="end play shims", shims_mm=[0.2, 0.1]))
        session.append(HeatRun(happened_at=NOW, heat="M", heat_kind="main", run_minutes=30))
        carry = carry_over(session.weekend, NOW)
    later = tmp_path / "later"
    new_weekend(
        later,
        name="Later",
        time_zone="Europe/Lisbon",
        starts_on=date(2026, 6, 1),
        cards_from=folder,
        carry=carry,
        now=NOW,
    )
    with Session(later) as session:
        assert session.problems == ()
        state = session.weekend.state()
    assert state.spring is not None
    assert (state.spring.part, state.spring.run_minutes) == ("S1", 30.0)
    length = state.figure("free_length")
    assert length is not None
    assert length.value_mm == 10.05
    assert state.recess is not None
    assert state.recess.value_mm == 1.55
    assert state.shims["end play shims"].shims_mm == (0.2, 0.1)


def test_a_backup_compares_what_it_copied(folder: Path, tmp_path: Path) -> None:
    done = backup(folder, tmp_path / "kept", now=NOW)
    assert done.files == len([p for p in folder.rglob("*") if p.is_file()])
    assert (done.target / "clutch.toml").read_bytes() == (folder / "clutch.toml").read_bytes()


def test_a_backup_into_itself_is_refused(folder: Path) -> None:
    with pytest.raises(StoreError, match="inside"):
        backup(folder, folder / "kept")


def test_each_copy_of_the_demo_is_a_fresh_one(folder: Path, tmp_path: Path) -> None:
    first = copy_demo(folder, tmp_path / "demo")
    second = copy_demo(folder, tmp_path / "demo")
    assert (first.name, second.name) == ("demo", "demo-2")


@pytest.mark.skipif(sys.platform == "win32", reason="there a living process cannot be asked")
def test_what_a_killed_backup_left_is_cleared_and_what_may_live_is_told(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = (
        "import os, shutil, signal, sys; from pathlib import Path\n"
        "from pitwright.store import create\n"
        "create._same = lambda *_: os.kill(os.getpid(), signal.SIGKILL)\n"
        "create.backup(Path(sys.argv[1]), Path(sys.argv[2]))"
    )
    kept = tmp_path / "kept"
    done = subprocess.run([sys.executable, "-c", code, str(folder), str(kept)], check=False)
    assert done.returncode == -signal.SIGKILL
    (left,) = kept.iterdir()
    assert left.name.startswith(".")
    elsewhere = kept / left.name.replace(f".{laptop_name()}-", ".othertent_k3fx-", 1)
    # Another laptop of a like name, by an earlier pitwright; its process is not one of ours.
    alike = kept / left.name.replace(f".{laptop_name()}-", f".{host_name()}-", 1)
    living = kept / f".w-x.{laptop_name()}-{os.getpid()}-0123abcd.unfinished"
    foreign = kept / ".trash"
    for place in (elsewhere, alike, living, foreign):
        place.mkdir()
        os.utime(place, (0, 0))  # a long backup: its own folder was made hours ago
    assert main(["backup", str(folder), str(kept)]) == 0
    said = capsys.readouterr().out
    assert f"cleared away, from a backup that was cut short: {left}" in said
    for place in (elsewhere, alike, living):
        assert f"not whole, made elsewhere or just now: {place}" in said
    assert not left.exists()
    assert all(place.exists() for place in (elsewhere, alike, living, foreign))


@pytest.mark.skipif(sys.platform == "win32", reason="there are no such files on Windows")
def test_a_backup_names_links_and_pipes_and_leaves_them_out(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(folder / "laps" / "pipe.csv")
    (folder / "recordings").symlink_to(tmp_path, target_is_directory=True)
    (folder / "mine.txt").symlink_to(folder / "weekend.toml")
    assert main(["backup", str(folder), str(tmp_path / "kept")]) == 1
    said = capsys.readouterr().out
    assert "left out: laps/pipe.csv is not a file" in said
    assert "left out: recordings is a link; copy what it leads to itself" in said
    assert "left out: mine.txt is a link; copy what it leads to itself" in said
    (made,) = (tmp_path / "kept").iterdir()
    assert (made / "weekend.toml").is_file()
    assert not (made / "recordings").exists()
