"""A folder kept alike by a tool: each record counts once, and what lies beside is named.

The shapes of the names are common practice, no source.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from factory import WeekendMaker, local, scheduled

from pitwright.cli import main
from pitwright.paths import demo_folder
from pitwright.store.check import check_folder
from pitwright.store.copies import copy_of
from pitwright.store.merge import merge
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.open_work import OpenHeat
from pitwright.weekend.records import HeatRun

SHAPES = (
    "{} (conflicted copy)",
    "{} (Ana's conflicted copy 2026-05-16)",
    "{} 2",
    "{} - Copy",
    "{}.sync-conflict-20260516-101500-ABC2345",
    "{} (1)",
)
MORE = ("{} copy", "{} - Copy (2)", "Copy of {}", "{}_conflict-20260516-101500", "{}-VAN2")


def weekend(folder: Path, *, old_style: bool = False) -> Path:
    """Three heats on one spring with readings between; ``old_style`` files hold no id."""
    plan = [scheduled("Main", "main", 2, "14:00", 30)]
    maker = WeekendMaker(folder, schedule=plan).go(1, "8:00")
    maker.fit("spring", "S1")
    maker.fit("shoes", "H1")
    maker.set_recess(1.35)
    maker.check(free_length=10.2, shoe_thickness=5.0)
    for number, length in ((1, 10.15), (2, 10.11), (3, 10.08)):
        maker.heat(f"Q{number}", "qualifier", 8, [19.5, 19.4, 19.6])
        maker.later(5).check(free_length=length)
        maker.later(30)
    if old_style:
        for path in (folder / "log").iterdir():
            text, count = re.subn(r"(?m)^id = .*\n", "", path.read_text())
            assert count == 1
            path.write_text(text)
    return folder


def a_heat(folder: Path, name: str = "Q2") -> Path:
    return next(p for p in (folder / "log").glob("*-heat-*") if f'"{name}"' in p.read_text())


def answers(folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[Any, ...]:
    """State, forecast and minutes as the commands tell them."""
    found = []
    capsys.readouterr()
    for words in (["state"], ["forecast", "--now", "2026-05-17T13:10"], ["stock"]):
        main([words[0], str(folder), *words[1:], "--json"])
        found.append(json.loads(capsys.readouterr().out))
    opened = read_folder(folder, "a").weekend
    assert opened is not None
    spring = opened.state().spring
    assert spring is not None
    return (*found, spring.run_minutes, len(opened.heats), len(opened.log))


@pytest.fixture(params=[False, True], ids=["id inside", "id in the name"])
def folder(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    return weekend(tmp_path / "weekend", old_style=request.param)


@pytest.mark.parametrize("shape", [*SHAPES, *MORE])
def test_a_copy_of_a_record_counts_once_and_is_named(
    folder: Path, shape: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = answers(folder, capsys)
    assert before[3:5] == (24.0, 3)
    heat = a_heat(folder)
    beside = heat.with_name(shape.format(heat.stem) + ".toml")
    shutil.copy(heat, beside)
    assert answers(folder, capsys) == before
    assert main(["verify", str(folder)]) == 0
    said = capsys.readouterr().out
    assert f"log/{beside.name}" in said
    assert f"log/{heat.name}" in said
    assert "counts once" in said
    assert beside.exists()
    assert heat.exists()


@pytest.mark.parametrize("shape", SHAPES)
def test_another_version_of_a_record_is_a_conflict_that_names_both_files(
    folder: Path, shape: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = answers(folder, capsys)
    heat = a_heat(folder)
    beside = heat.with_name(shape.format(heat.stem) + ".toml")
    beside.write_text(heat.read_text().replace("run_minutes = 8", "run_minutes = 18"))
    assert beside.read_bytes() != heat.read_bytes()
    after = answers(folder, capsys)
    assert after[3:] == before[3:]
    (problem,) = check_folder(folder, "a").problems
    assert problem.weight == "error"
    assert problem.file == f"log/{beside.name}"
    assert f"log/{heat.name}" in problem.reason
    assert main(["verify", str(folder)]) == 1
    assert {beside, heat} <= set((folder / "log").iterdir())


@pytest.mark.parametrize(
    "name", ["the heat before lunch.toml", "20260101T000000Z-heat-x-aaaa.toml"]
)
def test_a_renamed_record_is_the_record_it_was(
    tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = weekend(tmp_path / "weekend")
    heat = a_heat(folder)
    with Session(folder, laptop="tent1") as session:
        from pitwright.weekend.records import Correction

        old = next(r for r in session.records if r.id == heat.stem)
        assert isinstance(old, HeatRun)
        right = old.model_copy(update={"run_minutes": 7.0})
        session.append(
            Correction(
                happened_at=local(1, "12:00"), replaces=old.id, reason="late", replacement=right
            )
        )
    before = answers(folder, capsys)
    assert before[3] == 23.0
    heat.rename(heat.with_name(name))
    assert answers(folder, capsys) == before
    assert main(["verify", str(folder)]) == 0
    assert f"log/{name}" in capsys.readouterr().out


def test_a_renamed_record_of_an_earlier_pitwright_is_known_by_who_wrote_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo's files hold no id: the corrected heat is found again by the correction."""
    folder = tmp_path / "demo"
    shutil.copytree(demo_folder(), folder)
    before = answers(folder, capsys)
    correction = next((folder / "log").glob("*-correction-*"))
    replaced = re.search(r'(?m)^replaces = "(.*)"', correction.read_text())
    assert replaced is not None
    path = folder / "log" / f"{replaced[1]}.toml"
    assert not re.search(r"(?m)^id = ", path.read_text())
    path.rename(path.with_name("moved.toml"))
    assert answers(folder, capsys) == before
    # And a copy of any other record under a name of no shape at all counts once.
    heat = next((folder / "log").glob("*-heat-*"))
    shutil.copy(heat, heat.with_name("before the main.toml"))
    assert answers(folder, capsys) == before
    assert [p.weight for p in check_folder(folder, "a").problems] == ["warning", "warning"]


@pytest.mark.parametrize("shape", SHAPES)
def test_a_merge_takes_no_record_twice(folder: Path, tmp_path: Path, shape: str) -> None:
    other = tmp_path / "other"
    shutil.copytree(folder, other)
    heat = a_heat(other)
    beside = heat.with_name(shape.format(heat.stem) + ".toml")
    heat.rename(beside)
    first = merge(folder, other, dry_run=True)
    done = merge(folder, other)
    assert first.copied == done.copied == ()
    assert done.left == {}
    assert not (folder / "log" / beside.name).exists()
    beside.write_text(beside.read_text().replace("run_minutes = 8", "run_minutes = 18"))
    done = merge(folder, other)
    assert list(done.left) == [f"log/{beside.name}"]
    assert f"log/{heat.name}" in done.left[f"log/{beside.name}"]
    # Into a folder that lacks the record, it comes whatever its file is called.
    a_heat(folder).unlink()
    assert merge(folder, other).copied == (f"log/{beside.name}",)
    merged = read_folder(folder, "a").weekend
    assert merged is not None
    assert len(merged.heats) == 3


@pytest.mark.parametrize("shape", SHAPES)
def test_copies_of_cards_laps_and_open_work_are_named_and_not_used(
    tmp_path: Path, shape: str
) -> None:
    folder = weekend(tmp_path / "weekend")
    more = (folder / "clutch.toml").read_text().replace('id = "A"', 'id = "B"', 1)
    (folder / "clutch-B.toml").write_text(more)
    with Session(folder, laptop="tent1") as session:
        run = HeatRun(happened_at=local(1, "15:00"), heat="Q4", heat_kind="qualifier")
        session.keep_heat(OpenHeat(heat=run))
        session.keep_draft("setting", {"recess": "1,4"})
    before = read_folder(folder, "tent1")
    assert before.problems == ()
    mine = [
        "clutch.toml", "clutch-B.toml", "stock.toml", "weekend.toml", "procedure.toml",
        "laps/Q1.csv", "open/tent1/heat.toml", "open/tent1/drafts/setting.toml",
    ]  # fmt: skip
    for name in mine:
        path = folder / name
        beside = path.with_name(shape.format(path.stem) + path.suffix)
        text = path.read_text().replace("19.4", "11.1").replace('"1,4"', '"9,9"')
        beside.write_text(text.replace("Generic four-shoe", "Somebody's"))
    after = read_folder(folder, "tent1")
    assert after.weekend == before.weekend
    assert len(after.problems) == len(mine)
    for name in mine:
        path = Path(name)
        file = path.with_name(shape.format(path.stem) + path.suffix).as_posix()
        (problem,) = [p for p in after.problems if p.file == file]
        assert name in problem.reason
        assert problem.weight == "warning"


def test_a_heat_whose_name_looks_like_a_copy_keeps_its_laps(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w", schedule=[scheduled("Heat 2", "qualifier", 1, "9:00", 6)])
    maker.heat("Heat", "qualifier", 8, [19.5])
    (maker.folder / "laps" / "Heat 2.csv").write_text("lap,seconds\n1,18.5\n")
    opened = read_folder(maker.folder, "a")
    assert opened.problems == ()
    assert opened.weekend is not None
    assert opened.weekend.laps == {"Heat": (19.5,), "Heat 2": (18.5,)}


def test_what_is_no_copy_is_not_taken_for_one() -> None:
    known = {"Q1", "clutch", "clutch-B"}
    for stem in ("Q11", "Q2", "Q2 (1)", "clutches", "clutch-C", "my notes", "Q1"):
        assert copy_of(stem, known) is None
