"""A short storm over the real program with every test; DEVELOPERS.md has the long one's command."""

from __future__ import annotations

from pathlib import Path

import pytest
from trust.storm import run_storm, told


@pytest.mark.timeout(1200)
@pytest.mark.parametrize("weekend", ["demo", "empty", "sixty", "markup"])
def test_a_storm_of_hands_ends_nothing_hangs_nothing_keeps_nothing_unasked(
    weekend: str, tmp_path: Path
) -> None:
    storm = run_storm(weekend, 750, 11, tmp_path)
    print(told(storm))
    assert storm.done >= 750
    assert not storm.failures, told(storm)
