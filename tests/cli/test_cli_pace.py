"""The commands laps, pace and compare, through the entry point."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from types import SimpleNamespace

import pytest
from factory import WeekendMaker

from pitwright.cli import main

CALL = "import sys; from pitwright.cli import main; sys.exit(main())"
TWO_DRIVERS = "driver;lap;time\nAnn;1;21,9\nBen;1;22,4\nAnn;2;20,8\nBen;2;21,3\nAnn;3;oops\n"


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.set_recess(1.35)
    for n in range(4):
        made.later(20).set_recess((1.35, 1.45)[n % 2])
        pace = 20.0 - 0.1 * (n % 2)
        made.heat(f"P{n + 1}", "practice", 2, [pace + 1, *[pace + 0.01 * k for k in range(6)]])
    made.later(20).heat("W1", "warm-up", 2, [21.0, 20.1, 20.2, 20.3])
    made.later(20).heat("Q1", "qualifier", 1)
    return made


def run(maker, command, *arguments):
    return main([command, str(maker.folder), *arguments])


@pytest.fixture
def lap_file(tmp_path):
    path = tmp_path / "q1.csv"
    path.write_text(TWO_DRIVERS)
    return path


def test_laps_are_brought_in_and_the_file_is_kept_as_it_came(maker, lap_file, capsys):
    assert run(maker, "laps", "q1", str(lap_file), "--driver", "ann") == 0
    said = capsys.readouterr().out
    assert "decimal comma" in said
    assert "2 laps of Ann" in said
    assert "line 6: not a time: Ann;3;oops" in said
    assert "Kept for Q1." in said
    assert (maker.folder / "laps" / "Q1.csv").read_text() == "lap,seconds\n1,21.9\n2,20.8\n"
    assert (maker.folder / "laps" / "as-it-came" / "Q1.txt").read_text() == TWO_DRIVERS


def test_several_drivers_have_to_be_told_apart(maker, lap_file, capsys):
    assert run(maker, "laps", "Q1", str(lap_file)) == 2
    assert "Whose laps? Say --which with one of: Ann; Ben" in capsys.readouterr().err
    assert not (maker.folder / "laps" / "Q1.csv").exists()


def test_a_dry_run_keeps_nothing(maker, lap_file, capsys):
    assert run(maker, "laps", "Q1", str(lap_file), "--driver", "Ben", "--dry-run", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["laps"] == [22.4, 21.3]
    assert said["kept"] is False
    assert not (maker.folder / "laps" / "Q1.csv").exists()


def test_laps_kept_before_are_replaced_only_when_told_and_put_aside(maker, lap_file, capsys):
    before = (maker.folder / "laps" / "P1.csv").read_text()
    assert run(maker, "laps", "P1", str(lap_file), "--driver", "Ann") == 2
    assert "say --replace" in capsys.readouterr().err
    assert (maker.folder / "laps" / "P1.csv").read_text() == before
    assert run(maker, "laps", "P1", str(lap_file), "--driver", "Ann", "--replace") == 0
    assert (maker.folder / "laps" / "as-it-came" / "P1 replaced.txt").read_text() == before
    assert "20.8" in (maker.folder / "laps" / "P1.csv").read_text()


def test_passing_times_from_standard_input(maker, capsys, monkeypatch):
    monkeypatch.setattr(
        sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"10:00:10\n10:00:31.5\n10:00:52\n"))
    )
    assert run(maker, "laps", "Q1", "-", "--kind", "passing", "--json") == 0
    assert json.loads(capsys.readouterr().out)["laps"] == [21.5, 20.5]


@pytest.mark.parametrize(
    ("heat", "file", "words"),
    [
        ("Q9", "q1.csv", "no heat 'Q9' was run; noted are P1"),
        ("Q1", "nowhere.csv", "there is no file"),
        ("Q1", ".", "is a folder"),
    ],
)
def test_what_cannot_be_read_is_said(maker, lap_file, capsys, monkeypatch, heat, file, words):
    monkeypatch.chdir(lap_file.parent)
    assert run(maker, "laps", heat, file) == 2
    assert words in capsys.readouterr().err


def test_a_file_without_laps_keeps_nothing(maker, tmp_path, capsys):
    path = tmp_path / "empty.csv"
    path.write_text("driver;lap;time\nwords only;;\n")
    assert run(maker, "laps", "Q1", str(path)) == 1
    assert "Nothing to keep" in capsys.readouterr().out
    assert not (maker.folder / "laps" / "Q1.csv").exists()


def test_pace_leaves_warm_ups_out_until_they_are_named(maker, capsys):
    assert run(maker, "pace") == 0
    said = capsys.readouterr().out
    assert "4 of 6 heats chosen; not unless you choose: W1 warm-up" in said
    assert "-- recess 1.45 mm (+0.10)" in said
    assert "Set aside: laps over 1.5 times" in said
    assert run(maker, "pace", "w1") == 0
    said = capsys.readouterr().out
    assert "W1" in said
    assert "P1" not in said


def test_pace_as_json_has_every_figure_and_takes_the_rule(maker, capsys):
    assert run(maker, "pace", "P1", "--json", "--best", "2", "--in-a-row", "2") == 0
    (said,) = json.loads(capsys.readouterr().out)["heats"]
    assert said["pace"]["best"] == 20.0
    assert said["pace"]["best_mean"] == pytest.approx(20.005)
    assert said["pace"]["run_mean"] == pytest.approx(20.005)
    assert said["spread"]["laps"] == 7
    assert run(maker, "pace", "P1", "--json", "--stop", "1.03", "--mistake-percent", "2") == 0
    (said,) = json.loads(capsys.readouterr().out)["heats"]
    assert said["pace"]["set_aside"] == [{"lap": 1, "seconds": 21.0, "reason": "stop"}]
    assert run(maker, "pace", "--stop", "0.5") == 2


def test_compare_finds_what_a_and_b_are(maker, capsys):
    assert run(maker, "compare", "1.35", "1.45") == 0
    said = capsys.readouterr().out
    assert "recess 1.45 mm against recess 1.35 mm" in said
    assert "even a clean sweep happens by luck two times in six" in said
    assert run(maker, "compare", "P1,P3", "P2,P4", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["by"] == "heats"
    assert said["comparisons"][0]["shift"] == pytest.approx(-0.1)
    assert said["comparisons"][0]["verdict"] == "cannot tell yet"
    assert said["also_differs"] == ["Every heat of one also had another recess: "
                                    "it may be that instead."]  # fmt: skip


def test_compare_every_pair_by_a_grouping(maker, capsys):
    assert run(maker, "compare", "--by", "recess", "--also", "W1", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert [s["heats"] for s in said["states"]] == [["P1", "P3"], ["P2", "P4", "W1"]]
    assert run(maker, "compare") == 0
    assert "nothing to compare by spring" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["1.35"], "name both states"),
        (["1.35", "1.99"], "by nut recess there is no '1.99': recess 1.35 mm, recess 1.45 mm"),
        (["P1,P2", "P2"], "P2 stands on both sides"),
        (["1.35", "1.35"], "one and the same"),
        (["--by", "heats"], "two lists of heats"),
        (["P1", "P7", "--by", "heats"], "no heat 'P7'"),
    ],
)
def test_compare_says_what_it_cannot_find(maker, capsys, arguments, words):
    assert run(maker, "compare", *arguments) == 2
    assert words in capsys.readouterr().err


def test_the_real_entry_point_answers(maker):
    done = subprocess.run(
        [sys.executable, "-c", CALL, "pace", str(maker.folder), "P1"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert "7 laps, best 20.00 s" in done.stdout


def test_a_change_before_a_heat_that_is_left_out_is_told_all_the_same(maker, capsys):
    """The spring changed before a heat stopped early, and the next heat looked like the last."""
    maker.later(20).fit("spring", "S2", removed="S1")
    maker.heat("Q2", "qualifier", 2, [20.0, 20.1, 20.2], status="stopped early")
    maker.later(20).set_recess(1.50)
    maker.heat("Q3", "qualifier", 2, [20.0, 20.1, 20.2, 20.1])
    assert run(maker, "pace") == 0
    lines = capsys.readouterr().out.splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("Q3"))
    assert not any(line.startswith("Q2") for line in lines)
    assert lines[at - 1].startswith("  -- recess 1.50 mm")
    assert lines[at - 2].startswith("  -- Spring 2")
    assert run(maker, "pace", "Q3") == 0
    assert "Spring 2" not in capsys.readouterr().out.split("Q3")[0]


def test_one_lap_is_not_called_one_laps(maker, tmp_path, capsys):
    one, two = tmp_path / "one.txt", tmp_path / "two.txt"
    one.write_text("21.5\n")
    two.write_text("21.5\n21.6\n")
    assert run(maker, "laps", "Q1", str(one)) == 0
    assert "1 lap, total 21.50" in capsys.readouterr().out
    assert run(maker, "laps", "Q1", str(two)) == 2
    assert "Q1 has 1 lap already" in capsys.readouterr().err
    assert run(maker, "timeline") == 0
    assert ", 1 lap, best 21.50, median 21.50" in capsys.readouterr().out


def test_a_step_of_the_track_is_said(maker, capsys):
    for n in range(10):
        maker.later(20).fit("spring", ("S1", "S2")[n % 2])
        pace = 20.0 + 0.01 * ((n * 7) % 5) + (0.9 if n >= 6 else 0.0)
        maker.heat(f"R{n + 1}", "practice", 2, [pace + 1, *[pace + 0.01 * k for k in range(6)]])
    capsys.readouterr()
    assert run(maker, "compare", "--by", "spring") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "the track changed in one step between R6 and R7" in said


def test_marks_beside_laps_are_told_kept_and_exported(maker, tmp_path, capsys):
    file = tmp_path / "q1.txt"
    file.write_text("21.455\n21.302*\n38.712 P\n")
    assert run(maker, "laps", "Q1", str(file)) == 0
    assert "Marks kept: lap 2 *, lap 3 P." in capsys.readouterr().out
    kept = (maker.folder / "laps" / "Q1.csv").read_text()
    assert kept == "lap,seconds,mark\n1,21.455\n2,21.302,*\n3,38.712,P\n"
    assert run(maker, "export", "--to", str(tmp_path / "out")) == 0
    rows = (tmp_path / "out" / "laps.csv").read_text().splitlines()
    at = rows[0].split(",").index("mark")
    assert [row.split(",")[at] for row in rows[-3:]] == ["", "*", "P"]


def test_a_file_of_several_heats_asks_which(maker, tmp_path, capsys):
    file = tmp_path / "day.csv"
    file.write_text("Heat 1\n1;21.455\n2;21.302\nHeat 2\n1;22.455\n2;22.302\n")
    assert run(maker, "laps", "Q1", str(file)) == 2
    asked = capsys.readouterr().err
    assert "Laps of which heat? Say --which with one of: Heat 1; Heat 2" in asked
    assert run(maker, "laps", "Q1", str(file), "--which", "Heat 2") == 0
    kept = (maker.folder / "laps" / "Q1.csv").read_text()
    assert kept == "lap,seconds\n1,22.455\n2,22.302\n"
