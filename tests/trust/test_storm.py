"""A short storm over the real program with every test; DEVELOPERS.md has the long one's command."""

from __future__ import annotations

from pathlib import Path

import pytest
from trust.storm import run_storm, told


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for all of them, so that the program is compiled once."""
    return tmp_path_factory.mktemp("storm")


@pytest.mark.timeout(400)
@pytest.mark.parametrize("weekend", ["demo", "empty", "sixty", "markup"])
def test_a_storm_of_hands_ends_nothing_hangs_nothing_keeps_nothing_unasked(
    weekend: str, scratch: Path
) -> None:
    storm = run_storm(weekend, 750, 11, scratch, minimise=False)
    print(told(storm))
    assert storm.done >= 750
    assert not storm.failures, told(storm)
