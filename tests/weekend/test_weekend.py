"""What is asked of a weekend by name: a heat, a reading's size, a step of the open build."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import STEP, WeekendMaker

from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import Reading, StepResult

START = datetime(2026, 5, 15, 8, tzinfo=UTC)


def test_a_heat_is_found_by_its_name_and_a_rerun_counts(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w")
    maker.heat("Q1", "qualifier", 6)
    maker.later(60).heat("Q2", "qualifier", 5)
    rerun = maker.later(60).heat("Q1", "qualifier", 7)
    with maker.session() as session:
        weekend = session.weekend
    assert weekend.heat("q1").run.id == rerun.id
    assert weekend.heat("Q2").run.run_minutes == 5
    with pytest.raises(KeyError, match="Q3"):
        weekend.heat("Q3")


def test_a_reading_is_the_mean_of_its_repeats_or_its_size_at_20_degrees() -> None:
    cold = Reading(quantity="free_length", values_mm=[10.12, 10.14, 10.16])
    assert cold.value_mm == pytest.approx(10.14)
    warm = Reading(quantity="free_length", values_mm=[10.14], part_c=60, at_20_mm=10.135)
    assert warm.value_mm == 10.135


def test_the_open_build_knows_what_was_noted_for_a_step() -> None:
    noted = StepResult(step="spring", note="squeezed")
    build = OpenBuild(
        route="spring change",
        started_at=START,
        steps=[Step.model_validate(STEP)],
        results=[StepResult(step="strip"), noted],
    )
    assert build.result("spring") == noted
    assert build.result("bell") is None
