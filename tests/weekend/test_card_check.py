"""Impossible cards are refused with both keys, odd ones asked about, real ones let through."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from factory import WeekendMaker

from pitwright.cli import main
from pitwright.store.reader import read_folder
from pitwright.weekend.plausible import PLAUSIBLE

IMPOSSIBLE = [
    ("wedge.angle", {"angle": "0 deg"}, ["wedge.friction", "shoes.face_friction", "self-locking"]),
    ("wedge.angle", {"angle": "85 deg"}, ["wedge.friction", "reach 90 degrees"]),
    ("wedge.angle", {"angle": "90 deg"}, ["wedge.friction", "reach 90 degrees"]),
    ("wedge.angle", {"friction": 1.2}, ["wedge.friction 1.2", "shoes.face_friction"]),
    ("wedge.angle", {"face_friction": 1.2}, ["shoes.face_friction 1.2", "self-locking"]),
    ("shoes.bell_friction", {"bell_friction": 0}, ["above zero"]),
    ("shoes.clearance", {"clearance": "-0.25 mm"}, ["above zero"]),
    ("spring.wire_diameter", {"wire_diameter": "9.5 mm"}, ["spring.mean_diameter", "close"]),
    ("shoes.mass_radius", {"mass_radius": "16 mm"}, ["bell.bore_radius", "outside the bell"]),
    ("nut.recess_max", {"recess_max": "2.2 mm"}, ["nut.recess_bottomed", "solid"]),
    ("spring.solid_length", {"solid_length": "10.3 mm"}, ["spring.free_length_new"]),
    ("spring.active_coils", {"active_coils": 6}, ["spring.total_coils"]),
    ("spring.shear_modulus", {"shear_modulus": "0 GPa"}, ["above zero"]),
]

ODD = [
    ("wedge.friction", {"friction": 0}, "0: a friction number"),
    ("shoes.face_friction", {"face_friction": 0}, "0: a friction number"),
    ("shoes.bell_friction", {"bell_friction": 1.2}, "1.2: a friction number"),
    ("shoes.mass", {"mass": "0.9 kg"}, "900 g: the mass of one shoe in grams meant?"),
    ("spring.shear_modulus", {"shear_modulus": "81.7 MPa"}, "81.7 MPa: GPa meant?"),
    ("engine.torque", {"torque": "40 N m"}, "40 N m: N m, such as 0.40, meant?"),
    ("nut.pitch", {"pitch": "7.5 mm"}, "7.5 mm: has a decimal point moved?"),
    (
        "instruments.driver.permissible_error_ratio",
        {"permissible_error_ratio": 6},
        "6: a share such as 0.06 meant?",
    ),
]

REAL = [
    {"angle": "30 deg"},
    {"angle": "60 deg"},
    {"angle": "20 deg", "face_friction": 0.05},
    {"wire_diameter": "1.4 mm", "mean_diameter": "8.0 mm", "solid_length": "7.0 mm"},
    {"wire_diameter": "2.0 mm", "free_length_new": "14 mm", "solid_length": "10 mm"},
    {"shear_modulus": "42 GPa"},
    {"shear_modulus": "69 GPa"},
    {"mass": "0.45 g", "mass_radius": "8 mm", "bore_radius": "10.5 mm"},
    {"mass": "3 g", "bell_friction": 0.5},
    {"torque": "0.15 N m", "idle": "9000 rpm"},
    {"pitch": "0.5 mm"},
    {"pitch": "1 mm"},
    {"recess_max": "2.125 mm"},
    {"permissible_error_ratio": 0.2},
]


def changed(folder: Path, **values: object) -> Path:
    """Write other figures on the card; each key is the first of its name, so of its own table."""
    card = folder / "clutch.toml"
    text = card.read_text(encoding="utf-8")
    for key, value in values.items():
        table = "wedge" if key in ("angle", "friction") else "shoes" if key == "mass" else ""
        head, mark, tail = text.partition(f"[{table}]\n") if table else ("", "", text)
        given = f'"{value}"' if isinstance(value, str) else value
        tail, count = re.subn(
            rf'(?m)^({key} = {{ value = )(?:"[^"]*"|[^,]*)', rf"\g<1>{given}", tail, count=1
        )
        assert count == 1, key
        text = head + mark + tail
    card.write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    maker = WeekendMaker(tmp_path / "w").go(1, "9:00")
    maker.fit("spring", "S1")
    maker.set_recess(1.35)
    maker.heat("Q1", "qualifier", 8)
    return maker.folder


@pytest.mark.parametrize(("key", "values", "words"), IMPOSSIBLE)
def test_what_no_clutch_can_be_is_refused_with_both_keys(
    folder: Path,
    key: str,
    values: dict[str, object],
    words: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    changed(folder, **values)
    opened = read_folder(folder, "a")
    assert opened.weekend is None
    told = [p for p in opened.problems if p.key == key]
    assert told
    assert all(any(word in p.reason for p in told) for word in words)
    assert main(["verify", str(folder)]) == 1
    assert f"clutch.toml: {key}: " in capsys.readouterr().out
    assert main(["bite", str(folder)]) == 2
    said = capsys.readouterr()
    assert f"clutch.toml: {key}: " in said.err
    assert not said.out


@pytest.mark.parametrize(("key", "values", "asked"), ODD)
def test_what_none_in_the_trade_is_is_asked_about_before_any_answer(
    folder: Path,
    key: str,
    values: dict[str, object],
    asked: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    changed(folder, **values)
    (problem,) = read_folder(folder, "a").problems
    assert (problem.file, problem.key, problem.weight) == ("clutch.toml", key, "question")
    assert problem.reason.startswith(asked)
    assert main(["verify", str(folder)]) == 1
    said = capsys.readouterr().out
    assert f"asked: clutch.toml: {key}: {asked}" in said
    assert "All in order" not in said
    assert main(["bite", str(folder), "--json"]) in (0, 1)
    said = capsys.readouterr()
    assert f"clutch.toml: {key}: {asked}" in said.err
    assert [p["key"] for p in json.loads(said.out)["problems"]] == [key]


def test_all_faults_of_a_card_are_told_at_once(folder: Path) -> None:
    changed(folder, angle="0 deg", clearance="-1 mm", recess_max="3 mm")
    keys = {p.key for p in read_folder(folder, "a").problems}
    assert keys == {"wedge.angle", "shoes.clearance", "nut.recess_max"}


@pytest.mark.parametrize("values", REAL)
def test_a_clutch_that_can_be_built_is_in_order(folder: Path, values: dict[str, object]) -> None:
    opened = read_folder(changed(folder, **values), "a")
    assert opened.problems == ()
    assert opened.weekend is not None


def squeezed(folder: Path, table: str, points: list[tuple[float, float]]) -> Path:
    """Write squeezes [mm, N] under ``[spring]`` or another table of the card."""
    card = folder / "clutch.toml"
    text = card.read_text(encoding="utf-8")
    rows = ",\n".join(
        f'  {{ length = {{ value = "{length} mm", from = "measured", u = "0.02 mm" }}, '
        f'force = {{ value = "{force} N", from = "measured", u = "0.5 N" }} }}'
        for length, force in points
    )
    curve = f"[{table}]\ncurve = [\n{rows}\n]\n"
    if table == "spring":
        text = text.replace("[spring]\n", curve, 1)
    else:
        text = text.replace("[wedge]\n", f"{curve}\n[wedge]\n", 1)
    card.write_text(text, encoding="utf-8")
    return folder


CURVES = [
    ([(9.1, 33.0), (7.9, 80.0)], "7.9 mm, which is not between solid"),
    ([(9.1, 33.0), (10.3, 1.0)], "10.3 mm, which is not between solid"),
    ([(9.1, 33.0)], "at least two squeezes"),
    ([(9.2, 33.0), (8.7, 25.0)], "falls from 33 N to 25 N"),
    ([(8.3, 58.0), (8.2, 66.0)], "between 9.54 and 8.66 mm"),
]


@pytest.mark.parametrize("table", ["spring", 'spring_kind."1.6 hard"'])
@pytest.mark.parametrize(("points", "why"), CURVES)
def test_a_curve_no_spring_has_is_refused_whosever_it_is(
    folder: Path, table: str, points: list[tuple[float, float]], why: str
) -> None:
    (problem,) = read_folder(squeezed(folder, table, points), "a").problems
    assert (problem.key, problem.weight) == (f"{table}.curve", "error")
    assert why in problem.reason


@pytest.mark.parametrize("table", ["spring", 'spring_kind."1.6 hard"'])
def test_a_curve_of_another_spring_is_asked_about(folder: Path, table: str) -> None:
    """By wire and coils 30.6 N/mm; on a scale 20, and a curve that fits is in order."""
    fits = [(9.1, 33.7), (8.6, 49.0), (8.3, 60.0)]
    assert read_folder(squeezed(folder, table, fits), "a").problems == ()
    text = (folder / "clutch.toml").read_text(encoding="utf-8")
    for length, force in fits:
        text = text.replace(f'"{force} N"', f'"{20 * (10.2 - length):.1f} N"')
    (folder / "clutch.toml").write_text(text, encoding="utf-8")
    (problem,) = read_folder(folder, "a").problems
    assert (problem.key, problem.weight) == (f"{table}.curve", "question")
    assert problem.reason.startswith("20.0 N/mm by these squeezes, 30.6 by wire and coils")


KINDS = [
    ('spring_kind."1.7 x 9.0"', 'wire_diameter = { value = "9.5 mm", from = "measured" }',
     "wire_diameter", "spring.mean_diameter 9 mm", "error"),
    ("spring_kind.hard", 'solid_length = { value = "10.4 mm", from = "measured" }',
     "solid_length", "spring.free_length_new 10.2 mm", "error"),
    ("shoes_kind.soft", 'clearance = { value = "0 mm", from = "measured" }',
     "clearance", "above zero", "error"),
    ("shoes_kind.soft", 'bell_friction = { value = 3.6, from = "invented" }',
     "bell_friction", "a friction number such as 0.3 meant?", "question"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "line", "key", "said", "weight"), KINDS)
def test_a_kind_is_held_against_physics_and_trade_as_the_card_is(
    folder: Path, table: str, line: str, key: str, said: str, weight: str
) -> None:
    card = folder / "clutch.toml"
    text = card.read_text(encoding="utf-8")
    card.write_text(f"{text}\n[{table}]\n{line}\n", encoding="utf-8")
    (problem,) = read_folder(folder, "a").problems
    assert (problem.key, problem.weight) == (f"{table}.{key}", weight)
    assert said in problem.reason


def test_a_wedge_that_only_one_kind_of_shoes_locks_names_the_kind(folder: Path) -> None:
    card = folder / "clutch.toml"
    text = card.read_text(encoding="utf-8")
    own = 'face_friction = { value = 0.95, from = "invented" }'
    card.write_text(f"{text}\n[shoes_kind.soft]\n{own}\n", encoding="utf-8")
    refused = [p for p in read_folder(folder, "a").problems if p.weight == "error"]
    assert [p.key for p in refused] == ["wedge.angle"]
    assert "shoes_kind.soft.face_friction 0.95" in refused[0].reason


def test_every_bound_has_room_and_says_what_is_asked_and_from_where() -> None:
    assert len({row.key for row in PLAUSIBLE}) == len(PLAUSIBLE)
    for row in PLAUSIBLE:
        assert row.low < row.high
        assert row.asked.endswith("?")
        assert row.source
