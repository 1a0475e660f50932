"""Fuel stops against cases worked by hand.

Sources: the race arithmetic is plain division, worked by hand beside each case; the t value is
GUM table G.2's family (t for 90 % two-sided, 4 degrees of freedom: 2.13).
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from pitwright.desk.stints import FuelUse, fuel_use, plan_stints


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
