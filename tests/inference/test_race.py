"""Which setting keeps longest inside its window: small races that can be counted by hand."""

from __future__ import annotations

import numpy as np
import pytest

from pitwright.inference.race import (
    Windows,
    band,
    best_setting,
    chance,
    mean_off,
    minutes_off,
    shares,
)


def windows(aims: list[list[float]], half: float, slip: float = 0.0) -> Windows:
    aim = np.array(aims)
    moments = list(range(aim.shape[1]))
    return Windows(aim - half, aim, aim + half, shares(moments), np.full(aim.shape[0], slip))


def test_minutes_are_those_of_the_moments_outside() -> None:
    race = windows([[1.0, 1.1, 1.2, 1.3, 1.4]], 0.15)
    assert minutes_off(race, 1.2).tolist() == [1.0]  # both ends, half a minute each
    assert minutes_off(race, 1.0).tolist() == [2.5]


def test_all_settings_at_once_are_as_one_by_one() -> None:
    rng = np.random.default_rng(3)
    race = Windows(
        *(
            rng.uniform(1.1, 1.6, (40, 9)) + by for by in (-0.2, 0.0, 0.1)
        ),  # some end before they begin
        shares(range(9)),
        rng.normal(0.0, 0.02, 40),
    )
    settings = [1.0 + 0.01 * i for i in range(60)]
    one_by_one = [minutes_off(race, setting).mean() for setting in settings]
    assert mean_off(race, settings) == pytest.approx(one_by_one)


def test_the_best_setting_lies_between_start_and_end() -> None:
    race = windows([[1.0, 1.1, 1.2, 1.3, 1.4]], 0.25)
    assert best_setting(race, [1.0, 1.1, 1.2, 1.3]) == 1.2


def test_among_settings_as_good_the_nearest_to_the_target_is_taken() -> None:
    race = windows([[1.20, 1.22, 1.24]], 0.5)
    settings = [1.0 + 0.01 * i for i in range(40)]
    assert best_setting(race, settings) == pytest.approx(1.22)


def test_a_nut_that_lands_too_deep_is_meant_shallower() -> None:
    race = windows([[1.3, 1.3, 1.3]], 0.05, slip=0.1)
    assert best_setting(race, [1.1, 1.2, 1.3]) == 1.2


def test_a_race_more_likely_weighs_more() -> None:
    race = windows([[1.0, 1.0], [1.0, 1.0], [1.4, 1.4]], 0.05)
    assert best_setting(race, [1.0, 1.4]) == 1.0


def test_no_setting_to_choose_from() -> None:
    with pytest.raises(ValueError, match="no setting"):
        best_setting(windows([[1.0, 1.0]], 0.1), [])


def test_band_and_chance() -> None:
    found = band(np.arange(101.0))
    assert (found.low, found.middle, found.high) == (5.0, 50.0, 95.0)
    assert 0.0 < chance(np.zeros(100, dtype=bool)) < 0.01
    assert 0.99 < chance(np.ones(100, dtype=bool)) < 1.0
