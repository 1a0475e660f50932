"""Rises, take-ups and marks on perfect traces, where what is true is drawn by hand."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from pitwright.sound.events import find_events, find_rises
from pitwright.sound.spectrum import SpectrumStream
from pitwright.sound.takeup import (
    NotStandingError,
    Repeats,
    describe_launch,
    marked_plateau,
    plateau_speed,
)
from pitwright.sound.track import Track

HOP = 0.006


def trace(times, rpm, seconds=None) -> Track:
    """A trace heard without doubt: straight in the logarithm of the speed between the points."""
    time = np.arange(0, seconds or times[-1], HOP)
    speed = np.exp(np.interp(time, times, np.log(rpm)))
    ones = np.ones(len(time))
    return Track(time, speed, ones, ones < 0, ones - 21, ones - 61, 0.04, HOP)


LAUNCH = trace([0, 1.0, 1.06, 1.30, 1.90, 3.0], [9e3, 9e3, 19e3, 19e3, 30e3, 30e3])


def test_a_leap_within_one_frame_is_no_rise():
    """No engine doubles its speed in 6 ms: the trace went over to another engine."""
    leap = trace([0, 1.0, 1.0001, 2.0], [9e3, 9e3, 20e3, 20e3])
    assert find_rises(leap) == []
    assert find_events(leap, []) == []


@pytest.mark.parametrize(
    ("times", "rpm"),
    [
        # another engine at 26,000 rpm leaves the trace while ours stands
        ([1.0, 1.001, 1.3, 2.0, 3.0], [26e3, 19e3, 19e3, 30e3, 30e3]),
        # lifting for a corner, then a steady throttle
        ([0.6, 1.0, 1.3, 2.0, 3.0], [33e3, 19e3, 19e3, 30e3, 30e3]),
    ],
)
def test_a_stand_still_that_no_idle_came_before_is_no_take_up(times, rpm):
    """A launch starts from idle at rest; what was not heard is not taken for granted."""
    for rise in find_rises(trace(times, rpm)):
        assert rise.plateau is None
        assert rise.chance < 0.5


def test_a_recording_that_begins_too_late_says_that():
    late = trace([0, 0.3, 0.9, 2.0], [19e3, 19e3, 30e3, 30e3])
    told = [describe_launch(late, rise) for rise in find_rises(late)]
    assert [one.take_up for one in told] == [None]
    assert "begins too late" in told[0].reason


REASONS = [
    # (times, rpm, what is said)
    ([0, 0.5, 0.9, 1.5, 1.8, 2.4, 3.0], [33e3, 33e3, 14e3, 14e3, 19e3, 19e3, 30e3], "not a launch"),
    ([0, 1.0, 1.06, 1.5, 1.8, 3.0], [9e3, 9e3, 19e3, 19e3, 9e3, 9e3], "no"),
    ([0, 1.0, 1.8, 2.2], [9e3, 9e3, 32e3, 32e3], "without standing"),
    ([0, 1.0, 5.0, 6.0], [9e3, 9e3, 14e3, 14e3], "raised slowly"),
]


@pytest.mark.parametrize(("times", "rpm", "said"), REASONS)
def test_why_nothing_was_found_is_said_in_words(times, rpm, said):
    drive = trace(times, rpm)
    told = [describe_launch(drive, rise) for rise in find_rises(drive)]
    assert all(one.take_up is None for one in told)
    assert any(said in one.reason for one in told)


def test_a_short_plateau_is_read_in_its_middle():
    """0.05 s, of which the edges hear climb and pull: five frames about the middle stay."""
    at = int(1.2 / HOP)
    bent = replace(LAUNCH, rpm=LAUNCH.rpm.copy())
    bent.rpm[[at - 4, at + 4]] = 12e3, 27e3
    speed = plateau_speed(bent, (at - 4, at + 4), place="standstill")
    assert speed.rpm == pytest.approx(19e3, rel=1e-6)
    assert (speed.start_s, speed.end_s) == (bent.time_s[at - 4], bent.time_s[at + 4])
    assert dict(speed.parts)["scatter of the trace"] == pytest.approx(0.0, abs=1e-6)


def test_a_marked_plateau_is_the_speed_about_the_mark():
    speed = marked_plateau(LAUNCH, 1.2, place="standstill")
    assert speed.kind == "plateau"
    assert speed.rpm == pytest.approx(19e3, rel=1e-6)
    assert speed.end_s - speed.start_s == pytest.approx(0.12, abs=0.007)
    assert dict(speed.parts)["movement of the car"] == 0.0


def test_a_mark_on_the_pull_is_told_how_fast_it_climbs():
    """19,000 to 30,000 rpm in 0.6 s: ln(30/19) / 0.6 = 76 % a second."""
    with pytest.raises(NotStandingError, match=r"changes by 76 % a second at 1\.60 s; a take-up"):
        marked_plateau(LAUNCH, 1.6)


@pytest.mark.parametrize("mark", [-0.01, 3.01])
def test_a_mark_outside_the_recording(mark):
    with pytest.raises(NotStandingError, match="lies outside the recording"):
        marked_plateau(LAUNCH, mark)


def test_a_mark_where_nothing_is_heard_surely():
    faint = replace(LAUNCH, confidence=np.where(abs(LAUNCH.time_s - 1.2) < 0.05, 0.4, 1.0))
    with pytest.raises(NotStandingError, match=r"no engine is heard clearly .* 1\.20 s"):
        marked_plateau(faint, 1.2)


def test_a_launch_too_faint_says_that_and_not_how_it_was_driven():
    (rise,) = find_rises(LAUNCH)
    assert rise.plateau is not None
    faint = describe_launch(LAUNCH, replace(rise, plateau=None, clear=0.5))
    assert faint.take_up is None
    assert faint.reason == "no plateau: the engine is too faint or too blurred against the rest"


def test_the_expanded_uncertainty_of_repeats_is_twice_the_standard_one():
    assert Repeats(3, 19e3, 500.0, 70.0).expanded_rpm == 140.0


def test_frames_do_not_depend_on_how_small_the_blocks_are():
    """Blocks shorter than the low-pass filter wait for the next; no frame moves or is lost."""
    rate = 48_000
    sound = np.random.default_rng(1).standard_normal(rate // 8).astype(np.float32) / sqrt(10)

    def levels(step: int):
        stream = SpectrumStream(rate)
        parts = [stream.feed(sound[at : at + step]) for at in range(0, len(sound), step)]
        parts.append(stream.finish())
        return [
            np.concatenate([getattr(p, name) for p in parts]) for name in ("time_s", "level_db")
        ]

    (whole_s, whole_db), (small_s, small_db) = levels(len(sound)), levels(37)
    np.testing.assert_allclose(small_s, whole_s)
    np.testing.assert_allclose(small_db, whole_db, atol=1e-3)
