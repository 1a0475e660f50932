"""The bite at the desk: what is told as truth and what as change, tries, air, cautions."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from factory import WeekendMaker

from pitwright.desk.bite.bite import Tries, bite_desk, prepare
from pitwright.desk.bite.tries import tried_rows, turned, typed, typed_trouble
from pitwright.desk.bite.words import bite_lines, figure_rows, notes, signed_rpm, trust_line
from pitwright.desk.clutch.air import AirRead, air_desk, last_air
from pitwright.desk.clutch.model import clutch_model
from pitwright.desk.clutch.observed import observation_record
from pitwright.mechanics.bite import bite_slopes
from pitwright.mechanics.clutch import bite_speed, let_go_speed
from pitwright.weekend.records import Conditions

RPM = 30 / math.pi


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.check(free_length=10.2, shoe_thickness=5.0)
    made.set_recess(1.35, u_mm=0.015)
    made.later(10).heat("P1", "practice", conditions=Conditions(air_c=30.0, pressure_hpa=950.0))
    made.later(10).check(free_length=10.1, shoe_thickness=4.9)
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def desk_of(maker, tries=None, **more):
    prepared = prepare(weekend_of(maker), **more)
    return bite_desk(prepared, tries or Tries())


def see_the_bite(maker, rpm=12300.0):
    maker.add(observation_record("creep", rpm, now=maker.at, clutch="A", heat="P1"))


def test_it_gives_what_the_mechanics_give(maker):
    found = desk_of(maker)
    weekend = weekend_of(maker)
    clutch = clutch_model(weekend, weekend.state()).clutch
    assert found.now.bite_rpm == pytest.approx(bite_speed(clutch) * RPM, rel=1e-12)
    assert found.now.let_go_rpm == pytest.approx(let_go_speed(clutch) * RPM, rel=1e-12)
    assert found.now.free_travel_mm == pytest.approx(2.125 - 1.35 - 0.35)
    assert found.per_tenth.recess == pytest.approx(bite_slopes(clutch)["recess"] * RPM * 1e-4)
    assert found.now.let_go_rpm < found.now.bite_rpm < found.now.lock_up_rpm


def test_uncalibrated_numbers_are_changes_and_say_so(maker):
    found = desk_of(maker)
    assert not found.calibrated
    assert found.like.label == "P1"
    assert found.since_like.bite_rpm == pytest.approx(found.now.bite_rpm - found.like.bite_rpm)
    assert "NOT CALIBRATED" in trust_line(found)
    bite = next(line for line in bite_lines(found) if "Bite" in line)
    change = signed_rpm(found.since_like.bite_rpm, found.since_like.u_bite_rpm)
    assert bite.index(change) < bite.index("model")
    assert "not calibrated" in bite
    head = figure_rows(found, narrow=True)[0]
    assert head.index("against P1") < head.index("model only")


def test_calibrated_numbers_are_the_cars(maker):
    see_the_bite(maker)
    found = desk_of(maker)
    assert found.calibrated
    assert found.like.bite_rpm == pytest.approx(12300.0, rel=1e-9)
    bite = next(line for line in bite_lines(found) if "Bite" in line)
    assert "model" not in bite
    assert "±" in bite


def test_a_change_is_surer_than_what_it_lies_between(maker):
    see_the_bite(maker, 12300.0)
    found = desk_of(maker)
    both = math.hypot(found.now.u_bite_rpm, found.like.u_bite_rpm)
    assert found.since_like.u_bite_rpm < 0.75 * both


def test_tries_move_the_tried_clutch_and_nothing_else(maker):
    base = desk_of(maker)
    tried = desk_of(maker, Tries(recess_mm=1.45))
    assert tried.now == base.now
    assert tried.like == base.like
    assert tried.since_now.bite_rpm == pytest.approx(base.per_tenth.recess, rel=0.03)
    # A change that the model alone gives is as doubtful as the model's steepness, no more.
    assert tried.since_now.u_bite_rpm < 0.2 * tried.since_now.bite_rpm
    shorter = desk_of(maker, Tries(free_length_mm=10.0))
    assert shorter.since_now.bite_rpm == pytest.approx(-base.per_tenth.free_length, rel=0.03)
    worn = desk_of(maker, Tries(worn_mm=0.2))
    assert worn.since_now.bite_rpm == pytest.approx(base.per_tenth.worn, rel=0.03)


def test_a_hot_spring_bites_lower_and_says_what_it_stands_on(maker):
    see_the_bite(maker)
    found = desk_of(maker, Tries(hot=True))
    assert found.since_now.bite_rpm == pytest.approx(
        found.now.bite_rpm * (math.sqrt(1 - 60 * 0.00026) - 1), rel=1e-9
    )
    assert any("warm spring already" in c for c in found.cautions)


def test_a_try_that_cannot_bite_is_refused_in_words(maker):
    found = desk_of(maker, Tries(recess_mm=1.9))
    assert "binds" in found.tried.refused
    assert found.tried.bite_rpm is None
    assert found.now.refused == ""
    assert any("Cannot bite" in line for line in bite_lines(found))
    assert all(c.of == "P1" for c in found.curves)


def test_cautions_for_bind_and_the_cards_most(maker):
    assert any("near solid" in c for c in desk_of(maker, Tries(recess_mm=1.5)).cautions)
    close = desk_of(maker, Tries(recess_mm=1.75))
    assert any("too close to call" in c for c in close.cautions)
    assert any("card's most" in c for c in close.cautions)


def test_a_clutch_that_drags_at_idle_is_a_caution(maker):
    found = desk_of(maker, Tries(recess_mm=0.3, free_length_mm=9.9))
    assert found.tried.let_go_rpm < found.idle_rpm
    # An invented idle and a wedge friction from memory leave it open, and that is the answer.
    assert found.tried.at_idle == "cannot tell"
    assert any("too close to call whether the clutch lets go" in c for c in found.cautions)


def test_thin_air_locks_up_earlier_and_leaves_the_bite(maker):
    thin = AirRead(30.0, 950.0, 50.0)
    found = desk_of(maker, Tries(air=thin))
    assert found.air.torque_percent < -5
    assert found.lock_up_by_air_rpm < 0
    assert found.tried.bite_rpm == pytest.approx(found.now.bite_rpm, rel=1e-12)
    # P1 was run in much the same air, so nothing is left between the two but the clutch.
    plain = desk_of(maker)
    assert found.since_like.lock_up_rpm == pytest.approx(plain.since_like.lock_up_rpm, abs=30)


def test_the_air_of_the_last_heat_and_what_was_not_read(maker):
    read = last_air(weekend_of(maker))
    assert (read.air_c, read.pressure_hpa, read.source) == (30.0, 950.0, "P1")
    found = air_desk(read)
    assert found.assumed == ("humidity not read: taken as 50 %",)
    # Dry air of 929 hPa at 30 C by the ISO 1585 form (recalled): (990/929)^1.2 (303.15/298)^0.6.
    assert found.factor == pytest.approx((99000 / 92865) ** 1.2 * (303.15 / 298) ** 0.6, rel=2e-3)


def test_air_past_what_can_be_computed_is_refused():
    assert "pressure" in air_desk(AirRead(20.0, 500.0)).refused


def test_curves_meet_the_speeds(maker):
    found = desk_of(maker)
    by = {(c.of, c.what): c.points for c in found.curves}
    assert by["now", "rising"][0] == (pytest.approx(found.now.bite_rpm), pytest.approx(0, abs=1e-9))
    assert by["now", "falling"][0][0] == pytest.approx(found.now.let_go_rpm)
    assert by["P1", "rising"][0][0] == pytest.approx(found.like.bite_rpm)
    rising, engine = by["now", "rising"], by["now", "engine"]
    assert rising[-1][1] > engine[-1][1]  # drawn past lock-up
    assert all(a[0] < b[0] for a, b in pairwise(rising))


def test_nothing_known_is_said_and_not_invented(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    found = desk_of(maker)
    assert "recess" in found.now.refused
    assert found.like is None
    assert found.curves == ()
    assert any("Nothing to compare" in line for line in notes(found))


def test_a_recess_can_be_tried_before_any_is_set(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    found = desk_of(maker, Tries(recess_mm=1.35), recess_mm=1.35)
    assert found.tried.bite_rpm == pytest.approx(12350, rel=0.06)
    assert len(found.tried.assumed) == 3
    assert "recess never set" in found.tried.assumed[0]


def test_at_an_earlier_moment(maker):
    moment = maker.at
    maker.later(30).set_recess(1.6)
    assert desk_of(maker).now.recess_mm == pytest.approx(1.6)
    assert desk_of(maker, moment=moment).now.recess_mm == pytest.approx(1.35)


class TestTurned:
    def test_turning_and_turning_back(self, maker):
        now = prepare(weekend_of(maker)).now
        up = turned(Tries(), "recess", 10, now, None)
        assert up.recess_mm == pytest.approx(1.45)
        assert turned(up, "recess", -10, now, None) == Tries()
        assert turned(Tries(), "hot", 1, now, None).hot
        assert turned(Tries(), "worn", -50, now, None).worn_mm == 0.0

    def test_the_first_touch_of_air_shows_the_last_read(self, maker):
        last = AirRead(22.0, 980.0)
        once = turned(Tries(), "air", 1, None, last)
        assert once.air == last
        assert turned(once, "air", 1, None, last).air.air_c == 23.0

    def test_a_typed_length(self, maker):
        now = prepare(weekend_of(maker)).now
        assert typed_trouble("recess", "1,45") == ""
        assert typed(Tries(), "recess", "1,45", now).recess_mm == pytest.approx(1.45)
        for wrong in ("", "abc", "1.4 1.5", "-3", "99"):
            assert typed_trouble("recess", wrong)

    def test_a_half_hundredth_stands_as_on_every_other_screen(self, maker):
        """1.345 mm, the mean of two readings, was 1.35 here and 1.34 in the Timeline."""
        maker.later(10).check(recess=1.345)
        prepared = prepare(weekend_of(maker))

        def row(tries):
            return tried_rows(tries, prepared.now, bite_desk(prepared, tries))["recess"]

        assert row(Tries()).endswith("1.34 mm")
        once = turned(Tries(), "recess", 1, prepared.now, None)
        assert row(once).endswith("1.35 mm  +0.01")
        assert turned(once, "recess", -1, prepared.now, None) == Tries()

    def test_rows_say_how_far(self, maker):
        prepared = prepare(weekend_of(maker))
        tries = turned(Tries(), "recess", 5, prepared.now, None)
        rows = tried_rows(tries, prepared.now, bite_desk(prepared, tries))
        assert "1.40 mm  +0.05" in rows["recess"]
        assert "reference" in rows["air"]
