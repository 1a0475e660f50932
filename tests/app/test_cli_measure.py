"""The measure command, through the real entry point."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from factory import WeekendMaker

from pitwright.cli import main

CALL = "import sys; from pitwright.cli import main; sys.exit(main())"


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.check(free_length=9.95)
    made.later(30)
    return made


def log_of(maker):
    return sorted(p.name for p in (maker.folder / "log").iterdir())


def measure(maker, *arguments):
    return main(["measure", str(maker.folder), *arguments])


def test_a_reading_is_kept_and_judged(maker, capsys):
    before = log_of(maker)
    assert measure(maker, "free_length", "9,93", "9.95") == 0
    said = capsys.readouterr().out
    assert "Spring free length: 9.94 ± 0.03 mm, good" in said
    assert "ISO 14253-1" in said
    assert len(log_of(maker)) == len(before) + 1


def test_out_exits_with_one_and_says_what_to_do(maker, capsys):
    assert measure(maker, "free_length", "9.8", "--accept-slip") == 1
    said = capsys.readouterr().out
    assert ", out" in said
    assert "Fit a new spring" in said
    assert "Kept as" in said


def test_dry_run_keeps_nothing(maker, capsys):
    before = log_of(maker)
    assert measure(maker, "recess", "1.75", "--dry-run") == 1
    assert log_of(maker) == before
    assert "Kept" not in capsys.readouterr().out


def test_a_slip_is_not_kept_without_a_word(maker, capsys):
    before = log_of(maker)
    assert measure(maker, "free_length", "99.5") == 2
    said = capsys.readouterr()
    assert "9.95" in said.out
    assert "--accept-slip" in said.err
    assert log_of(maker) == before


def test_one_far_repeat_is_asked_about_before_it_discards_a_spring(maker, capsys):
    before = log_of(maker)
    assert measure(maker, "free_length", "9.94", "9.60") == 2
    said = capsys.readouterr()
    assert "Read it again: these two differ by 0.34 mm" in said.out
    assert "say so with --accept-slip" in said.err
    assert ", out" not in said.out
    assert log_of(maker) == before
    assert measure(maker, "free_length", "9.94", "9.60", "--accept-slip") == 1
    assert len(log_of(maker)) == len(before) + 1


def test_a_second_reading_that_agrees_settles_a_far_drop(maker, capsys):
    before = log_of(maker)
    assert measure(maker, "free_length", "9.75") == 2
    assert "give a second reading, or say so with --accept-slip" in capsys.readouterr().err
    assert log_of(maker) == before
    assert measure(maker, "free_length", "9.75", "9.76") == 1
    assert len(log_of(maker)) == len(before) + 1


def test_a_warm_part_is_given_at_20(maker, capsys):
    maker.fit("bell", "B1")
    assert measure(maker, "bell_bore", "30.2", "--part-temperature", "120") == 0
    said = capsys.readouterr().out
    assert "30.17 ± 0.04 mm at 20 °C, good" in said
    assert "Part at 120 °C, given at 20 °C: 0.035 mm taken off, it matters" in said
    assert measure(maker, "bell_bore", "30.2", "--part-temperature", "120", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["part_c"] == 120
    assert found["value_mm"] == pytest.approx(30.1653, abs=1e-3)
    assert found["shown"].endswith("at 20 °C")
    assert found["bound"] is None


def test_json_answers_for_scripts(maker, capsys):
    assert measure(maker, "recess", "0.056 in", "--instrument", "caliper", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["value_mm"] == pytest.approx(1.4224)
    assert (found["verdict"], found["instrument"]) == ("good", "caliper")
    assert found["slip"] is None
    assert found["record"] in {name.removesuffix(".toml") for name in log_of(maker)}


def test_part_of_a_name_will_do_unless_it_is_unclear(maker, capsys):
    assert measure(maker, "end-play", "0.25", "--dry-run") == 0
    assert "Bell end play" in capsys.readouterr().out
    assert measure(maker, "bell", "0.25", "--dry-run") == 2
    assert "could be" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("free_length", "ten"), "number"),
        (("free_length", "10."), "not finished"),
        (("shoe_thickness", "4.9"), "--part"),
        (("free_length", "9.9", "--part", "S9"), "no spring 'S9'"),
        (("recess", "1.4", "--part", "S1"), "on the clutch"),
        (("recess", "1.4", "--instrument", "laser"), "not on the card"),
        (("camber", "1.4"), "not on the card"),
        (("recess", "1.4", "--clutch", "Z"), "no clutch"),
        (("free_length", "9.9", "--part-temperature", "hot"), "--part-temperature"),
    ],
)
def test_a_wrong_call_says_why_and_keeps_nothing(maker, capsys, arguments, reason):
    before = log_of(maker)
    assert measure(maker, *arguments) == 2
    assert reason in capsys.readouterr().err
    assert log_of(maker) == before


def test_an_unfitted_part_and_squeezes_are_noted(maker, capsys):
    assert measure(maker, "free_length", "10.2", "--part", "s2", "--squeezes", "5") == 0
    text = (maker.folder / "log" / log_of(maker)[-1]).read_text()
    assert 'part = "S2"' in text
    assert "squeezes = 5" in text


def test_a_fresh_process_answers(maker):
    done = subprocess.run(
        [sys.executable, "-c", CALL, "measure", maker.folder, "recess", "1.4", "--dry-run"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "1.40 ± 0.04 mm, good" in done.stdout


def test_no_verdict_is_given_on_a_number_that_is_doubted(maker, capsys):
    """As on the screen: "101.50 mm, good, over 99 % inside" is no word to a script either."""
    maker.check(free_length=10.16)
    maker.later(30).check(free_length=9.943333)
    assert measure(maker, "free_length", "101.5") == 2
    said = capsys.readouterr()
    assert "Did you mean 10.15 mm? (last reading 9.94 mm)" in said.out
    assert not any(word in said.out for word in ("good", "inside", "ISO"))
    assert measure(maker, "free_length", "101.5", "--json") == 2
    found = json.loads(capsys.readouterr().out)
    assert found["verdict"] is None
    assert found["p_conform"] is None
    assert found["record"] is None
    assert measure(maker, "free_length", "10.15", "10.16") == 2
    said = capsys.readouterr()
    assert "is it another part?" in said.out
    assert said.err == "Not kept. If it is right, say so with --accept-slip\n"
