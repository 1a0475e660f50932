"""Day sheet, stock and export through the real entry point."""

from __future__ import annotations

import json

import pytest
from factory import WeekendMaker, scheduled

from pitwright.cli import main


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w", schedule=[scheduled("P1", "practice", 0, "10:00", 8)])
    made.fit("spring", "S1")
    made.check(free_length=10.18, recess=1.30)
    made.go(0, "10:00").heat("P1", "practice", 8, [20.0, 19.5, 19.4, 19.6, 19.5, 19.7])
    return made


def run(capsys, *arguments):
    status = main([str(a) for a in arguments])
    done = capsys.readouterr()
    return status, done.out, done.err


@pytest.mark.parametrize(
    ("form", "start"),
    [("text", "Pine Valley Open: Friday 15 May 2026\n"), ("md", "# Pine Valley Open: Friday"),
     ("html", "<!DOCTYPE html>\n"), ("json", "{\n")],
)  # fmt: skip
def test_each_format(maker, capsys, form, start):
    status, out, err = run(
        capsys, "daysheet", maker.folder, "--day", "2026-05-15", "--format", form
    )
    assert (status, err) == (0, "")
    assert out.startswith(start)
    assert "19.40" in out or "19.4" in out


def test_json_holds_the_figures(maker, capsys):
    _, out, _ = run(capsys, "daysheet", maker.folder, "--day", "2026-05-15", "--format", "json")
    found = json.loads(out)
    assert found["day"] == "2026-05-15"
    assert found["totals"]["run_minutes"] == 8
    assert found["heats"][0]["lap_figures"] == {"count": 6, "best": 19.4, "median": 19.55}
    assert found["heats"][0]["start"]["recess_mm"] == 1.3


def test_all_is_the_weekend_and_output_is_a_file(maker, capsys, tmp_path):
    target = tmp_path / "made" / "all.md"
    status, out, _ = run(
        capsys, "daysheet", maker.folder, "--day", "all", "--format", "md", "--output", target
    )
    assert status == 0
    assert out == f"Written: {target}\n"
    assert "*Weekend sheet*" in target.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("day", "reason"),
    [("tuesday", "is neither a date"), ("2026-07-01", "is not a day of Pine Valley Open")],
)
def test_a_wrong_day_is_said(maker, capsys, day, reason):
    status, out, err = run(capsys, "daysheet", maker.folder, "--day", day)
    assert (status, out) == (2, "")
    assert reason in err


def test_it_reads_beside_an_open_app(maker, capsys):
    with maker.session() as session:
        assert session.writable
        assert run(capsys, "daysheet", maker.folder)[0] == 0
        assert run(capsys, "stock", maker.folder)[0] == 0


def test_faults_of_the_folder_are_open_points(maker, capsys):
    (maker.folder / "log" / "broken.toml").write_text("kind = ")
    _, out, _ = run(capsys, "daysheet", maker.folder, "--day", "2026-05-15", "--format", "json")
    assert [p for p in json.loads(out)["points"] if "broken.toml" in p["what"]]


def test_stock(maker, capsys):
    _, out, _ = run(capsys, "stock", maker.folder)
    assert "Springs: 1 fitted, 2 unused" in out
    _, out, _ = run(capsys, "stock", maker.folder, "--json")
    found = json.loads(out)
    spring = next(p for p in found["stock"]["parts"] if p["part"] == "S1")
    assert (spring["standing"], spring["run_minutes"]) == ("fitted", 8.0)
    assert isinstance(found["buy"], list)


def test_export(maker, capsys, tmp_path):
    target = tmp_path / "data"
    status, out, _ = run(capsys, "export", maker.folder, "--to", target, "--parquet")
    assert status == 0
    assert "rows" in out
    names = {p.name for p in target.iterdir()}
    assert {"heats.csv", "laps.csv", "readings.csv", "heats.parquet", "weekend.sqlite"} <= names


def test_export_into_the_log_is_refused(maker, capsys):
    status, _, err = run(capsys, "export", maker.folder, "--to", maker.folder / "log")
    assert status == 2
    assert "own files" in err
