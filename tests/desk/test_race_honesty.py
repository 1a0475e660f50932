"""The answer over a race against simulated mains, the short form of the benchmark."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from race_honesty import OWNED, Race, World, better, compared, covered, races


@pytest.fixture(scope="module")
def owned() -> list[Race]:
    """Races whose laws the forecast knows: what is left is this answer's own doing."""
    return races(World(shapes=OWNED), 60, seed=5)


def test_the_band_of_the_bite_holds_nine_in_ten(owned: list[Race]) -> None:
    # 60 races, moments of one race hang together: 90 % give or take 8 (two standard errors)
    over_all, _at_the_end = covered(owned)
    assert 0.82 < over_all < 0.98


def test_the_choice_is_less_off_than_what_is_done_without_it(owned: list[Race]) -> None:
    assert better(owned, "leave it") > 0.7
    assert better(owned, "fresh, same recess") > 0.8
    assert compared(owned, "leave it")[2] < 0.2


def test_where_hardly_anything_wears_it_does_no_harm() -> None:
    still = World(spring_loss_mm=(0.01, 0.03), shoe_loss_mm=(0.005, 0.02))
    group = races(still, 40, seed=6)
    chosen, left = (sum(r.off[who] / r.minutes for r in group) for who in ("chosen", "leave it"))
    assert chosen / len(group) < left / len(group) + 0.03
