"""The monkey in a short form. In full: python tests/trust/monkey.py --keys 20000 --seed 1"""

from __future__ import annotations

import pytest
from trust.hard_weekends import WEEKENDS
from trust.monkey import run_monkey


@pytest.mark.parametrize("weekend", WEEKENDS)
def test_a_monkey_breaks_nothing_and_keeps_nothing_by_chance(tmp_path, weekend):
    monkey = run_monkey(weekend, -(-500 // len(WEEKENDS)), 3, tmp_path)
    assert monkey.faults == []
    assert monkey.done * len(WEEKENDS) >= 500
    assert len(monkey.kinds) >= 4
