"""Nothing is read from, written to or removed from a place outside of the weekend's folder."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import LAPTOP, WeekendMaker, blank_weekend
from hypothesis import given
from hypothesis import strategies as st

from pitwright.cli import main
from pitwright.store.files import StoreError
from pitwright.store.inside import leads_out
from pitwright.store.leftovers import clean_leftovers, temporary_name
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.model import check_name
from pitwright.weekend.records import NoteRecord

links = pytest.mark.skipif(os.name == "nt", reason="links need rights there")
NOW = datetime(2026, 5, 16, 9, tzinfo=UTC)


@pytest.fixture
def outside(tmp_path):
    """A finished weekend elsewhere, with a record and laps worth stealing."""
    maker = WeekendMaker(tmp_path / "outside")
    maker.heat("Q1", "qualifier", laps=[18.1, 18.2])
    return maker.folder


@pytest.fixture
def folder(tmp_path):
    return blank_weekend(tmp_path / "w")


def names(place):
    return sorted(p.name for p in place.rglob("*"))


@given(st.text(max_size=45))
def test_a_name_is_one_plain_part_of_a_path(text):
    try:
        name = check_name(text)
    except ValueError:
        return
    assert "/" not in name
    assert "\\" not in name
    assert ":" not in name
    assert not name.startswith(".")
    assert Path(name).name == name


@pytest.mark.parametrize(
    "name",
    ["..", "../x", "a/b", "a\\b", "/etc/passwd", "C:x", "con", "NUL", "com1", "lpt9.txt", "aux.x.y",
     "", " ", ".", "x.", "-x", "a\x00b", "a\nb", "~", "$HOME", "x" * 41],
)  # fmt: skip
def test_what_leads_elsewhere_is_no_name(name):
    with pytest.raises(ValueError, match=r"must be|device name"):
        check_name(name)


@links
@pytest.mark.parametrize("part", ["log", "laps"])
def test_a_linked_part_is_not_read(folder, outside, part):
    (folder / part).rmdir()
    (folder / part).symlink_to(outside / part, target_is_directory=True)
    found = read_folder(folder, LAPTOP)
    assert [(p.file, p.reason) for p in found.problems] == [(part, "leads out of the folder")]
    assert not found.records
    assert found.weekend is not None
    assert not found.weekend.laps


@links
def test_a_linked_file_is_not_read(folder, outside):
    record = next((outside / "log").glob("*.toml"))
    (folder / "log" / record.name).symlink_to(record)
    (folder / "laps" / "Q1.csv").symlink_to(outside / "laps" / "Q1.csv")
    found = read_folder(folder, LAPTOP)
    assert {p.reason for p in found.problems} == {"leads out of the folder"}
    assert {p.file for p in found.problems} == {f"log/{record.name}", "laps/Q1.csv"}
    (folder / "stock.toml").unlink()
    (folder / "stock.toml").symlink_to(outside / "stock.toml")
    assert read_folder(folder, LAPTOP).weekend is None


@links
def test_links_within_the_folder_are_fine(folder):
    (folder / "clutch-B.toml").symlink_to(folder / "clutch.toml")
    told = [str(p) for p in read_folder(folder, LAPTOP).problems]
    assert not any("leads out" in line for line in told)


@links
def test_linked_open_work_is_not_read(folder, outside):
    with Session(folder, laptop=LAPTOP) as session:
        session.keep_draft("note", {"text": "mine"})
    draft = folder / "open" / LAPTOP / "drafts" / "note.toml"
    draft.rename(outside / "note.toml")
    draft.symlink_to(outside / "note.toml")
    found = read_folder(folder, LAPTOP)
    assert [p.reason for p in found.problems] == ["leads out of the folder"]


@links
@pytest.mark.parametrize("part", ["log", "laps"])
def test_nothing_is_written_through_a_link(folder, outside, part):
    before = names(outside)
    (folder / part).rmdir()
    (folder / part).symlink_to(outside / part, target_is_directory=True)
    with Session(folder, laptop=LAPTOP) as session:
        writes = {
            "log": lambda: session.append(NoteRecord(happened_at=NOW, text="x")),
            "laps": lambda: session.keep_laps("Q7", [18.1]),
        }
        with pytest.raises(StoreError, match="leads out of the folder"):
            writes[part]()
        assert not session.weekend.log.records
    assert names(outside) == before


@links
def test_a_linked_open_folder_leaves_reading_only(folder, outside):
    (outside / "open").mkdir(exist_ok=True)
    before = names(outside)
    (folder / "open").symlink_to(outside / "open", target_is_directory=True)
    with Session(folder, laptop=LAPTOP) as session:
        assert not session.writable
        with pytest.raises(StoreError):
            session.keep_draft("note", {"text": "x"})
    assert names(outside) == before


@links
def test_leftovers_elsewhere_are_not_cleared(folder, outside):
    old = outside / "log" / temporary_name("x.toml")
    old.write_text("")
    os.utime(old, (0, 0))
    (folder / "log").rmdir()
    (folder / "log").symlink_to(outside / "log", target_is_directory=True)
    assert clean_leftovers(folder) == 0
    assert old.exists()


@links
def test_a_ring_of_links_is_named(folder):
    (folder / "clutch-B.toml").symlink_to(folder / "clutch-C.toml")
    (folder / "clutch-C.toml").symlink_to(folder / "clutch-B.toml")
    told = {p.file for p in read_folder(folder, LAPTOP).problems}
    assert told == {"clutch-B.toml", "clutch-C.toml"}


@pytest.mark.parametrize("heat", ["../clutch", "a/b", "..", "con", "/x", "Q1\x00"])
def test_laps_are_kept_under_a_heats_name_only(folder, heat):
    with Session(folder, laptop=LAPTOP) as session:
        before = names(folder)
        with pytest.raises(ValueError, match=r"must be|device name"):
            session.keep_laps(heat, [18.1], b"18.1")
        assert names(folder) == before


@pytest.mark.parametrize("heat", ["../../x", "con", "a/b", "Q\x1b[2J"])
def test_no_command_takes_such_a_heat(folder, heat, capsys):
    before = names(folder)
    words = ["heat", str(folder), heat, "--kind", "practice", "--start", "2026-05-15 09:00"]
    assert main(words) == 2
    assert "must be 1 to 40" in (said := capsys.readouterr().err) or "device name" in said
    assert [n for n in names(folder) if n not in ("open", "writing.lock")] == before


def test_pipes_and_devices_are_not_opened(folder):
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    os.mkfifo(folder / "log" / "x.toml")
    os.mkfifo(folder / "laps" / "x.csv")
    (folder / "clutch-B.toml").mkdir()
    reasons = {p.file: p.reason for p in read_folder(folder, LAPTOP).problems}
    assert reasons == dict.fromkeys(("log/x.toml", "laps/x.csv", "clutch-B.toml"), "is not a file")


def test_leads_out_knows_dots_and_prefixes(tmp_path):
    assert leads_out(tmp_path / "w" / "..", tmp_path / "w")
    assert leads_out(tmp_path / "w2", tmp_path / "w")
    assert not leads_out(tmp_path / "w" / "a" / ".." / "b", tmp_path / "w")
    assert not leads_out(tmp_path / "w", tmp_path / "w")
