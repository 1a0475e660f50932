import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.stats import norm

from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.shims import (
    Place,
    best_stacks,
    counted_back,
    expected,
)
from pitwright.mechanics.stacks import fewest_shims

PLAY = Place(bare=743, low=200, target=250, high=300)
HEIGHT = Place(bare=0, low=250, target=300, high=350)


def _judge(h, e, count, play, height, coefficient):
    end_play, tall = play.bare + coefficient * h - e, height.bare + h
    both = play.low <= end_play <= play.high and height.low <= tall <= height.high
    return end_play, (not both, abs(end_play - play.target) + abs(tall - height.target), count)


def _brute(tin, play, height, coefficient):
    """Second route: every way to lay every shim up, along or aside; the best key per pair."""
    fewest = {(0, 0): 0}
    for thickness, copies in tin.items():
        ways = [
            (a * thickness, b * thickness, a + b)
            for a in range(copies + 1)
            for b in range(copies + 1 - a)
        ]
        new = {}
        for (h, e), k in fewest.items():
            for up, along, n in ways:
                pair = (h + up, e + along)
                new[pair] = min(new.get(pair, math.inf), k + n)
        fewest = new
    keys = []
    for (h, e), k in fewest.items():
        end_play, key = _judge(h, e, k, play, height, coefficient)
        if end_play >= 0:
            keys.append(key)
    return sorted(keys)


def _key(answer):
    return (not answer.both_in_band, answer.error, answer.count)


def _check(answer, tin, play, height, coefficient):
    used = counted_back(answer.end_play_shims, answer.height_shims)
    assert all(0 < n <= tin.get(t, 0) for t, n in used.items()), "never more than is owned"
    e = sum(t * n for t, n in answer.end_play_shims.items())
    h = sum(t * n for t, n in answer.height_shims.items())
    end_play, key = _judge(h, e, sum(used.values()), play, height, coefficient)
    assert answer.end_play == end_play
    assert answer.height == height.bare + h
    assert _key(answer) == key


TINS = st.dictionaries(st.integers(20, 420), st.integers(1, 3), max_size=4)


@settings(max_examples=120)
@given(
    tin=TINS,
    bare=st.integers(-100, 1200),
    height=st.integers(-200, 400),
    coefficient=st.sampled_from([-1, 0, 1, 2]),
    keep=st.integers(1, 6),
)
def test_never_beaten_by_brute_force(tin, bare, height, coefficient, keep):
    play = Place(bare, 200, 250, 300)
    tall = Place(height, 250, 300, 330)
    answers = best_stacks(tin, play, tall, coefficient, keep)
    reference = _brute(tin, play, tall, coefficient)
    assert [_key(a) for a in answers] == reference[:keep]
    for answer in answers:
        _check(answer, tin, play, tall, coefficient)


def test_an_answer_in_band_beats_a_nearer_one_out_of_band():
    # Out of band by 10 in one place and right in the other errs by 20; in band by 14 and 15, by 29.
    play, height = Place(300, 235, 250, 265), Place(0, 280, 300, 310)
    answers = best_stacks({30: 1, 36: 1, 285: 1, 300: 1}, play, height, 0, keep=30)
    band = [a.both_in_band for a in answers]
    assert band == sorted(band, reverse=True)
    assert answers[0].both_in_band
    for part in (True, False):
        errors = [a.error for a in answers if a.both_in_band is part]
        assert errors == sorted(errors)


def test_fewer_shims_decide_between_equal_errors():
    # 40 by two shims and 60 by one both miss the target by 10.
    play, height = Place(300, 200, 250, 300), Place(0, -50, 0, 50)
    assert best_stacks({20: 2, 60: 1}, play, height, keep=1)[0].end_play_shims == {60: 1}


def test_pairs_that_the_tin_cannot_make():
    with pytest.raises(RangeError, match="cannot all be made"):
        fewest_shims({100: 2}, [(200, 100)])


def _milp(tin, play, height, coefficient):
    """Second route: an integer program per stage; both in band, least error, fewest shims."""
    t = np.array(list(tin), float)
    n, owned = len(t), np.array(list(tin.values()), float)
    # variables: up (n), along (n), |play error|, |height error|
    play_row = np.concatenate([coefficient * t, -t, [0, 0]])
    tall_row = np.concatenate([t, np.zeros(n), [0, 0]])
    one = [np.zeros(2 * n + 2), np.zeros(2 * n + 2)]
    one[0][-2], one[1][-1] = 1, 1
    base = [
        LinearConstraint(np.hstack([np.eye(n), np.eye(n), np.zeros((n, 2))]), 0, owned),
        LinearConstraint(play_row, max(play.low, 0) - play.bare, play.high - play.bare),
        LinearConstraint(tall_row, height.low - height.bare, height.high - height.bare),
        LinearConstraint(play_row - one[0], -np.inf, play.target - play.bare),
        LinearConstraint(play_row + one[0], play.target - play.bare, np.inf),
        LinearConstraint(tall_row - one[1], -np.inf, height.target - height.bare),
        LinearConstraint(tall_row + one[1], height.target - height.bare, np.inf),
    ]
    bounds = Bounds(0, np.concatenate([owned, owned, [np.inf, np.inf]]))
    whole = np.concatenate([np.ones(2 * n), [0, 0]])
    error_row = one[0] + one[1]
    options = {"mip_rel_gap": 0.0}
    first = milp(error_row, constraints=base, bounds=bounds, integrality=whole, options=options)
    assert first.success
    error = round(first.fun)
    tied = [*base, LinearConstraint(error_row, -np.inf, error + 1e-6)]
    second = milp(whole, constraints=tied, bounds=bounds, integrality=whole, options=options)
    return error, round(second.fun)


@pytest.mark.parametrize("coefficient", [-1, 0, 1])
@pytest.mark.parametrize(
    "thicknesses",
    [
        [20, 30, 50, 80, 100, 120, 150, 200, 250, 300, 400, 500],
        [23, 31, 51, 79, 103, 127, 149, 201, 253, 307, 401, 503],
    ],
)
def test_large_tin_against_an_integer_program(thicknesses, coefficient):
    tin = dict.fromkeys(thicknesses, 10)
    best = best_stacks(tin, PLAY, HEIGHT, coefficient)[0]
    assert best.both_in_band
    assert (best.error, best.count) == _milp(tin, PLAY, HEIGHT, coefficient)
    _check(best, tin, PLAY, HEIGHT, coefficient)


def test_one_tin_serves_both_places():
    # 300 would be right for both places, but there is one: the other place must do with 200 + 100.
    play = Place(550, 200, 250, 300)
    best = best_stacks({300: 1, 200: 1, 100: 1}, play, HEIGHT, 0)[0]
    assert best.error == 0
    assert best.count == 3
    assert best_stacks({300: 2, 200: 1, 100: 1}, play, HEIGHT, 0)[0].count == 2


def test_fitted_shims_can_be_counted_back():
    assert counted_back({100: 1}, {100: 2}, {50: 1}) == {100: 3, 50: 1}
    play = Place(550, 200, 250, 300)
    assert best_stacks({300: 1}, play, HEIGHT)[0].error == 300
    assert best_stacks(counted_back({300: 1}, {300: 1}), play, HEIGHT)[0].error == 0


def test_empty_tin_and_nothing_possible():
    (only,) = best_stacks({}, PLAY, HEIGHT)
    assert only.count == 0
    assert only.end_play == 743
    assert best_stacks({100: 2}, Place(-20, 200, 250, 300), HEIGHT) == ()
    assert best_stacks({100: 0}, PLAY, HEIGHT)[0].count == 0


class TestExpected:
    def test_against_scipy(self):
        found = expected(PLAY, 270.0, 20.0, 3, 6.0)
        u = math.sqrt(20.0**2 + 3 * 6.0**2)
        assert found.u == pytest.approx(u)
        chance = norm.cdf(300, 270, u) - norm.cdf(200, 270, u)
        assert found.chance_in_band == pytest.approx(chance, rel=1e-12)

    def test_against_monte_carlo(self):
        rng = np.random.default_rng(5)
        play = 270 + rng.normal(0, 20, 200_000) - rng.normal(0, 6, (3, 200_000)).sum(axis=0)
        share = np.mean((play >= 200) & (play <= 300))
        assert expected(PLAY, 270.0, 20.0, 3, 6.0).chance_in_band == pytest.approx(share, abs=0.004)

    def test_certainty_and_tails(self):
        assert expected(PLAY, 300.0, 0.0, 2, 0.0).chance_in_band == 1.0
        assert expected(PLAY, 301.0, 0.0, 2, 0.0).chance_in_band == 0.0
        assert 0.0 <= expected(PLAY, 4000.0, 1.0, 0, 1.0).chance_in_band < 1e-12

    @pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
    def test_nonsense(self, bad):
        for arguments in ((250.0, bad, 2, 1.0), (250.0, 1.0, 2, bad), (250.0, 1.0, bad, 1.0)):
            with pytest.raises(RangeError):
                expected(PLAY, *arguments)
        if bad != -1.0:
            with pytest.raises(RangeError):
                expected(PLAY, bad, 1.0, 2, 1.0)


class TestRefusals:
    @pytest.mark.parametrize(
        "tin", [{0: 1}, {-50: 1}, {100: -1}, {100.5: 1}, {100: 1.5}, {9_000: 1}, {10: 5_000}]
    )
    def test_tins(self, tin):
        with pytest.raises(RangeError):
            best_stacks(tin, PLAY, HEIGHT)

    def test_places(self):
        for bad in (math.nan, 1.5, True, 100_000):
            with pytest.raises(RangeError):
                Place(bad, 200, 250, 300)
        with pytest.raises(RangeError, match="target"):
            Place(700, 200, 350, 300)
        with pytest.raises(RangeError):
            best_stacks({}, Place(700, -10, 250, 300), HEIGHT)
        for keep in (0, 1.5):
            with pytest.raises(RangeError):
                best_stacks({}, PLAY, HEIGHT, 0, keep)
        with pytest.raises(RangeError, match="coefficient"):
            best_stacks({}, PLAY, HEIGHT, 0.5)


@pytest.mark.parametrize(("play", "height"), [(200, 300), (300, 300), (250, 250), (250, 350)])
def test_the_ends_of_a_band_belong_to_it(play, height):
    def in_band(bare_play, bare_height):
        places = Place(bare_play, 200, 250, 300), Place(bare_height, 250, 300, 350)
        return best_stacks({}, *places)[0].both_in_band

    beyond_play = play + (play > 250) - (play < 250)
    beyond_height = height + (height > 300) - (height < 300)
    assert in_band(play, height)
    assert not in_band(beyond_play, beyond_height)
