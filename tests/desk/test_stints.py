"""Fuel stops against cases worked by hand.

Sources: the race arithmetic is plain division, worked by hand beside each case; the t value is
GUM table G.2's family (t for 90 % two-sided, 4 degrees of freedom: 2.13).
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from factory import WeekendMaker

from pitwright.desk.clock.stints import (
    FuelUse,
    StintPlan,
    fuel_use,
    plan_stints,
    stint_lines,
    stints,
)


def sure(rate: float) -> FuelUse:
    return FuelUse(9, rate, 0.0, rate)


def test_two_stops_by_hand() -> None:
    # 125 ml less 10 at 10 ml/min: 11.5 min a stint. 30 min: three stints, two stops.
    # Stop 1: the last two stints reach 23 min, so not before 7; the first one ends at 11.5.
    plan = plan_stints(30, sure(10.0), 125, 10)
    assert plan.longest == pytest.approx(11.5)
    windows = [(s.earliest, s.even, s.latest) for s in plan.stops]
    assert windows == [
        (pytest.approx(7.0), 10.0, pytest.approx(11.5)),
        (pytest.approx(18.5), 20.0, pytest.approx(23.0)),
    ]


def test_no_stop_by_hand() -> None:
    # 100 ml at 10 ml/min lasts 10 min.
    assert plan_stints(10, sure(10.0), 100).stops == ()


def test_exactly_two_stints_need_one_stop_with_no_room() -> None:
    (stop,) = plan_stints(20, sure(10.0), 100).stops
    assert (stop.earliest, stop.latest) == (pytest.approx(10.0), pytest.approx(10.0))


def test_the_spread_shortens_the_stint() -> None:
    # 9.6 9.8 10.0 10.2 10.4: mean 10.0, s = 0.3162; t(90 %, 4) = 2.132 (GUM table G.2: 2.13);
    # high = 10 + 2.132 x 0.3162 x sqrt(1.2) = 10.738.
    use = fuel_use([9.6, 9.8, 10.0, 10.2, 10.4])
    assert use is not None
    assert use.spread == pytest.approx(0.31623, abs=1e-5)
    assert use.high == pytest.approx(10.738, abs=0.002)
    plan = plan_stints(30, use, 125, 10)
    assert plan.longest == pytest.approx(115 / 10.738, abs=0.003)
    assert plan.usual == pytest.approx(11.5)


def test_one_heat_says_nothing_of_the_spread() -> None:
    use = fuel_use([10.0])
    assert use is not None
    assert (use.spread, use.high) == (None, None)
    assert "one heat only" in plan_stints(30, use, 125).caution


def test_no_heat_no_use() -> None:
    assert fuel_use([]) is None


@pytest.mark.parametrize(("tank", "reserve"), [(10, 10), (5, 10)])
def test_a_tank_of_reserve_only_is_refused(tank: float, reserve: float) -> None:
    with pytest.raises(ValueError, match="reserve"):
        plan_stints(30, sure(10.0), tank, reserve)


def test_the_stops_always_reach_the_end() -> None:
    for race in (7.0, 12.0, 23.0, 30.0, 45.0, 60.0):
        plan = plan_stints(race, sure(9.3), 125, 8)
        times = [0.0, *(s.latest for s in plan.stops), race]
        assert all(b - a <= plan.longest + 1e-9 for a, b in pairwise(times))
        times = [0.0, *(s.earliest for s in plan.stops), race]
        assert all(b - a <= plan.longest + 1e-9 for a, b in pairwise(times))


def test_a_use_beyond_belief_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be right"):
        plan_stints(30, sure(50_000.0), 125, 10)


class TestFromTheHeats:
    @pytest.fixture
    def maker(self, tmp_path: Path) -> WeekendMaker:
        return WeekendMaker(tmp_path / "w")

    def test_warm_up_counts_as_running_and_what_is_unknown_is_left_out(
        self, maker: WeekendMaker
    ) -> None:
        # 100 ml over 8 + 2 min and 84 ml over 8 min: 10 and 10.5 ml/min, mean 10.25.
        maker.heat("P1", "practice", 8, fuel_used_ml=100, warm_up_minutes=2)
        maker.later(30).heat("P2", "practice", 8, fuel_used_ml=84)
        maker.later(30).heat("P3", "practice", None, fuel_used_ml=84)
        maker.later(30).heat("P4", "practice", 8)
        maker.later(30).heat("P5", "practice", 8, fuel_used_ml=500, status="cancelled")
        with maker.session() as session:
            found = stints(session.weekend, 30)
        assert isinstance(found, StintPlan)
        assert found.use.heats == 2
        assert found.use.mean == pytest.approx(10.25)
        # the card's tank of 125 ml less 10: 115 / 10.25
        assert found.usual == pytest.approx(115 / 10.25)
        # two heats: s = 0.5 / sqrt 2 = 0.35355; t(90 %, 1) = 6.314 (GUM table G.2: 6.31);
        # high = 10.25 + 6.314 x 0.35355 x sqrt 1.5 = 12.984
        assert found.use.high == pytest.approx(12.984, abs=0.003)
        assert stint_lines(found)[0] == (
            "Fuel: 10.2 ± 0.4 ml a minute over 2 heats, 13.0 to reckon with"
        )

    def test_a_sentence_where_it_cannot_be_done(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            assert stints(session.weekend, 30) == (
                "no heat has both its fuel and its run time noted yet"
            )
        maker.heat("P1", "practice", 8, fuel_used_ml=80)
        card = maker.folder / "clutch.toml"
        text = card.read_text()
        card.write_text(text.replace('reserve = { value = "10 ml"', 'reserve = { value = "125 ml"'))
        with maker.session() as session:
            assert stints(session.weekend, 30) == "the tank holds no more than the reserve"
        head, _, tail = text.partition("[fuel]")
        card.write_text(head + tail[tail.index("[targets]") :])
        with maker.session() as session:
            assert "no [fuel] table" in str(stints(session.weekend, 30))
