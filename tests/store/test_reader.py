"""A folder is read with all its problems at once: file, key, reason, and what was meant."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from pitwright.paths import demo_folder
from pitwright.store.create import CARDS, new_weekend
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.store.toml_reader import MAX_CARD_BYTES, MAX_DEPTH, parse_toml
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import NoteRecord

NOW = datetime(2026, 5, 15, 8, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "weekend"
    new_weekend(place, name="Any", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return place


def edit(folder: Path, name: str, old: str, new: str) -> None:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def problems(folder: Path) -> list[str]:
    return [str(p) for p in read_folder(folder, "a").problems]


def test_a_new_folder_is_in_order(folder: Path) -> None:
    opened = read_folder(folder, "a")
    assert opened.problems == ()
    assert opened.weekend is not None


def test_the_demo_is_in_order_and_is_what_it_says() -> None:
    opened = read_folder(demo_folder(), "nobody")
    assert opened.problems == ()
    weekend = opened.weekend
    assert weekend is not None
    kinds = [r.kind for r in opened.records]
    assert len(weekend.heats) >= 10
    assert kinds.count("build") == 5
    assert kinds.count("correction") == 1
    readings = [r for rec in opened.records if rec.kind == "check" for r in rec.readings]
    assert len(readings) >= 40
    assert any(r.verdict == "out" for r in readings)
    assert all(weekend.laps.get(h.run.heat) for h in weekend.heats)
    assert len({h.state.spring.part for h in weekend.heats if h.state.spring}) == 3
    assert len({h.state.shoes.part for h in weekend.heats if h.state.shoes}) == 2
    assert any(h.run.trouble for h in weekend.heats)
    assert max(h.run.planned_minutes or 0 for h in weekend.heats) == 30


def test_all_problems_are_named_at_once_with_the_nearest_key(folder: Path) -> None:
    edit(folder, "clutch.toml", "clearance =", "clearence =")
    edit(folder, "clutch.toml", 'value = "81.7 GPa"', 'value = "81.7 kg"')
    edit(folder, "stock.toml", "count = 6", "count = -6")
    edit(folder, "weekend.toml", 'time_zone = "Europe/Lisbon"', 'time_zone = "Europe/Lisbonne"')
    found = problems(folder)
    assert any(
        "clutch.toml: shoes.clearence" in p and "did you mean 'clearance'" in p for p in found
    )
    assert any("spring.shear_modulus" in p and "unit of mass" in p for p in found)
    assert any("stock.toml: shim[2].count" in p for p in found)
    assert any("weekend.toml: time_zone" in p for p in found)
    assert read_folder(folder, "a").weekend is None


def test_limits_the_wrong_way_round_are_refused(folder: Path) -> None:
    edit(folder, "clutch.toml", 'low = { value = "1.2 mm"', 'low = { value = "1.9 mm"')
    assert any("quantities.recess" in p and "lies above" in p for p in problems(folder))


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"format = 1\nname = ", "not valid TOML"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"format = 2\nname = 'x'\n", "newer pitwright"),
        (b'format = 1\nname = "a\\u001b[31m"\n', "control sign U+001B"),
        (b'format = 1\nname = "a\\u202eb"\n', "control sign U+202E"),
        (b"a = " + b"[" * 5000 + b"]" * 5000, ""),
        (b"a = " + b"{b=" * 40 + b"1" + b"}" * 40, "nested deeper"),
    ],
)
def test_bad_cards_are_a_problem_never_a_traceback(folder: Path, data: bytes, reason: str) -> None:
    (folder / "weekend.toml").write_bytes(data)
    found = problems(folder)
    assert any(p.startswith("weekend.toml") and reason in p for p in found), found


def test_a_huge_card_is_refused_before_it_is_read(folder: Path) -> None:
    with (folder / "stock.toml").open("wb") as file:
        file.truncate(MAX_CARD_BYTES + 1)
    assert any("stock.toml: is too large" in p for p in problems(folder))


@pytest.mark.parametrize("name", CARDS)
def test_a_missing_card_is_named(folder: Path, name: str) -> None:
    (folder / name).unlink()
    assert f"{name}: is not there" in problems(folder)


def test_a_record_that_cannot_be_read_is_left_out_and_named(folder: Path) -> None:
    with Session(folder) as session:
        session.append(NoteRecord(happened_at=NOW, text="kept"))
    (folder / "log" / "20260515T080000Z-note-a-zzzz.toml").write_text("kind = 'nothing'\n")
    (folder / "log" / "20260515T080001Z-note-a-zzzy.toml").write_text("kind = 'note'\ntext = ''\n")
    opened = read_folder(folder, "a")
    assert len(opened.records) == 1
    assert opened.weekend is not None
    files = {p.file for p in opened.problems}
    assert len(files) == 2


def test_a_link_out_of_the_folder_is_not_followed(folder: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.toml"
    (folder / "stock.toml").rename(outside)
    (folder / "stock.toml").symlink_to(outside)
    assert any(p.startswith("stock.toml: leads out of the folder") for p in problems(folder))


def test_a_pipe_in_place_of_a_card_does_not_hang(folder: Path) -> None:
    (folder / "stock.toml").unlink()
    os.mkfifo(folder / "stock.toml")
    assert any("stock.toml: is not a file" in p for p in problems(folder))


def test_bad_laps_are_named_with_their_line(folder: Path) -> None:
    (folder / "laps" / "Q1.csv").write_text("lap,seconds\n1,21.5\n2,quick\n")
    assert any("laps/Q1.csv" in p and "line 3" in p for p in problems(folder))


def test_a_problem_reads_as_one_line() -> None:
    problem = Problem("a.toml", "b.c", "is wrong", "mend it")
    assert str(problem) == "a.toml: b.c: is wrong (mend it)"


SPELLINGS = ["{:d}", "{:_d}", "0x{:x}", "0x{:_X}", "0o{:o}", "0b{:b}"]


@pytest.mark.parametrize(
    ("number", "written"),
    [
        *((n, w) for n in (2**63, 2**63 - 1, 10**19, 2**70, 12345) for w in SPELLINGS),
        *((-(2**63), w) for w in SPELLINGS[:2]),  # TOML has no sign before a base
    ],
)
def test_a_number_too_large_is_found_in_every_spelling(number: int, written: str) -> None:
    found = parse_toml(f"[a.b]\nc = [1, {written.format(number)}]\n", "x.toml")
    if abs(number) < 2**63:
        assert found == {"a": {"b": {"c": [1, number]}}}
    else:
        assert isinstance(found, Problem)
        assert (found.key, found.reason) == ("a.b.c[2]", "is a number with more than 18 digits")


@pytest.mark.parametrize(
    ("levels", "fits"), [(MAX_DEPTH - 1, True), (MAX_DEPTH, True), (MAX_DEPTH + 1, False)]
)
@pytest.mark.parametrize("filled", ["1", ""])
def test_tables_and_lists_nest_to_the_same_depth(levels: int, fits: bool, filled: str) -> None:
    """The innermost value stands ``levels`` deep; an empty list is a value too."""
    lists = levels - 1 if filled else levels
    in_lists = f"a = {'[' * lists}{filled}{']' * lists}\n"
    for text in (in_lists, f"{'.'.join('abcdefghijklmnopq'[:levels])} = 1\n"):
        assert isinstance(parse_toml(text, "x.toml"), dict) is fits
