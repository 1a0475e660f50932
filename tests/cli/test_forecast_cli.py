"""The forecast on the command line, through its real entry point."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from pitwright.cli import main

DEMO = Path(__file__).parents[2] / "demo_weekend"


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo")
    return tmp_path / "demo"


def until(folder, stamp):
    """Take away what was recorded after a stamp such as 20260517T111000Z."""
    for path in (folder / "log").glob("*.toml"):
        if path.name[:16] > stamp:
            path.unlink()


def test_a_spring_that_will_not_last_is_told_and_is_a_finding(folder, capsys):
    until(folder, "20260515T160000Z")
    status = main(["forecast", str(folder), "--now", "2026-05-15T18:30", "--part", "s1"])
    text = capsys.readouterr().out
    assert status == 1
    assert text.startswith("Spring 1, fitted: ")
    assert "Can be set for the main, M2: " in text
    assert "Change it before " in text
    assert "by its start it is under 9 in 10" in text
    assert "Heats to come" in text
    assert "Spring 2" not in text


def test_with_no_heat_to_come_there_is_no_finding(folder, capsys):
    assert main(["forecast", str(folder), "--now", "2026-05-17T17:00"]) == 0
    assert "No heat is left on the schedule" in capsys.readouterr().out


def test_json_has_figures_sentences_and_no_infinity(folder, capsys):
    until(folder, "20260517T111000Z")
    main(["forecast", str(folder), "--now", "2026-05-17T13:10", "--json"])

    def refuse(constant):
        raise AssertionError(constant)

    found = json.loads(capsys.readouterr().out, parse_constant=refuse)
    assert found["problems"] == []
    parts = found["forecasts"]
    spring = next(p for p in parts if p["part"] == "S3")
    assert spring["goal"] == "M2"
    assert 0 < spring["chance"] < 1
    assert spring["limit"]["name"] == "recess limit"
    assert spring["sentences"][0].startswith("Spring 3")
    assert spring["limit"]["bench"] is True
    assert spring["short"].startswith("can be set for M2: ")


def test_a_part_nobody_owns_is_refused(folder, capsys):
    assert main(["forecast", str(folder), "--part", "S99"]) == 2
    assert "no spring, shoe set or bearing set is called 'S99'" in capsys.readouterr().err
