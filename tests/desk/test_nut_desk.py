"""Nut advice: what must hold for the trade's numbers, refusals, and what cancels."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from factory import WeekendMaker

from pitwright.desk.clutch.model import clutch_model
from pitwright.desk.clutch.observed import observation_record
from pitwright.desk.measure.words import nut_line
from pitwright.desk.nut.nut import nut_advice, nut_start
from pitwright.desk.nut.reference import reference_heat
from pitwright.desk.nut.words import nut_lines
from pitwright.mechanics.clutch import bite_speed
from pitwright.mechanics.nut import recess_at
from pitwright.weekend.card import Targets

RPM = 30 / math.pi
NANOMETRE = 2e-7
"""The advice is rounded to a nanometre, which is 0.002 rpm of 12 000."""


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def ran(maker, free_length=10.2, recess=1.5, thickness=5.0, name="P1"):
    """A heat on a known clutch."""
    maker.check(free_length=free_length, shoe_thickness=thickness)
    maker.set_recess(recess, u_mm=0.02)
    maker.later(10).heat(name, "practice")
    maker.later(20)


def bite_at(weekend, recess_mm):
    return bite_speed(clutch_model(weekend, weekend.state(), recess_mm=recess_mm).clutch)


def test_the_trades_two_settings_lie_on_one_preload_line(maker):
    """Common practice, no source: (10.2, 1.5) and (10.0, 1.7)."""
    ran(maker, 10.2, 1.5)
    maker.check(free_length=10.0)
    found = nut_advice(weekend_of(maker), hold="preload")
    assert found.wanted_mm == pytest.approx(1.7, abs=1e-9)
    assert found.reference == "P1"
    assert found.direction == "in"
    assert found.turns == pytest.approx(0.2 / 0.75, rel=1e-9)
    assert found.rotation == "clockwise"


def test_one_and_a_half_turns_out_is_about_a_millimetre(maker):
    """Common practice, no source. "About": the card's figures give it within 0.05 mm."""
    card = weekend_of(maker).card()
    recess = recess_at(1.5, card.nut.recess_bottomed.si, card.nut.pitch.si)
    assert recess * 1000 == pytest.approx(1.0, abs=0.05)


def test_past_the_cards_most_is_refused_with_the_recess_it_would_take(maker):
    ran(maker, 10.2, 1.5)
    maker.check(free_length=9.95)
    found = nut_advice(weekend_of(maker), hold="preload")
    assert found.wanted_mm == pytest.approx(1.75)
    assert "new spring" in found.refused
    assert any("Refused" in line for line in nut_lines(found))


def test_coil_bind_is_refused_and_named(maker):
    ran(maker, 10.2, 1.5, thickness=5.0)
    # Worn shoes travel 0.5 further, so the spring binds before the card's most is reached.
    maker.check(free_length=10.1, shoe_thickness=4.5)
    found = nut_advice(weekend_of(maker), hold="preload")
    assert found.wanted_mm == pytest.approx(1.6)
    assert "solid" in found.refused
    assert "new spring" in found.refused


def test_a_bite_so_low_that_the_spring_is_loose_is_refused(maker):
    """The nut could stand there, well under the face, but the shoes would rattle."""
    ran(maker, 9.85, 0.6)
    weekend = weekend_of(maker)
    loosest = weekend.card().nut.recess_bottomed.value + 8.0 - 9.85
    assert loosest > 0
    lowest = bite_at(weekend, loosest + 0.01) * RPM
    assert nut_advice(weekend, target_rpm=lowest).refused == ""
    assert "loose" in nut_advice(weekend, target_rpm=lowest - 200).refused


def test_a_spring_too_short_for_any_setting_is_refused_not_raised(maker):
    ran(maker, 10.2, 1.5)
    found = nut_advice(weekend_of(maker), free_length_mm=8.3)
    assert "new spring" in found.refused


def test_holding_the_bite_brings_it_back(maker):
    ran(maker, 10.2, 1.4)
    then = bite_at(weekend_of(maker), 1.4)
    maker.check(free_length=10.1, shoe_thickness=4.9)
    weekend = weekend_of(maker)
    found = nut_advice(weekend, hold="bite")
    assert found.refused == ""
    assert bite_at(weekend, found.wanted_mm) == pytest.approx(then, rel=NANOMETRE)
    assert found.target_rpm == pytest.approx(then * RPM)
    # Worn shoes bite later by themselves, so less recess is needed than for the preload.
    assert found.wanted_mm < nut_advice(weekend, hold="preload").wanted_mm


def test_every_answer_says_how_near_solid_it_ends(maker):
    """1.58 on a spring of 9.94 with shoes 0.12 worn is 91 % of the way, and was said to be fine."""
    ran(maker, 9.94, 1.34, thickness=4.88)
    found = nut_advice(weekend_of(maker), target_rpm=12900.0)
    # By hand: what is left of 9.94 - 8.0 is 2.125 - recess - 0.37 of travel.
    left = 2.125 - found.wanted_mm - 0.37
    assert found.solid_share == pytest.approx(1 - left / 1.94)
    assert 0.85 < found.solid_share < 0.97
    assert f"{100 * found.solid_share:.0f} % of the spring's way to solid" in "\n".join(
        nut_lines(found)
    )
    assert any("near solid" in caution for caution in found.cautions)
    easy = nut_advice(weekend_of(maker), target_rpm=11500.0)
    assert easy.solid_share < 0.8
    assert not any("near solid" in caution for caution in easy.cautions)


class TestOneAnswer:
    """Asked without saying what to hold, every place gives the one answer that the shoes allow."""

    def test_the_bite_is_held_where_the_shoes_have_been_measured(self, maker):
        """As on the day it went wrong: the spring 0.08 shorter, the shoes 0.08 thinner."""
        ran(maker, 10.02, 1.5, thickness=4.96)
        then = bite_at(weekend_of(maker), 1.5)
        maker.check(free_length=9.94, shoe_thickness=4.88, recess=1.34)
        weekend = weekend_of(maker)
        found = nut_advice(weekend)
        assert found == nut_advice(weekend, hold="bite")
        assert bite_at(weekend, found.wanted_mm) == pytest.approx(then, rel=NANOMETRE)
        preload = nut_advice(weekend, hold="preload")
        assert preload.wanted_mm == pytest.approx(1.58)
        # Holding the preload would have missed the bite by what the wear does to it.
        missed = (bite_at(weekend, preload.wanted_mm) - then) * RPM
        assert 300 < missed < 450
        assert found.wanted_mm == pytest.approx(1.48, abs=0.01)

    def test_measure_build_and_the_command_tell_it(self, maker):
        ran(maker, 10.02, 1.5, thickness=4.96)
        maker.check(free_length=9.94, shoe_thickness=4.88, recess=1.34)
        weekend = weekend_of(maker)
        wanted = f"{nut_advice(weekend).wanted_mm:.2f} mm"
        assert wanted in nut_line(weekend, None)
        assert nut_start(weekend) == nut_advice(weekend)
        assert "bite of P1" in nut_line(weekend, None)

    @pytest.mark.parametrize("fresh_shoes", [False, True])
    def test_only_without_them_the_preload_and_that_is_said(self, maker, fresh_shoes):
        if fresh_shoes:
            ran(maker)
            maker.fit("shoes", "H2")
        else:
            maker.check(free_length=10.2)
            maker.set_recess(1.5)
            maker.later(10).heat("P1", "practice")
            maker.later(10)
        maker.check(free_length=10.1)
        found = nut_advice(weekend_of(maker))
        assert found.hold == "preload"
        assert found.wanted_mm == pytest.approx(1.6)
        assert "the shoes fitted now have not been measured" in found.cautions[0]


def test_aiming_for_a_speed_bites_there(maker):
    ran(maker)
    weekend = weekend_of(maker)
    found = nut_advice(weekend, target_rpm=12100.0)
    assert bite_at(weekend, found.wanted_mm) * RPM == pytest.approx(12100.0, rel=NANOMETRE)
    assert not found.calibrated
    assert any("model's own" in c for c in found.cautions)


def test_aiming_uses_what_was_seen(maker):
    ran(maker)
    weekend = weekend_of(maker)
    scaled = replace(clutch_model(weekend, weekend.state()).clutch, s_scale=0.9)
    seen = observation_record("creep", bite_speed(scaled) * RPM, now=maker.at, clutch="A")
    maker.add(seen)
    weekend = weekend_of(maker)
    found = nut_advice(weekend, target_rpm=12100.0)
    assert found.calibrated
    there = clutch_model(weekend, weekend.state(), recess_mm=found.wanted_mm).clutch
    assert bite_speed(replace(there, s_scale=0.9)) * RPM == pytest.approx(12100.0, rel=NANOMETRE)


def test_an_unmoved_nuts_reading_cancels_in_the_turns(maker):
    """The recess then is the recess now: its error moves both, and not the turns between."""
    ran(maker, 10.2, 1.4)
    maker.check(free_length=10.1)
    found = nut_advice(weekend_of(maker), hold="preload")
    # Left are both free lengths, 0.015 each, and the pitch: half a per cent, by its maker.
    assert found.u_wanted_mm == pytest.approx(math.hypot(0.02, 0.015, 0.015), rel=1e-6)
    pitch = found.turns * 0.005
    assert found.u_turns == pytest.approx(math.hypot(0.015 / 0.75, 0.015 / 0.75, pitch), rel=1e-6)


def test_a_nut_set_again_does_not_cancel(maker):
    ran(maker, 10.2, 1.4)
    maker.check(free_length=10.1)
    maker.set_recess(1.4, u_mm=0.02)
    found = nut_advice(weekend_of(maker), hold="preload")
    lengths = math.hypot(0.02, 0.02, 0.015, 0.015) / 0.75
    assert found.u_turns == pytest.approx(math.hypot(lengths, found.turns * 0.005), rel=1e-6)


def test_worn_shoes_are_a_caution_when_the_preload_is_held(maker):
    ran(maker)
    maker.check(free_length=10.15, shoe_thickness=4.9)
    found = nut_advice(weekend_of(maker), hold="preload")
    assert any("worn shoes bite later" in c for c in found.cautions)
    assert any("0.10 mm thinner" in c for c in found.cautions)


def test_a_spring_that_ran_since_it_was_read_is_a_caution(maker):
    ran(maker)
    found = nut_advice(weekend_of(maker))
    assert any("has run since" in c for c in found.cautions)


class TestReference:
    def test_the_last_heat_with_known_figures(self, maker):
        ran(maker)
        ran(maker, name="P2")
        weekend = weekend_of(maker)
        assert reference_heat(weekend, weekend.card()).run.heat == "P2"
        assert reference_heat(weekend, weekend.card(), "p1").run.heat == "P1"

    def test_none_is_said(self, maker):
        weekend = weekend_of(maker)
        assert "no heat" in reference_heat(weekend, weekend.card())
        assert "no heat called" in reference_heat(weekend, weekend.card(), "Q9")
        assert nut_advice(weekend).unknown
        assert "cannot say" in nut_lines(nut_advice(weekend))[0]

    def test_a_heat_without_a_recess_cannot_serve(self, maker):
        maker.heat("P1", "practice")
        weekend = weekend_of(maker)
        assert "no recess" in reference_heat(weekend, weekend.card(), "P1")


class TestStart:
    def test_before_the_first_heat_it_aims_at_the_cards_bite(self, maker):
        maker.fit("spring", "S1")
        maker.check(free_length=10.2, recess=1.4)
        weekend = weekend_of(maker)
        assert nut_advice(weekend).unknown
        found = nut_start(weekend)
        target = weekend.card().targets.bite.value
        assert found.target_rpm == target
        there = clutch_model(weekend, weekend.state(), recess_mm=found.wanted_mm)
        assert bite_speed(there.clutch) * 30 / math.pi == pytest.approx(target, rel=1e-6)
        assert any("no heat to match" in caution for caution in found.cautions)
        assert not found.calibrated

    def test_with_a_heat_it_holds_that_heats_bite(self, maker):
        ran(maker, 10.2, 1.5)
        assert nut_start(weekend_of(maker)) == nut_advice(weekend_of(maker))

    def test_without_a_bite_on_the_card_it_says_what_is_lacking(self, maker):
        weekend = weekend_of(maker)
        card = weekend.card()
        bare = replace(
            weekend,
            clutches={card.id: card.model_copy(update={"targets": Targets()})},
        )
        assert nut_start(bare) == nut_advice(bare)


class TestNewSpring:
    """The nut came off with the old spring: where it stood tells nothing any more."""

    def test_turns_are_counted_from_bottomed(self, maker):
        ran(maker, 10.2, 1.5)
        maker.fit("spring", "S2")
        maker.check(free_length=10.1)
        found = nut_advice(weekend_of(maker), hold="preload")
        assert found.wanted_mm == pytest.approx(1.6)
        assert found.present_mm is None
        assert found.turns is None
        # bottomed at 2.125 mm, 0.75 mm a turn: the card's figures
        assert found.turns_out == pytest.approx((2.125 - 1.6) / 0.75)
        lines = nut_lines(found)
        assert any("0.70 turns out" in line for line in lines)
        assert not any("Recess now" in line or "Bite moves" in line for line in lines)

    def test_a_recess_read_since_counts_again(self, maker):
        ran(maker, 10.2, 1.5)
        maker.fit("spring", "S2")
        maker.check(free_length=10.1, recess=1.45)
        found = nut_advice(weekend_of(maker), hold="preload")
        assert found.present_mm == pytest.approx(1.45)
        assert found.turns == pytest.approx(0.15 / 0.75)


def test_a_typed_length_counts_on_a_card_that_does_not_list_it(maker):
    ran(maker)
    weekend = weekend_of(maker)
    card = weekend.card()
    few = {k: q for k, q in card.quantities.items() if k not in ("free_length", "recess")}
    bare = replace(weekend, clutches={card.id: card.model_copy(update={"quantities": few})})
    typed = {"free_length_mm": 10.1, "recess_mm": 1.5, "hold": "preload"}
    assert nut_advice(bare, **typed).wanted_mm == nut_advice(weekend, **typed).wanted_mm
    assert nut_advice(bare, **typed).wanted_mm == pytest.approx(1.6, abs=0.001)
