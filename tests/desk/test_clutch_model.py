"""From card and state to a clutch, and from what was seen to its two scales."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from factory import WeekendMaker

from pitwright.desk.clutch.fitted import fitted
from pitwright.desk.clutch.model import (
    UnknownClutchError,
    clutch_model,
    engine_curve,
    input_u,
)
from pitwright.desk.clutch.nut_thread import nut_fit
from pitwright.desk.clutch.observed import fit_scales, observation_record, observed, sightings
from pitwright.desk.clutch.spread import propagate
from pitwright.mechanics.clutch import bite_speed, take_up_speed
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import HotPart, Spring, SpringKind
from pitwright.weekend.figures import Figure
from pitwright.weekend.records import NutCalibration, NutPair

RPM = 30 / math.pi


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.check(free_length=10.2, shoe_thickness=5.0)
    made.set_recess(1.35)
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def see(maker, how, rpm, **more):
    return maker.add(observation_record(how, rpm, now=maker.at, clutch="A", **more))


def test_the_readings_reach_the_clutch(maker):
    weekend = weekend_of(maker)
    model = clutch_model(weekend, weekend.state())
    assert model.clutch.free_length == pytest.approx(10.2e-3)
    assert model.clutch.recess == pytest.approx(1.35e-3)
    assert model.clutch.worn == 0.0
    assert model.assumed == ()
    assert model.u["free_length"] == pytest.approx(0.015e-3)


def test_wear_is_what_the_shoes_lost(maker):
    maker.later(10).check(shoe_thickness=4.8)
    weekend = weekend_of(maker)
    model = clutch_model(weekend, weekend.state())
    assert model.clutch.worn == pytest.approx(0.2e-3)


def test_what_was_not_measured_is_said(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    with pytest.raises(UnknownClutchError, match="recess"):
        clutch_model(weekend_of(maker), weekend_of(maker).state())
    maker.set_recess(1.35)
    weekend = weekend_of(maker)
    model = clutch_model(weekend, weekend.state())
    assert len(model.assumed) == 2
    assert "free length" in model.assumed[0]
    assert "thickness" in model.assumed[1]


def test_a_hot_spring_is_softer(maker):
    """The card gives a rise in kelvin; read as a temperature it would stiffen the spring."""
    weekend = weekend_of(maker)
    cold = clutch_model(weekend, weekend.state()).clutch
    hot = clutch_model(weekend, weekend.state(), hot=True).clutch
    assert hot.spring_temperature_rise == 60.0
    assert bite_speed(hot) == pytest.approx(
        bite_speed(cold) * math.sqrt(1 - 60 * 0.00026), rel=1e-12
    )


def test_a_rise_in_degrees_is_refused():
    part = {
        "label": "Bell",
        "length": {"value": "20 mm", "from": "measured"},
        "expansion": {"value": "0.0000123 1/K", "from": "maker"},
    }
    assert HotPart.model_validate(part | {"rise": {"value": "80 K", "from": "measured"}}).rise == (
        Figure.model_validate({"value": 80.0, "unit": "K", "from": "measured"})
    )
    with pytest.raises(ValueError, match="kelvin"):
        HotPart.model_validate(part | {"rise": {"value": "80 °C", "from": "measured"}})


def test_the_users_own_pairs_give_pitch_and_bottomed(maker):
    card_fit = nut_fit(weekend_of(maker), weekend_of(maker).card())
    assert (card_fit.pairs, card_fit.pitch) == (0, pytest.approx(0.75e-3))
    pairs = [NutPair(turns_out=t, recess_mm=2.2 - 0.7 * t) for t in (0.0, 1.0, 2.0)]
    maker.add(NutCalibration(happened_at=maker.at, pairs=pairs))
    weekend = weekend_of(maker)
    fit = nut_fit(weekend, weekend.card())
    assert fit.pairs == 3
    assert fit.pitch == pytest.approx(0.7e-3, rel=1e-9)
    assert fit.recess_bottomed == pytest.approx(2.2e-3, rel=1e-9)
    assert clutch_model(weekend, weekend.state()).clutch.recess_bottomed == fit.recess_bottomed


def test_one_pair_keeps_the_cards_pitch(maker):
    pairs = [NutPair(turns_out=1.0, recess_mm=1.3)]
    maker.add(NutCalibration(happened_at=maker.at, pairs=pairs))
    weekend = weekend_of(maker)
    fit = nut_fit(weekend, weekend.card())
    assert fit.pitch == pytest.approx(0.75e-3)
    assert fit.recess_bottomed == pytest.approx(2.05e-3, rel=1e-9)


def test_one_error_of_one_reading_moves_all_that_stand_on_it(maker):
    weekend = weekend_of(maker)
    model = clutch_model(weekend, weekend.state())
    key = f"{model.sources['free_length']}/free_length"
    assert model.moved({key: 1e-5}).free_length == pytest.approx(10.21e-3)
    assert model.moved({"some other/free_length": 1e-5}) is model.clutch
    assert model.doubts["card/clearance"].moves == {"clearance": 1.0}
    assert input_u([model])[key] == model.u["free_length"]


def test_seen_speeds_come_back_from_the_calibrated_model(maker):
    weekend = weekend_of(maker)
    bare = clutch_model(weekend, weekend.state()).clutch
    truth = replace(bare, s_scale=0.92, t_scale=1.07)
    see(maker, "creep", bite_speed(truth) * RPM)
    see(maker, "plateau", take_up_speed(truth, 0.40) * RPM)
    weekend = weekend_of(maker)
    found = observed(weekend, weekend.card())
    assert found.any_bite_known
    assert found.calibration(bare).s.value == pytest.approx(0.92, rel=1e-9)
    assert found.calibration(bare).t.value == pytest.approx(1.07, rel=1e-9)
    assert bite_speed(found.applied_to(bare)) == pytest.approx(bite_speed(truth), rel=1e-9)


def test_a_speed_seen_in_a_heat_belongs_to_that_heats_clutch(maker):
    """Entered after the nut was moved, it must not calibrate the new setting."""
    maker.later(10).heat("P1", "practice")
    maker.later(10).set_recess(1.6)
    see(maker.later(5), "creep", 12000.0, heat="p1")
    see(maker, "creep", 12400.0)
    weekend = weekend_of(maker)
    named, unnamed = sightings(weekend, weekend.card())
    assert named.model.clutch.recess == pytest.approx(1.35e-3)
    assert unnamed.model.clutch.recess == pytest.approx(1.6e-3)


def test_a_speed_that_cannot_be_used_says_why(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    see(maker, "creep", 12000.0)
    weekend = weekend_of(maker)
    (seen,) = sightings(weekend, weekend.card())
    assert "recess" in seen.why_not
    assert not observed(weekend, weekend.card()).any_bite_known


def test_speeds_that_disagree_widen_the_uncertainty(maker):
    for rpm in (11600.0, 12600.0):
        see(maker, "creep", rpm, u_rpm=100.0)
    weekend = weekend_of(maker)
    card = weekend.card()
    found = observed(weekend, card)
    model = clutch_model(weekend, weekend.state())
    assert found.calibration(model.clutch).scatter > 3

    def bite(moved):
        return (bite_speed(found.applied_to(model.moved(moved), moved)) * RPM,)

    (spread,) = propagate(bite, {**found.u, **input_u([model])})
    # Two readings 1000 apart: their mean is no surer than 500, whatever each claims.
    assert spread.u == pytest.approx(500, rel=0.03)


def test_shared_errors_cancel_between_what_was_seen_and_what_follows(maker):
    """On the very clutch it was seen on, a creep speed is the bite: only its own u is left."""
    see(maker, "creep", 12000.0, u_rpm=120.0)
    weekend = weekend_of(maker)
    # Shoes as new to 0.02 mm: far thicker ones would not fit what the model is given beforehand,
    # and that is a doubt of its own.
    card = weekend.card()
    new = card.shoes.thickness_new.model_copy(update={"u": 0.02})
    shoes = card.shoes.model_copy(update={"thickness_new": new})
    weekend = replace(weekend, clutches={card.id: card.model_copy(update={"shoes": shoes})})
    found, model = observed(weekend, weekend.card()), clutch_model(weekend, weekend.state())

    def bite(moved):
        return (bite_speed(found.applied_to(model.moved(moved), moved)) * RPM,)

    (spread,) = propagate(bite, {**found.u, **input_u([model])})
    assert spread.value == pytest.approx(12000.0, rel=1e-9)
    assert spread.u == pytest.approx(120.0, rel=2e-3)


class TestPropagate:
    def test_a_line_is_exact(self):
        (found,) = propagate(
            lambda m: (2 * m.get("a", 0) - 3 * m.get("b", 0) + 1,), {"a": 1, "b": 2}
        )
        assert (found.value, found.u) == (1, pytest.approx(math.hypot(2, 6)))
        assert found.contributions == {"a": pytest.approx(2), "b": pytest.approx(-6)}

    def test_where_one_side_cannot_be_the_other_counts(self):
        def compute(moved):
            if moved.get("worn", 0) < 0:
                raise RangeError("worn", -1, "must not be below zero")
            return (5 + 2 * moved.get("worn", 0), None)

        found, missing = propagate(compute, {"worn": 0.5})
        assert found.u == pytest.approx(1.0)
        assert missing is None

    def test_what_cannot_be_computed_at_all_is_raised(self):
        def compute(_moved):
            raise RangeError("recess", 1, "is too deep")

        with pytest.raises(RangeError):
            propagate(compute, {"a": 1.0})


def test_the_fit_can_be_moved_by_a_seen_speed(maker):
    record = see(maker, "creep", 12000.0)
    weekend = weekend_of(maker)
    seen, curve = sightings(weekend, weekend.card()), engine_curve(weekend.card())
    before = fit_scales(seen, curve).s.value
    after = fit_scales(seen, curve, {f"{record.id}/rpm": 120.0}).s.value
    assert after / before == pytest.approx((12120 / 12000) ** 2, rel=1e-9)


def _curved(weekend, points):
    card = weekend.card(None)
    spring = Spring.model_validate(
        card.spring.model_dump(by_alias=True)
        | {
            "curve": [
                {
                    "length": {"value": f"{length} mm", "from": "measured", "u": "0.01 mm"},
                    "force": {"value": force, "from": "measured"} | ({"u": u} if u else {}),
                }
                for length, force, u in points
            ]
        }
    )
    return replace(weekend, clutches={card.id: card.model_copy(update={"spring": spring})})


def test_a_spring_squeezed_on_a_scale_goes_by_its_own_curve(maker):
    weekend = weekend_of(maker)
    plain = clutch_model(weekend, weekend.state())
    k = plain.clutch.spring_rate
    grams = [(9.1, k * 1.1e-3 / 9.80665e-3), (8.3, 1.2 * k * 1.9e-3 / 9.80665e-3)]
    points = [(length, f"{force:.1f} g", "60 g") for length, force in grams]
    curved = clutch_model(_curved(weekend, points), weekend.state())
    assert curved.clutch.spring_rate == pytest.approx(k, rel=1e-4)
    # 87 % of the way to solid the scale said a fifth more than one rate.
    assert curved.clutch.curve.at(1.9 / 2.2) * 2.2 / 1.9 == pytest.approx(1.2, rel=1e-3)
    assert bite_speed(replace(curved.clutch, recess=1.55e-3)) > 1.01 * bite_speed(
        replace(plain.clutch, recess=1.55e-3)
    )
    assert 0 < curved.u["spring_rate"] < plain.u["spring_rate"]
    (length,) = (d.u for key, d in curved.doubts.items() if key.endswith("curve length"))
    assert length == pytest.approx(0.01e-3)
    assert curved.u["curve_shift"] > 2 * length  # between two squeezes its shape is a guess
    unstated = clutch_model(_curved(weekend, [(*p[:2], "") for p in points]), weekend.state())
    assert unstated.u["spring_rate"] > curved.u["spring_rate"]
    with pytest.raises(RangeError, match="falls from"):
        clutch_model(_curved(weekend, [points[0], (8.3, "1000 g", "")]), weekend.state())


def test_a_kind_with_figures_of_its_own_does_not_go_by_anothers_curve(maker):
    weekend = _curved(weekend_of(maker), [(9.1, "33 N", "0.3 N"), (8.3, "70 N", "0.5 N")])
    (card,) = weekend.clutches.values()
    assert fitted(weekend, card, weekend.state()).spring.curve
    own = SpringKind(wire_diameter=card.spring.wire_diameter)
    card = card.model_copy(update={"spring_kind": {"1.6 x 9.0": own}})
    assert not fitted(weekend, card, weekend.state()).spring.curve
