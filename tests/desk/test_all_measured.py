"""Everything measured enters the model: clearance, bore and the kinds of what is fitted."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from factory import WeekendMaker

from pitwright.desk.bite.bite import bite_desk, prepare
from pitwright.desk.clutch.card_figures import card_figures
from pitwright.desk.clutch.model import clutch_model
from pitwright.desk.clutch.observed import observation_record, observed
from pitwright.desk.condition import condition, condition_lines
from pitwright.desk.measure.gap_line import gap_line
from pitwright.desk.nut.nut import nut_advice
from pitwright.desk.nut.words import nut_lines
from pitwright.mechanics.clutch import bite_speed, clearance_now, torque_per_force
from pitwright.weekend.card import CurvePoint, ShoesKind, SpringKind

RPM = 30 / math.pi
MM = 1e-3


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    made.check(free_length=9.94, shoe_thickness=5.0)
    made.set_recess(1.34)
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def model_of(maker):
    weekend = weekend_of(maker)
    return clutch_model(weekend, weekend.state())


class TestClearance:
    def test_a_reading_wins_over_the_card(self, maker):
        """The card says 0.25; the gauge 0.48: 0.23 mm that were not counted."""
        before = model_of(maker)
        maker.later(1).check(bell_clearance=0.48)
        after = model_of(maker)
        assert clearance_now(after.clutch) == pytest.approx(0.48 * MM)
        assert after.u["clearance"] >= 0.015 * MM
        assert "clearance" in after.sources
        moved = (bite_speed(after.clutch) - bite_speed(before.clutch)) * RPM
        assert 740 <= moved <= 1100

    def test_the_same_through_the_bore(self, maker):
        before = model_of(maker)
        maker.later(1).check(bell_bore=30.46)
        after = model_of(maker)
        assert clearance_now(after.clutch) == pytest.approx(0.48 * MM)
        assert after.clutch.bell_radius == pytest.approx(15.23 * MM)
        moved = (bite_speed(after.clutch) - bite_speed(before.clutch)) * RPM
        assert 740 <= moved <= 1100

    def test_wear_since_the_reading_is_added(self, maker):
        maker.later(1).check(bell_clearance=0.30)
        maker.later(1).check(shoe_thickness=4.9, bell_bore=30.0)
        assert clearance_now(model_of(maker).clutch) == pytest.approx(0.40 * MM)
        maker.later(1).check(bell_bore=30.1)
        assert clearance_now(model_of(maker).clutch) == pytest.approx(0.40 * MM)

    def test_the_error_of_the_new_thickness_falls_out_of_a_gap_that_was_read(self, maker):
        maker.later(1).check(bell_clearance=0.30, shoe_thickness=4.9)
        model = model_of(maker)
        moved = model.moved({"card/thickness_new": 0.01 * MM})
        assert clearance_now(moved) == pytest.approx(clearance_now(model.clutch), abs=1e-12)
        assert moved.worn == pytest.approx(model.clutch.worn + 0.01 * MM)

    def test_other_shoes_make_the_reading_old(self, maker):
        maker.later(1).check(bell_clearance=0.48)
        maker.later(1).fit("shoes", "H2")
        assert clearance_now(model_of(maker).clutch) == pytest.approx(0.25 * MM)

    def test_a_what_if_with_other_shoes_leaves_it_too(self, maker):
        maker.later(1).check(bell_clearance=0.48)
        weekend = weekend_of(maker)
        other = weekend.state().refitted(weekend.card(), "shoes", "H2")
        assert clearance_now(clutch_model(weekend, other).clutch) == pytest.approx(0.25 * MM)
        assert other.shoes.part == "H2"

    def test_what_disagrees_is_said(self, maker):
        maker.later(1).check(bell_clearance=0.95)
        weekend = weekend_of(maker)
        (said,) = clutch_model(weekend, weekend.state()).disagrees
        assert "0.95 mm" in said
        assert "0.25 mm" in said
        assert said in bite_desk(prepare(weekend)).cautions
        assert said in condition(weekend).disagrees
        assert f"  ! {said}" in condition_lines(condition(weekend), weekend.event.zone)

    def test_what_agrees_is_not(self, maker):
        maker.later(1).check(bell_clearance=0.27)
        assert model_of(maker).disagrees == ()

    def test_a_bore_below_the_cards_is_said(self, maker):
        maker.later(1).check(bell_bore=29.8)
        assert "29.80 mm, the card has 30.00 mm" in model_of(maker).disagrees[0]
        assert "29.80 mm" in gap_line(weekend_of(maker), None, "bell_bore")

    def test_it_is_shown_where_it_is_measured(self, maker):
        """As typed, before it is kept: with 0.12 mm of wear the card makes 0.37."""
        maker.later(1).check(shoe_thickness=4.88)
        weekend = weekend_of(maker)
        assert "make a gap of 0.37 mm ± " in gap_line(weekend, None, "bell_clearance")
        assert gap_line(weekend, None, "bell_clearance", 0.36).endswith("the reading fits")
        odd = gap_line(weekend, None, "bell_clearance", 0.80)
        assert odd.startswith(
            "The clearance was read 0.80 mm, the card with wear and bore makes 0.37"
        )
        assert "0.40 mm ± " in gap_line(weekend, None, "bell_bore", 30.06)
        assert gap_line(weekend, None, "recess", 1.4) == ""

    def test_a_bore_of_another_bell_is_left_out_and_said(self, maker):
        maker.later(1).check(bell_bore=15.02)
        model = model_of(maker)
        assert model.clutch.bell_radius == pytest.approx(15 * MM)
        assert any("bell bore" in each for each in model.assumed)


def with_kinds(weekend, **kinds):
    """Give shoe set H2 the kind soft, and spring S3 the kind hard, with figures of their own."""
    card = weekend.card()
    stock = weekend.stock
    shoes = [p.model_copy(update={"kind": "soft"}) if p.id == "H2" else p for p in stock.shoes]
    springs = [p.model_copy(update={"kind": "hard"}) if p.id == "S3" else p for p in stock.spring]
    return replace(
        weekend,
        stock=stock.model_copy(update={"shoes": shoes, "spring": springs}),
        clutches={card.id: card.model_copy(update=kinds)},
    )


def soft(**more):
    figure = {"value": 0.42, "from": "invented", "u": 0.02}
    return {"shoes_kind": {"soft": ShoesKind.model_validate({"bell_friction": figure, **more})}}


class TestKinds:
    def test_a_kind_brings_its_own_figures(self, maker):
        weekend = with_kinds(
            weekend_of(maker),
            **soft(mass={"value": "0.8 g", "from": "measured"}),
            spring_kind={
                "hard": SpringKind.model_validate(
                    {"wire_diameter": {"value": "1.7 mm", "from": "measured"}}
                )
            },
        )
        card, state = weekend.card(), weekend.state()
        now = clutch_model(weekend, state)
        other = clutch_model(weekend, state.refitted(card, "shoes", "H2"))
        assert other.clutch.bell_friction == 0.42
        assert other.clutch.shoe_mass == pytest.approx(0.8e-3)
        assert now.clutch.bell_friction == 0.3
        assert "shoes kind soft/bell_friction" in other.doubts
        assert "card/bell_friction" not in other.doubts
        hard = clutch_model(weekend, state.refitted(card, "spring", "S3"))
        # k goes by the fourth power of the wire
        assert hard.clutch.spring_rate / now.clutch.spring_rate == pytest.approx((1.7 / 1.6) ** 4)
        assert len({now.clutch.kinds, other.clutch.kinds, hard.clutch.kinds}) == 3

    def test_two_kinds_never_share_a_calibration(self, maker):
        maker.add(observation_record("creep", 11500, now=maker.at, clutch="A", u_rpm=80))
        weekend = with_kinds(weekend_of(maker), **soft())
        card, state = weekend.card(), weekend.state()
        found = observed(weekend, card)
        now = clutch_model(weekend, state).clutch
        other = clutch_model(weekend, state.refitted(card, "shoes", "H2")).clutch
        assert found.bite_known(now)
        assert not found.bite_known(other)
        assert found.applied_to(other).s_scale is None
        assert bite_speed(found.applied_to(now)) * RPM == pytest.approx(11500, rel=1e-9)

    def test_a_softer_shoes_bite_is_a_number(self, maker):
        maker.later(10).heat("P1", "practice")
        maker.later(5).fit("shoes", "H2")
        maker.check(shoe_thickness=5.0)
        weekend = with_kinds(weekend_of(maker), **soft())
        found = bite_desk(prepare(weekend, like="P1"))
        since = found.since_like
        assert since.lock_up_rpm < -500
        assert since.u_lock_up_rpm > 0
        assert since.torque_percent == pytest.approx(100 * (0.42 / 0.3 - 1), rel=1e-6)
        assert since.u_torque_percent > 0
        here = clutch_model(weekend, weekend.state()).clutch
        assert torque_per_force(here) == pytest.approx(0.42 * 15e-3)

    def test_a_set_that_was_weighed_counts_as_weighed(self, maker):
        weekend = weekend_of(maker)
        mass = weekend.card().shoes.mass.model_copy(update={"value": 0.95, "u": 0.002})
        shoes = [
            p.model_copy(update={"mass": mass}) if p.id == "H1" else p for p in weekend.stock.shoes
        ]
        weighed = replace(weekend, stock=weekend.stock.model_copy(update={"shoes": shoes}))
        model = clutch_model(weighed, weighed.state())
        assert model.clutch.shoe_mass == pytest.approx(0.95e-3)
        assert model.u["shoe_mass"] == pytest.approx(0.002e-3)


class TestSpringCurve:
    """A curve of a kitchen scale, and where it still has to be believed."""

    def curved(self, maker, lengths):
        weekend = weekend_of(maker)
        card = weekend.card()
        points = [
            CurvePoint.model_validate({
                "length": {"value": length, "from": "measured", "u": 0.01},
                "force": {"value": 30.6 * (10.2 - length), "from": "measured", "u": 0.3},
            })
            for length in lengths
        ]  # fmt: skip
        spring = card.spring.model_copy(update={"curve": points})
        return replace(weekend, clutches={card.id: card.model_copy(update={"spring": spring})})

    def test_its_shape_is_in_doubt_between_squeezes_and_no_less_with_one_left_out(self, maker):
        maker.later(10).heat("P1", "practice")
        maker.later(5).check(free_length=9.90, shoe_thickness=4.95)
        widths = {}
        for lengths in ((9.1, 8.56, 8.42, 8.2), (9.1, 8.42, 8.2), (9.1, 8.2)):
            weekend = self.curved(maker, lengths)
            advice = nut_advice(weekend, like="P1")
            assert advice.spring_by == f"its {len(lengths)} squeezes"
            now = bite_desk(prepare(weekend)).now
            widths[len(lengths)] = (now.u_bite_rpm, now.u_lock_up_rpm, advice.u_wanted_mm)
        for fewer, more in ((3, 4), (2, 3)):
            for vague, sure in zip(widths[fewer], widths[more], strict=True):
                assert vague >= sure * (1 - 1e-3)
        assert widths[2][0] > widths[4][0]

    def test_its_points_are_in_the_list_of_figures(self, maker):
        prepared = prepare(self.curved(maker, (9.1, 8.6)))
        names = {row.name: row for row in card_figures(prepared.card, prepared.fitted)}
        assert names["curve[1].length"].value == 9.1
        assert names["curve[2].force"].u == 0.3

    def test_without_one_the_advice_says_that_it_goes_by_the_cards_rate(self, maker):
        maker.later(10).heat("P1", "practice")
        weekend = weekend_of(maker)
        assert "to solid, reckoned by the card's rate" in "\n".join(
            nut_lines(nut_advice(weekend, like="P1"))
        )
