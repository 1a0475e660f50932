"""The race on the command line, through its real entry point."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pitwright.cli import main

DEMO = str(Path(__file__).parents[2] / "demo_weekend")
RUN_IN, FRESH = "2026-05-17T12:20", "2026-05-17T13:30"


def test_the_best_comes_first_and_names_what_it_beat(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["race", DEMO, "M2", "--at", RUN_IN]) == 0
    head, best, *rest = capsys.readouterr().out.splitlines()
    assert head == "Bite over M2, 30 min: 12 350 ± 250 rpm wanted (the card's)"
    assert best.startswith("  Best  Set the recess to 1.48 mm")
    text = "\n".join(rest)
    assert "leave it" in text
    assert "Spring 3 (new)" in text


def test_json_has_every_option_with_its_curve(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["race", DEMO, "--at", FRESH, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["heat"] == "M2"
    first = found["options"][0]
    assert (first["spring"]["part"], first["shoes"]["part"]) == ("S2", "H2")
    assert first["outcome"]["curve"][-1]["minutes"] == 30
    assert any(option["leave"] for option in found["options"])
    assert first["outcome"]["lock_up"]["end_c"] > first["outcome"]["lock_up"]["start_c"] > 20
    assert first["outcome"]["beside"]["less"] > first["outcome"]["beside"]["more"]
    assert found["short"].startswith("fit Spring 2, set the recess to 1.49 mm")


def test_a_heat_nobody_planned_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["race", DEMO, "M9", "--at", RUN_IN]) == 2
    assert "no heat is called 'M9'" in capsys.readouterr().err


def test_what_cannot_be_said_is_a_finding(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["race", DEMO, "--at", "2026-05-15T08:10"]) == 1
    assert "Cannot say: Spring 1" in capsys.readouterr().out
