"""Segments laid along perfect traces, and what speaks for them."""

from __future__ import annotations

import numpy as np
import pytest
from ear_truth import NO_LAUNCH, launch_case, other_case
from test_traces import HOP, trace

from pitwright.sound.belief import chance_of, traits_of
from pitwright.sound.events import LIKELY
from pitwright.sound.listen import listen
from pitwright.sound.read_audio import SampleRecording
from pitwright.sound.segments import Shape, lay_segments
from pitwright.sound.takeup import Speed, belong_together, moved, repeats

LAUNCH = trace([0, 1.0, 1.06, 1.30, 1.90, 3.0], [9e3, 9e3, 19e3, 19e3, 30e3, 30e3])


def laid(track, shape=None):
    found = lay_segments(np.log(track.rpm), track.confidence, HOP, shape or Shape())
    assert found is not None
    return found


def test_the_four_segments_lie_where_they_were_drawn():
    found = laid(LAUNCH)
    assert found.first * HOP == pytest.approx(1.06, abs=0.02)
    assert found.last * HOP == pytest.approx(1.30, abs=0.02)
    assert found.idle < found.foot < found.first < found.last < found.end
    assert found.total == pytest.approx(sum(found.earned))
    assert found.moved(7).first == found.first + 7


@pytest.mark.parametrize("count", [3, 12])
def test_too_short_a_stretch_holds_no_launch(count):
    assert lay_segments(np.zeros(count), np.ones(count), HOP, Shape()) is None


def test_a_level_trace_holds_no_pull():
    assert lay_segments(np.full(400, 9.0), np.ones(400), HOP, Shape()) is None


def test_a_card_makes_its_own_speeds_likelier_and_others_less():
    at = laid(LAUNCH)
    log = np.log(LAUNCH.rpm)
    plain = chance_of(traits_of(LAUNCH, log, at, Shape()), Shape(), 9e3, 19e3)
    mine = Shape(idle_rpm=9e3, stands_rpm=(17e3, 19e3))
    other = Shape(idle_rpm=9e3, stands_rpm=(9.5e3,))
    traits = traits_of(LAUNCH, log, at, mine)
    assert chance_of(traits, other, 9e3, 19e3) < plain < chance_of(traits, mine, 9e3, 19e3)
    assert plain > LIKELY


def speed(rpm, own, shared):
    parts = (("scatter of the trace", own), ("frame length", shared))
    return Speed("plateau", rpm, float(np.hypot(own, shared)), parts, 1.0, 1.4, 1.0, False)


def test_unlike_take_ups_are_never_pooled():
    """15,000 and 20,000 are two things, however wide the doubt that both share."""
    assert repeats([speed(15e3, 50, 400), speed(20e3, 50, 400)]) is None
    assert not belong_together([speed(15e3, 50, 4000), speed(20e3, 50, 4000)])
    assert belong_together([speed(15e3, 1500, 40), speed(18e3, 1500, 40)])


def test_a_car_that_pulls_away_is_raised_by_what_it_has_gained():
    """12 m/s2 over the first half of 0.4 s: 2.4 m/s of 343, 0.7 %."""
    away = moved(speed(19e3, 50, 40), "behind", 12.0, 12.0)
    assert away.rpm == pytest.approx(19e3 * (1 + 2.4 / 343))
    assert dict(away.parts)["movement of the car"] > 0
    slow = moved(speed(19e3, 50, 40), "behind", 1.0, 12.0)
    assert slow.rpm == pytest.approx(19e3 * (1 + 1 / 343))
    assert moved(away, "abeam", 12.0).rpm == pytest.approx(19e3)
    assert moved(speed(19e3, 50, 40), "behind", 12.0).rpm > 19e3


def test_launches_and_other_sounds_in_short():
    """The short form of benchmarks/sound_launches.py; seeds are not those of the fit."""
    pytest.importorskip("av")

    def told(case):
        heard = listen(SampleRecording(case.sound, case.rate), place="standstill")
        return [one.take_up.rpm for one in heard.launches if one.take_up]

    found = 0
    for number in range(12):
        case = launch_case(900, number, 12.0, faults=())
        found += any(abs(rpm / case.stand[2] - 1) < 0.02 for rpm in told(case))
    assert found >= 11
    wrong = sum(bool(told(other_case(901, 0, kind))) for kind in NO_LAUNCH)
    assert wrong == 0
