"""The commands about time, through the real entry point."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from pitwright.cli import main
from pitwright.store.reader import read_folder
from pitwright.store.session import Session

DEMO = Path(__file__).parents[1] / "demo_weekend"
BEFORE_M2 = "2026-05-17T14:20"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(DEMO, tmp_path / "demo")
    return tmp_path / "demo"


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = main([str(a) for a in arguments])
    out = capsys.readouterr()
    return status, out.out, out.err


def run_json(capsys: pytest.CaptureFixture[str], *arguments: object) -> Any:
    def refuse(constant: str) -> None:
        raise AssertionError(constant)

    _status, out, _err = run(capsys, *arguments, "--json")
    return json.loads(out, parse_constant=refuse)


class TestClock:
    def test_as_it_stood(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, out, _err = run(capsys, "clock", folder, "--at", BEFORE_M2)
        assert status == 0
        lines = out.splitlines()
        assert lines[0] == "M2, main, at 15:00, in 40 min"
        assert lines[1] == "Fits at most: spring change"
        assert any(line.startswith("What fits, by your own times") for line in lines)

    def test_json_says_the_same(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        found = run_json(capsys, "clock", folder, "--at", BEFORE_M2)
        assert found["heat"]["name"] == "M2"
        assert found["minutes_to_heat"] == 40
        assert [(j["route"], j["fits"]) for j in found["jobs"]] == [
            ("full rebuild", False),
            ("spring change", True),
            ("recess only", True),
        ]
        for job in found["jobs"]:
            assert job["spare"] == pytest.approx(40 - job["needed"])

    def test_the_laptops_zone_does_not_matter(self, folder: Path) -> None:
        def answer(zone: str) -> str:
            return subprocess.run(
                [sys.executable, "-c", "import sys; from pitwright.cli import main; "
                 "sys.exit(main())", "clock", str(folder), "--at", BEFORE_M2],
                env={**os.environ, "TZ": zone},
                capture_output=True,
                text=True,
                check=True,
            ).stdout  # fmt: skip

        assert answer("Pacific/Honolulu") == answer("Europe/Ljubljana")

    def test_after_the_last_heat(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        _status, out, _err = run(capsys, "clock", folder)
        assert out.startswith("No heat left on the schedule")

    def test_a_time_that_is_none(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, out, err = run(capsys, "clock", folder, "--at", "noon")
        assert (status, out) == (2, "")
        assert "'noon' is not a time" in err

    def test_a_clutch_that_is_none(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        status, _out, err = run(capsys, "clock", folder, "--clutch", "Z")
        assert status == 2
        assert "there is no clutch 'Z'" in err


class TestStints:
    def test_the_next_main(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        found = run_json(capsys, "stints", folder, "--at", BEFORE_M2)
        assert found["race_minutes"] == 30
        # 125 ml less 10 in reserve, at the most to reckon with
        assert found["longest"] == pytest.approx(115 / found["use"]["high"])
        stops = found["stops"]
        assert len(stops) == 2
        assert stops[0]["latest"] == pytest.approx(found["longest"])
        assert stops[0]["earliest"] == pytest.approx(30 - 2 * found["longest"])

    def test_a_named_heat_and_a_length(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run_json(capsys, "stints", folder, "--heat", "m1")["race_minutes"] == 15
        assert run_json(capsys, "stints", folder, "--minutes", "45")["race_minutes"] == 45
        status, out, _err = run(capsys, "stints", folder, "--minutes", "9")
        assert status == 0
        assert "9 min: no stop needed" in out

    @pytest.mark.parametrize(
        ("more", "said"),
        [
            (["--heat", "M9"], "no heat is called 'M9'"),
            ([], "no main is left on the schedule"),
            (["--minutes", "30", "--at", "2026-05-15T09:00"], "no heat has both its fuel"),
        ],
    )
    def test_what_cannot_be_planned(
        self, folder: Path, capsys: pytest.CaptureFixture[str], more: list[str], said: str
    ) -> None:
        status, out, err = run(capsys, "stints", folder, *more)
        assert (status, out) == (2, "")
        assert said in err

    @pytest.mark.parametrize("minutes", ["0", "-3", "nan", "inf", "soon"])
    def test_a_length_that_is_none(self, folder: Path, minutes: str) -> None:
        with pytest.raises(SystemExit) as caught:
            main(["stints", str(folder), "--minutes", minutes])
        assert caught.value.code == 2


class TestPremain:
    def test_what_is_not_good_is_a_finding(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        status, out, _err = run(capsys, "premain", folder, "--at", BEFORE_M2)
        assert status == 1
        assert out.startswith("Before M2 at 15:00: 1 of 8 not good")
        assert "Fit Spring 2, set the recess to 1.49 mm" in out
        assert "fresh" not in out

    def test_json_says_the_same(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        found = run_json(capsys, "premain", folder, "--at", BEFORE_M2)
        assert found["ready"] is False
        words = {p["key"]: p["word"] for p in found["points"]}
        assert words == {
            "free_length": "good",
            "recess": "good",
            "thread_lock": "good",
            "retaining_screw": "good",
            "end_play": "good",
            "shoe_thickness": "good",
            "race": "out",
            "bearings_last": "good",
        }
        records = {r.name.removesuffix(".toml") for r in (folder / "log").iterdir()}
        assert all(p["record"] in records for p in found["points"] if p["key"] != "bearings_last")

    def test_after_the_first_main_the_old_readings_are_stale(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = run_json(capsys, "premain", folder, "--at", "2026-05-17T12:10")
        words = {p["key"]: p["word"] for p in found["points"]}
        assert words["retaining_screw"] == "too close to call"
        assert words["recess"] == "too close to call"


def not_run_yet(folder: Path, *heats: str) -> None:
    """Take the records of heats out, as if they were still to come."""
    for path in (folder / "log").iterdir():
        text = path.read_text()
        if 'kind = "heat"' in text and any(f'heat = "{name}"' in text for name in heats):
            path.unlink()


class TestDelay:
    def test_it_shifts_what_follows_that_day(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        not_run_yet(folder, "Q3", "Q4")
        status, out, _err = run(capsys, "delay", folder, "q3", "25", "--note", "rain")
        assert status == 0
        assert out.splitlines() == ["Q3: Sat 14:15 → Sat 14:40", "Q4: Sat 16:25 → Sat 16:50"]
        weekend = read_folder(folder, "x").weekend
        assert weekend is not None
        starts = {h.name: f"{h.starts_at.astimezone(weekend.event.zone):%a %H:%M}"
                  for h in weekend.schedule}  # fmt: skip
        assert (starts["Q2"], starts["Q3"], starts["M1"]) == ("Sat 11:55", "Sat 14:40", "Sun 11:30")

    def test_earlier(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        not_run_yet(folder, "M2")
        _status, out, _err = run(capsys, "delay", folder, "M2", "-5")
        assert out.splitlines() == ["M2: Sun 15:00 → Sun 14:55"]

    @pytest.mark.parametrize(
        ("heat", "minutes", "said"),
        [
            ("M9", "5", "From heat"),
            ("M2", "soon", "Later by"),
            ("M2", "", "how many minutes"),
            ("M2", "10", "From heat: M2 was run already, Sun 15:00; none is to come"),
        ],
    )
    def test_refused_and_nothing_is_written(
        self,
        folder: Path,
        capsys: pytest.CaptureFixture[str],
        heat: str,
        minutes: str,
        said: str,
    ) -> None:
        before = sorted((folder / "log").iterdir())
        status, out, err = run(capsys, "delay", folder, heat, minutes)
        assert (status, out) == (2, "")
        assert said in err
        assert sorted((folder / "log").iterdir()) == before

    def test_not_while_the_app_has_it_open(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        with Session(folder):
            status, _out, err = run(capsys, "delay", folder, "M2", "5")
            assert status == 2
            assert "has it open" in err
            # what only reads still answers
            assert run(capsys, "clock", folder)[0] == 0
