"""Heats, timeline and notes from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from factory import WeekendMaker, race_weekend, scheduled

from pitwright.cli import main
from pitwright.store.session import Session


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w", schedule=[scheduled("P1", "practice", 0, "9:00", 8, 1)])
    made.fit("spring", "S1")
    made.set_recess(1.35)
    return made


def test_a_planned_heat_needs_only_its_name(
    maker: WeekendMaker, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["heat", str(maker.folder), "p1", "--minutes", "7:30", "--air", "75.2 F"]) == 0
    assert capsys.readouterr().out == "Noted P1, practice, Fri 09:00, 7.5 min\n"
    with Session(maker.folder) as session:
        (heat,) = session.weekend.heats
        assert (heat.run.round, heat.run.run_minutes) == (1, 7.5)
        assert heat.run.conditions.air_c == pytest.approx(24)
        assert heat.state.recess is not None


def test_a_heat_off_the_schedule_says_its_kind_and_start(
    maker: WeekendMaker, capsys: pytest.CaptureFixture[str]
) -> None:
    call = ["heat", str(maker.folder), "Test"]
    assert main(call) == 2
    assert "--kind" in capsys.readouterr().err
    assert main([*call, "--kind", "run-in"]) == 2
    assert "--start" in capsys.readouterr().err
    assert main([*call, "--kind", "run-in", "--start", "2026-05-15 08:30", "--json"]) == 0
    landed = json.loads(capsys.readouterr().out)
    assert (landed["heat_kind"], landed["happened_at"]) == ("run-in", "2026-05-15T07:30:00Z")
    assert "run_minutes" not in landed


def test_every_wrong_option_is_named_and_nothing_is_written(
    maker: WeekendMaker, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted((maker.folder / "log").iterdir())
    assert main(["heat", str(maker.folder), "P1", "--minutes", "x", "--bite", "9"]) == 2
    error = capsys.readouterr().err
    assert "Run minutes" in error
    assert "Bite" in error
    assert sorted((maker.folder / "log").iterdir()) == before


def test_the_timeline_is_listed_and_filtered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    maker = race_weekend(tmp_path / "w", 12)
    assert main(["timeline", str(maker.folder)]) == 0
    text = capsys.readouterr().out
    assert "Friday 15 May" in text
    assert "09:00 P1 practice, 8 min, Spring 1 10.20 mm, recess 1.35 mm" in text
    assert "corrected: the clock was read late" in text
    assert main(["timeline", str(maker.folder), "--kind", "main", "--json"]) == 0
    (heat,) = json.loads(capsys.readouterr().out)["heats"]
    assert (heat["heat"], heat["start"]["spring"]) == ("Main", "S1")
    assert main(["timeline", str(maker.folder), "--find", "no such"]) == 0
    assert capsys.readouterr().out == "Nothing fits.\n"
    assert main(["timeline", str(maker.folder), "--day", "soon"]) == 2


def test_a_note_is_written(maker: WeekendMaker, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["note", str(maker.folder), "Buy shims", "--open", "--about", "P1"]) == 0
    assert main(["note", str(maker.folder), "  "]) == 2
    assert "nothing is written" in capsys.readouterr().err
    with Session(maker.folder) as session:
        note = session.weekend.log.records[-1]
        assert note.kind == "note"
        assert (note.text, note.about, note.open_point) == ("Buy shims", "P1", True)
