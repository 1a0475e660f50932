"""The answer over a race against simulated mains, the short form of the benchmark."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from race_honesty import Race, World, better, compared, covered, races, two_decisions


@pytest.fixture(scope="module")
def drawn() -> list[Race]:
    """Races of all laws, most of which the forecast does not own."""
    return races(World(), 40, seed=5)


def test_the_band_of_the_bite_holds_nine_in_ten(drawn: list[Race]) -> None:
    # 40 races, moments of one race hang together: 90 % give or take 9 (two standard errors)
    for drift in (False, True):
        over_all, at_the_end = covered(drawn, drift)
        assert 0.81 < over_all < 0.99
        assert at_the_end > 0.81


def test_the_choice_is_less_off_than_what_is_done_without_it(drawn: list[Race]) -> None:
    for other in ("leave it", "fresh, same recess"):
        assert better(drawn, other) > 0.8
        assert better(two_decisions(drawn, other), other) > 0.8
        assert compared(drawn, other)[2] < 0.2


def test_where_hardly_anything_wears_it_does_no_harm() -> None:
    still = World(spring_loss_mm=(0.01, 0.03), shoe_loss_mm=(0.005, 0.02))
    group = races(still, 15, seed=6)
    chosen, left = (sum(r.off[who] / r.minutes for r in group) for who in ("chosen", "leave it"))
    assert chosen / len(group) < left / len(group) + 0.03
