"""Corner heat, fade and the price of wear at the desk, on invented weekends."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from factory import WeekendMaker, local

from pitwright.desk.bite.bite import prepare
from pitwright.desk.bite.launch import launch_desk
from pitwright.desk.clutch.observed import observation_record
from pitwright.desk.warmth.course import CONDUCTANCE, FADE
from pitwright.desk.warmth.gather import warmth_inputs
from pitwright.desk.warmth.gun import bell_trouble, gun_record, read_bell
from pitwright.desk.warmth.warmth import late_minute, warmth_desk
from pitwright.desk.warmth.words import late_rows, warmth_lines
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.weekend.records import BellTemperature, Conditions

RPM = 30 / math.pi
NOW = local(1, "18:00")

TRACK = """
[track]
lap = { value = "18 s", from = "measured" }

[[track.corner]]
label = "Hairpin"
a_lap = 2
speed = { value = "25 km/h", from = "measured", u = "2 km/h" }

[[track.corner]]
label = "Chicane"
a_lap = 2
speed = { value = "30 km/h", from = "from memory" }
"""


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    with (made.folder / "weekend.toml").open("a") as card:
        card.write(TRACK)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    made.check(free_length=10.2, shoe_thickness=5.0)
    made.set_recess(1.35)
    return made


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


def edit(maker, old, new, card="clutch.toml"):
    path = maker.folder / card
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def warm(maker, **more):
    return warmth_desk(prepare(weekend_of(maker)), NOW, **more)


class TestCornerHeat:
    def test_by_hand(self, maker):
        """Half J times the slip squared, J the car at the clutch: 3.4 kg, 100 mm, 46/17 x 2.7."""
        found = warm(maker)
        prepared = prepare(weekend_of(maker))
        lock = lock_up_speed(prepared.now.clutch, prepared.engine)
        drive, radius = 46 / 17 * 2.7, 0.05
        inertia = 3.4 * (radius / drive) ** 2
        for corner, kmh in zip(found.corners, (25, 30), strict=True):
            slip = lock - kmh / 3.6 / radius * drive
            assert corner.joules == pytest.approx(inertia * slip**2 / 2, rel=1e-9)
        assert found.lap_joules == pytest.approx(2 * sum(c.joules for c in found.corners))

    def test_a_heat_of_corners_is_sixty_launches(self, maker):
        """Of four slow corners a lap and 18 s laps: twenty minutes heat as sixty launches do.

        And one launch of the formula is what the launch itself gives, some of the engine's
        run-up apart.
        """
        found = warm(maker)
        assert 50 < found.heat_joules / found.launch_joules < 75
        launched = launch_desk(prepare(weekend_of(maker))).full
        assert found.launch_joules == pytest.approx(launched.slip_energy_j, rel=0.1)

    def test_a_fast_corner_costs_nothing(self, maker):
        edit(maker, "25 km/h", "60 km/h", "weekend.toml")
        edit(maker, "30 km/h", "55 km/h", "weekend.toml")
        found = warm(maker)
        assert [c.joules for c in found.corners] == [0.0, 0.0]
        late = found.at[-1]
        assert late.bell_c == pytest.approx(found.air_c)
        assert any("slow enough" in line for line in warmth_lines(found))

    def test_what_is_missing_is_named(self, tmp_path):
        bare = WeekendMaker(tmp_path / "bare")
        bare.fit("spring", "S1")
        bare.check(free_length=10.2)
        bare.set_recess(1.35)
        found = warmth_desk(prepare(weekend_of(bare)), NOW)
        assert "track.corner" in found.unknown
        assert late_minute(prepare(weekend_of(bare)), NOW) is None
        assert late_rows(None) == []


class TestHeatSplit:
    def test_a_shoe_that_a_knife_cuts_leaves_the_bell_95_in_a_hundred(self, maker):
        assert warm(maker).bell_share == pytest.approx(0.95, abs=0.005)
        launched = launch_desk(prepare(weekend_of(maker)))
        share = warm(maker).bell_share
        assert launched.full.bell_rise_k == pytest.approx(
            launched.full.slip_energy_j * share / (0.022 * 486), rel=1e-9
        )

    def test_a_shoe_of_aluminium_takes_more_than_half(self, maker):
        edit(maker, 'material = "polymer"', 'material = "aluminium"')
        assert warm(maker).bell_share < 0.5

    def test_an_unknown_material_is_refused(self, maker):
        from pitwright.store.session import CannotOpenError

        edit(maker, 'material = "polymer"', 'material = "cheese"')
        with pytest.raises(CannotOpenError, match="material"):
            weekend_of(maker)


class TestFade:
    def test_minute_20_by_the_closed_form(self, maker):
        found = warm(maker, air_c=22.0)
        late = next(a for a in found.at if a.minute == 20)
        power = found.bell_share * found.lap_joules / 18
        steady = 22 + power / found.loss_w_k
        left = math.exp(-20 * 60 * found.loss_w_k / (0.022 * 486))
        assert late.bell_c == pytest.approx(steady + (22 - steady) * left, rel=1e-9)
        scale = 1 - 0.0008 * (late.bell_c - 60)
        assert late.friction_percent == pytest.approx((scale - 1) * 100, abs=1e-6)

    def test_less_friction_locks_up_later_and_a_warm_spring_bites_lower(self, maker):
        late = warm(maker).at[-1]
        assert late.friction_percent < 0 < late.lock_up_change_rpm
        assert late.bite_change_rpm < 0
        prepared = prepare(weekend_of(maker))
        hot = replace(
            prepared.now.clutch,
            bell_friction=0.3 * (1 + late.friction_percent / 100),
            spring_temperature_rise=60.0,
        )
        by_hand = lock_up_speed(hot, prepared.engine) * RPM
        assert late.lock_up_rpm == pytest.approx(by_hand, abs=3)

    def test_a_card_that_says_less_is_surer_of_nothing(self, maker):
        known = warm(maker).at[-1]
        edit(maker, ', u = "0.0006 1/K"', "")
        vague = warm(maker).at[-1]
        assert vague.u_friction_percent > known.u_friction_percent
        lines = (maker.folder / "clutch.toml").read_text().splitlines()
        kept = [line for line in lines if not line.startswith("friction_per_kelvin")]
        (maker.folder / "clutch.toml").write_text("\n".join(kept))
        silent = warm(maker)
        assert silent.at[-1].u_friction_percent >= vague.u_friction_percent - 1e-9
        assert any("or none" in each for each in silent.assumed)

    def test_a_figure_without_its_u_is_no_surer(self, maker):
        sure = warm(maker).at[-1]
        edit(maker, ', u = "2 km/h"', "", "weekend.toml")
        edit(maker, 'value = "25 km/h", from = "measured"', 'value = "25 km/h", from = "invented"',
             "weekend.toml")  # fmt: skip
        assert warm(maker).at[-1].u_bell_k > sure.u_bell_k

    def test_the_rows_fit_the_bite_screen(self, maker):
        rows = late_rows(late_minute(prepare(weekend_of(maker)), NOW))
        assert rows[0].startswith("Minute 20 of a main: bell ")
        assert all(len(row) <= 42 for row in rows)


class TestGun:
    def heat_with_readings(self, maker, truth_w_k, *after):
        """A heat at 20 degrees, its bell read as a loss of ``truth_w_k`` would have it."""
        run = maker.heat("P1", "practice", 10, conditions=Conditions(air_c=20.0))
        inputs, _ = warmth_inputs(
            weekend_of(maker), weekend_of(maker).card(), prepare(weekend_of(maker)).scales
        )
        prepared = prepare(weekend_of(maker))
        power = inputs.bell_share * inputs.lap_energy(inputs.take_up(prepared.now.clutch)) / 18
        rise = power / truth_w_k
        end = maker.at
        for minutes in after:
            bell = 20 + rise * math.exp(-minutes / 4)
            maker.at = end
            maker.later(minutes)
            maker.add(BellTemperature(happened_at=maker.at, bell_c=round(bell), u_k=2, heat="P1"))
        return run

    def test_readings_find_the_loss_and_narrow_it(self, maker):
        before = warm(maker)
        self.heat_with_readings(maker, 0.2, 1, 3, 6)
        after = warm(maker)
        assert after.loss_w_k == pytest.approx(0.2, rel=0.08)
        assert after.u_loss < 0.4 * before.u_loss
        assert after.cools_in_minutes == pytest.approx(4, rel=0.25)
        assert after.at[-1].u_bell_k < before.at[-1].u_bell_k
        assert any("by 3 gun readings" in line for line in warmth_lines(after))

    def test_what_was_read_is_met_whatever_the_corners_were_taken_for(self, maker):
        """Readings know power over loss: corner speeds that are off move both together."""
        self.heat_with_readings(maker, 0.2, 1, 3, 6)
        weekend = weekend_of(maker)
        prepared = prepare(weekend)
        inputs, _ = warmth_inputs(weekend, weekend.card(), prepared.scales)
        take_up = inputs.take_up(prepared.now.clutch)
        plain = inputs.course(take_up).steady_c
        slow = inputs.course(take_up, {"track/speeds": -0.2}).steady_c
        alone = replace(inputs, readings_weigh=0.0).course(take_up, {"track/speeds": -0.2}).steady_c
        assert abs(slow - plain) < 0.35 * abs(alone - plain)
        assert inputs.u[CONDUCTANCE] == pytest.approx(inputs.cooling.u_log_conductance)

    def test_a_reading_that_tells_nothing_says_why(self, maker):
        maker.heat("P1", "practice", 10, conditions=Conditions(air_c=20.0))
        maker.later(2).add(BellTemperature(happened_at=maker.at, bell_c=22))
        maker.later(60).add(BellTemperature(happened_at=maker.at, bell_c=90))
        cool, late = warm(maker).gunned
        assert "as cool as the air" in cool.why_not
        assert "within 30 min" in late.why_not

    def test_typed_as_a_mechanic_types(self, maker):
        assert read_bell("96,5") == 96.5
        assert read_bell("205 degF") == pytest.approx(96.1, abs=0.05)
        assert not bell_trouble("96")
        assert "350" in bell_trouble("960")
        assert "96" in bell_trouble("hot")
        maker.heat("P1", "practice", 10)
        record = gun_record(weekend_of(maker), 96.0, now=maker.at, heat="p1", ago_minutes=2)
        assert record.heat == "P1"
        assert (maker.at - record.happened_at).total_seconds() == 120


class TestPrice:
    def worn(self, maker, um_per_kj):
        """Shoes that lose so much per kilojoule of slip heat over four heats."""
        prepared = prepare(weekend_of(maker))
        inputs, _ = warmth_inputs(weekend_of(maker), prepared.card, prepared.scales)
        for name in ("P1", "P2", "P3", "P4"):
            lap = inputs.lap_energy(inputs.take_up(prepare(weekend_of(maker)).now.clutch))
            maker.heat(name, "practice", 12)
            before = weekend_of(maker).state().figure("shoe_thickness").value_mm
            lost = um_per_kj * lap / 18 * 12 * 60 / 1000 / 1000
            maker.later(20).check(shoe_thickness=round(before - lost, 4))

    def test_wear_per_kilojoule_is_found_from_the_log(self, maker):
        self.worn(maker, 4.0)
        found = warm(maker)
        assert found.shoes.um_per_kj == pytest.approx(4.0, rel=0.05)
        assert found.shoes.readings == 5

    def test_a_tooth_has_a_price_in_shoe_life(self, maker):
        self.worn(maker, 4.0)
        found = warm(maker)
        prices = {p.change: p for p in found.prices}
        taller, shorter = prices["One tooth taller, 18/46"], prices["One tooth shorter, 16/46"]
        # By hand: the heat of a lap and a launch's share, in the old gears and the new.
        prepared = prepare(weekend_of(maker))
        lock = lock_up_speed(prepared.now.clutch, prepared.engine)

        def per_minute(teeth):
            drive, radius = 46 / teeth * 2.7, 0.05
            inertia = 3.4 * (radius / drive) ** 2
            laps = sum(
                2 * inertia * (lock - kmh / 3.6 / radius * drive) ** 2 / 2 for kmh in (25, 30)
            )
            return laps * 60 / 18 + inertia * lock**2 / 2 / 20

        ratio = per_minute(18) / per_minute(17)
        assert taller.faster_percent == pytest.approx((ratio - 1) * 100, rel=1e-6)
        assert shorter.faster_percent < 0 < taller.faster_percent
        assert 0 < taller.u_faster_percent < taller.faster_percent
        assert taller.minutes_less > 0 > shorter.minutes_less
        assert taller.u_minutes_less > 0
        more, less = prices["0.1 mm more recess"], prices["0.1 mm less recess"]
        assert more.faster_percent > 0 > less.faster_percent
        told = [line.strip() for line in warmth_lines(found)]
        assert any(t.startswith("shoes wear") and t.endswith("minutes less") for t in told)

    def test_without_readings_the_life_is_not_claimed(self, maker):
        price = warm(maker).prices[0]
        assert price.minutes_less is None
        assert any("not known yet" in line for line in warmth_lines(warm(maker)))


def test_a_calibrated_clutch_says_so(maker):
    assert not warm(maker).calibrated
    for how, rpm in (("creep", 12_500.0), ("plateau", 19_000.0)):
        maker.later(1).add(observation_record(how, rpm, now=maker.at, clutch="A"))
    assert warm(maker).calibrated


class TestKinds:
    def test_the_heat_split_goes_by_the_material_of_the_shoes_fitted(self, maker):
        """By effusivity: two alike share half and half, a polymer leaves nearly all to the bell."""
        assert warm(maker).bell_share > 0.9
        edit(maker, 'kind = "standard"', 'kind = "plain steel"', card="stock.toml")
        with (maker.folder / "clutch.toml").open("a") as card:
            card.write('\n[shoes_kind."plain steel"]\nmaterial = "steel"\n')
        assert warm(maker).bell_share == pytest.approx(0.5)

    def test_a_kind_has_a_fade_of_its_own(self, maker):
        edit(maker, 'kind = "standard"', 'kind = "soft"', card="stock.toml")
        with (maker.folder / "clutch.toml").open("a") as card:
            card.write(
                '\n[shoes_kind."soft"]\n'
                'friction_per_kelvin = { value = "-0.002 1/K", from = "invented" }\n'
            )
        prepared = prepare(weekend_of(maker))
        inputs, _ = warmth_inputs(prepared.weekend, prepared.card, prepared.scales)
        assert inputs.friction_per_kelvin == -0.002
        # it states no doubt: half of an invented figure, and never below what no figure at all has
        assert inputs.u[FADE] == pytest.approx(0.001)
