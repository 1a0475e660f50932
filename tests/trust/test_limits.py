"""Sizes, depths and numbers that no weekend has: refused with a reason, and at once."""

from __future__ import annotations

import time
import tomllib
from contextlib import suppress
from zoneinfo import ZoneInfo

import pytest
from factory import ZONE, blank_weekend, local

from pitwright.app.themes import load_themes
from pitwright.desk.form_text import FieldError, read_moment
from pitwright.store.reader import read_folder
from pitwright.store.toml_reader import parse_toml
from pitwright.timing.laps import parse_typed_laps, read_laps
from pitwright.timing.text import LapFileError
from pitwright.units import QuantityError, convert, read_quantity
from pitwright.weekend.problems import Problem


def quickly(started: float) -> None:
    assert time.process_time() - started < 20, "a refusal takes no time"


def sparse(path, size):
    with path.open("wb") as file:
        file.truncate(size)


@pytest.mark.parametrize("name", ["laps/Q1.csv", "log/x.toml", "clutch.toml", "stock.toml"])
def test_two_gigabytes_are_refused_by_name(tmp_path, name):
    folder = blank_weekend(tmp_path / "w")
    sparse(folder / name, 2 * 1024**3)
    started = time.process_time()
    found = read_folder(folder, "tent1")
    quickly(started)
    told = [p for p in found.problems if p.file == name]
    assert "is too large (2,147,483,648 bytes" in told[0].reason


def test_ten_million_lines_are_refused():
    started = time.process_time()
    with pytest.raises(LapFileError, match="this is more than a file of laps can be"):
        read_laps(b"1\n" * 10_000_000)
    with pytest.raises(LapFileError, match="lines are more than a file of laps can have"):
        read_laps(b"1\n" * 2_000_000)
    quickly(started)


def test_ten_million_lines_in_the_folder_are_refused(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    (folder / "laps" / "Q1.csv").write_bytes(b"lap,seconds\n" + b"1,18.1\n" * 10_000_000)
    started = time.process_time()
    (problem,) = read_folder(folder, "tent1").problems
    quickly(started)
    assert problem.file == "laps/Q1.csv"
    assert "too large" in problem.reason


@pytest.mark.parametrize(
    "text",
    [
        "1" * 4_000_000,
        "1," * 2_000_000,
        "18.1 " * 900_000,
        '"' * 1_000_000,
        '"18.1\n' * 99_000,
        "1:" * 1_000_000,
        " " * 4_900_000 + "1",
        ("a" * 40 + ",18.1\n") * 90_000,
    ],
    ids=lambda text: f"{text[:12]!r} and so on",
)
def test_long_lines_end_in_an_answer(text):
    started = time.process_time()
    with suppress(LapFileError):
        found = read_laps(text.encode())
        assert all(len(line.text) <= 60 for line in found.rejected)
    quickly(started)


def test_a_long_paste_of_laps_ends_in_an_answer():
    started = time.process_time()
    found = parse_typed_laps("18.1 " * 100_000)
    quickly(started)
    assert len(found.laps) == 20_000
    assert "more than 20000 laps" in found.rejected[0].reason


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a = " + "{a=" * 50_000,
        "a." * 500_000 + "a = 1",
        "[" + "a." * 100_000 + "a]",
        "a = " + "[" * 13 + "]" * 13,
        "a = '" + "x" * 1_900_000,
        "a = " + "9" * 100_000,
        "\n".join(f"[a.b{i}.c]" for i in range(60_000)),
        "\n".join("[[a.b]]" for _ in range(100_000)),
    ],
    ids=lambda text: f"{text[:12]!r} and so on",
)
def test_deep_and_long_toml_ends_in_an_answer(text):
    started = time.process_time()
    found = parse_toml(text, "x.toml")
    quickly(started)
    assert isinstance(found, dict | Problem)
    if isinstance(found, Problem):
        assert found.file == "x.toml"
        assert found.reason


def test_a_number_too_long_to_be_written_out_is_refused(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    stock = folder / "stock.toml"
    huge = "0x" + "f" * 5_000
    assert tomllib.loads(f"a = {huge}")  # the library takes it, and then cannot write it out
    stock.write_text(stock.read_text().replace("count = ", f"count = {huge} # ", 1))
    (folder / "log" / "x.toml").write_text(f"kind = {huge}")
    problems = read_folder(folder, "tent1").problems
    assert [(p.file, p.key) for p in problems] == [
        ("stock.toml", "shim[1].count"),
        ("log/x.toml", "kind"),
    ]


def test_a_hundred_problems_in_one_file_stay_readable(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    stock = folder / "stock.toml"
    stock.write_text("format = 1\n" + "".join(f"k{i} = {i}\n" for i in range(20_000)))
    started = time.process_time()
    found = read_folder(folder, "tent1")
    quickly(started)
    assert found.weekend is None
    assert len(found.problems) == 51
    assert found.problems[-1].reason == "19950 more keys or values do not fit"


@pytest.mark.parametrize(
    "unit",
    ["m^9^9^9^9", "m**9**9**9", "(m^9)^9^9", "m^99999999", "9^9^9^9 m", "m.__class__", "m*9**9**9"],
)
def test_a_unit_that_would_never_be_reckoned_out_is_refused(unit):
    started = time.process_time()
    with pytest.raises(QuantityError, match="is no unit of length"):
        read_quantity(f"1 {unit}", "mm")
    quickly(started)


def test_units_that_people_write_still_go_through_the_library():
    assert convert(1, "kgf cm", "N m") == pytest.approx(0.0980665)
    assert convert(1, "lbf*in", "N m") == pytest.approx(0.112984829)
    assert convert(2, "kg m^2", "g cm^2") == pytest.approx(2e7)
    assert convert(1, "kg*m**2", "g cm^2") == pytest.approx(1e7)
    assert convert(1, "J/(g K)", "J/(kg K)") == pytest.approx(1000)
    assert convert(1, "1/mK", "1/K") == pytest.approx(1000)
    assert convert(1, "inch", "mm") == pytest.approx(25.4)


def test_the_ends_of_the_calendar_are_no_time_in_a_form():
    for text in ("0001-01-01 0:00", "9999-12-31 23:59"):
        for zone in (ZONE, ZoneInfo("Pacific/Kiritimati"), ZoneInfo("Pacific/Pago_Pago")):
            with suppress(FieldError):
                assert read_moment(text, zone, local(0, "8:00")) is not None


def test_a_theme_that_cannot_be_read_is_named(tmp_path):
    (tmp_path / "deep.toml").write_text("a = " + "[" * 50_000)
    (tmp_path / "text.toml").write_bytes(b"\xff\xff")
    (tmp_path / "n\x1b[31m.toml").write_text("name = 'x'")
    (tmp_path / "folder.toml").mkdir()
    sparse(tmp_path / "large.toml", 2 * 1024**3)
    good, bad = load_themes([tmp_path])
    assert not good
    assert len(bad) == 5
    assert any("large.toml: is too large" in line for line in bad)
    assert any(line.startswith("n[31m.toml: colors.primary") for line in bad)
