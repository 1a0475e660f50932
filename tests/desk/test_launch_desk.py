"""Launch, gears and torque figures at the desk."""

from __future__ import annotations

import math

import pytest
from factory import WeekendMaker

from pitwright.desk.bite.bite import prepare
from pitwright.desk.bite.launch import launch_desk, launch_lines
from pitwright.desk.clutch.gears import gear_desk, gear_lines
from pitwright.desk.clutch.observed import observation_record
from pitwright.desk.clutch.torques import torque_desk, torque_lines
from pitwright.mechanics.threads import CAUTION

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


def edit(maker, old, new):
    card = maker.folder / "clutch.toml"
    text = card.read_text()
    assert old in text
    card.write_text(text.replace(old, new))


def launched(maker, **more):
    return launch_desk(prepare(weekend_of(maker)), **more)


class TestLaunch:
    def test_both_launches(self, maker):
        found = launched(maker)
        assert found.full.wheelspin
        assert found.held.wheelspin is False
        assert found.held.peak_torque_nm == pytest.approx(found.grip_torque_nm, rel=1e-6)
        assert found.held.slip_energy_j < found.full.slip_energy_j
        assert found.held.time_s > found.full.time_s

    def test_grip_by_hand(self, maker):
        """1.2 x 3.4 kg x 9.80665 x 50 mm over 46/17 x 2.7."""
        drive = 46 / 17 * 2.7
        found = launched(maker)
        assert found.final_drive == pytest.approx(drive)
        assert found.grip_torque_nm == pytest.approx(1.2 * 3.4 * 9.80665 * 0.05 / drive)

    def test_energy_by_hand(self, maker):
        """At a constant plateau torque half the work of the slip ends as heat: J w^2 / 2."""
        found = launched(maker).held
        inertia = 3.4 * (0.05 / (46 / 17 * 2.7)) ** 2
        assert found.slip_energy_j == pytest.approx(
            inertia * (found.lock_rpm / RPM) ** 2 / 2, rel=0.1
        )

    def test_temperatures_are_of_one_launch_and_say_so(self, maker):
        found = launched(maker)
        # Steel takes 95 % of it against a polymer, into 22 g at 486 J/(kg K).
        assert found.full.bell_rise_k == pytest.approx(
            found.full.slip_energy_j * 0.952 / (0.022 * 486), rel=1e-3
        )
        text = "\n".join(launch_lines(found))
        assert "in this one launch, no heat lost" in text
        assert "burns" in text

    def test_without_both_speeds_seen_it_is_for_comparing(self, maker):
        assert not launched(maker).calibrated
        assert any("comparing only" in line for line in launch_lines(launched(maker)))
        for how, rpm in (("creep", 12200), ("plateau", 18600)):
            maker.add(observation_record(how, rpm, now=maker.at, clutch="A"))
        assert launched(maker).calibrated
        assert launched(maker).full.plateau_rpm == pytest.approx(18600, rel=1e-6)

    def test_opened_from_above_the_plateau_it_dips(self, maker):
        assert not launched(maker).full.dips
        assert launched(maker, start_rpm=24000.0).full.dips

    def test_what_the_card_lacks_is_named(self, maker):
        edit(maker, 'grip = { value = 1.2, from = "invented" }\n', "")
        found = launched(maker)
        assert found.full is not None
        assert found.held is None
        assert "grip" in found.held_refused

    def test_nothing_known(self, tmp_path):
        found = launched(WeekendMaker(tmp_path / "w"))
        assert "recess" in found.unknown
        assert "cannot say" in launch_lines(found)[0]


class TestGears:
    def test_by_hand(self, maker):
        found = gear_desk(weekend_of(maker), bite_rpm=12000.0)
        first, second = found.pairs
        assert first.final_drive == pytest.approx(46 / 17 * 2.7)
        assert second.final_drive == pytest.approx(42 / 21 * 2.7)
        assert first.centre_distance_mm == pytest.approx(31.5)
        assert found.shift_per_tooth_mm == pytest.approx(0.5)
        kmh = 12000 / 60 * math.pi * 0.1 / (46 / 17 * 2.7) * 3.6
        assert found.speeds[0].kmh[0] == pytest.approx(kmh)
        # 2 x 0.1 mm x tan 20 (any gear text, recalled).
        assert found.backlash_per_tenth_mm == pytest.approx(0.0728, abs=5e-5)

    def test_the_last_heats_gears_count(self, maker):
        maker.later(5).heat("P1", "practice", pinion_teeth=[18, 22], spur_teeth=[45, 41])
        first = gear_desk(weekend_of(maker)).pairs[0]
        assert (first.pinion, first.spur) == (18, 45)
        assert gear_desk(weekend_of(maker), pinion=16).pairs[0].pinion == 16

    def test_both_pinions_share_one_engine_position(self, maker):
        """17/46 and 21/42 both add up to 63; one tooth more in first alone does not fit."""
        found = gear_desk(weekend_of(maker))
        assert found.agree
        assert found.apart_mm == pytest.approx(0.0)
        taller = gear_desk(weekend_of(maker), pinion=18)
        assert taller.agree is False
        assert taller.apart_mm == pytest.approx(0.5)
        # 2 x 0.5 mm x tan 20, far more than the 0.10 mm between too tight and too loose.
        assert taller.backlash_apart_mm == pytest.approx(2 * 0.5 * math.tan(math.radians(20)))
        assert taller.moves_mm == pytest.approx(0.5)
        assert set(taller.fits) == {
            "18/45 in first", "17/46 in first", "22/42 in second", "21/43 in second",
        }  # fmt: skip
        assert any("NO: centres differ by 0.50 mm" in line for line in gear_lines(taller))
        for fits in ({"spur": 45}, {"second_pinion": 22}, {"second_spur": 43}):
            assert gear_desk(weekend_of(maker), pinion=18, **fits).agree
        assert gear_desk(weekend_of(maker), pinion=18, spur=45).moves_mm == 0.0
        assert all(len(line) <= 79 for line in gear_lines(taller))

    def test_a_wider_mesh_lets_a_finer_gear_pass(self, maker):
        edit(maker, 'module = { value = "1.0 mm"', 'module = { value = "0.2 mm"')
        assert gear_desk(weekend_of(maker), pinion=18).agree  # 0.07 mm of backlash
        edit(maker, 'high = { value = "0.15 mm", from = "from memory" }',
             'high = { value = "0.10 mm", from = "from memory" }')  # fmt: skip
        assert not gear_desk(weekend_of(maker), pinion=18).agree

    def test_the_shift_against_lock_up(self, maker):
        """42/21 over 46/17 is 0.739: with lock-up at 18 900 it slips again below 25 600."""
        found = gear_desk(weekend_of(maker), lock_up_rpm=18_920.0)
        assert found.shift.ratio == pytest.approx(0.739, abs=5e-4)
        assert found.shift.slips_below_rpm == pytest.approx(25_600, abs=50)
        told = "\n".join(gear_lines(found))
        assert "0.739 of its speed" in told
        assert "below 25 600 rpm the clutch slips again" in told
        assert gear_desk(weekend_of(maker)).shift.slips_below_rpm is None

    def test_worn_tyres_take_road_speed(self, maker):
        new, worn = (
            gear_desk(weekend_of(maker), tyre_mm=tyre, bite_rpm=12_000.0) for tyre in (None, 96.0)
        )
        for before, after in zip(new.speeds[0].kmh, worn.speeds[0].kmh, strict=True):
            assert after / before == pytest.approx(0.96)
        assert new.per_tyre_mm_percent == pytest.approx(1.0)

    def test_one_speed_has_no_shift(self, maker):
        edit(maker, "second_pinion_teeth = 21\nsecond_spur_teeth = 42\n", "")
        found = gear_desk(weekend_of(maker), pinion=18, lock_up_rpm=18_900.0)
        assert (found.shift, found.agree, len(found.pairs)) == (None, None, 1)
        assert "second speed" in gear_desk(weekend_of(maker), second_pinion=22).unknown

    def test_the_second_speed_of_the_last_heat_counts(self, maker):
        maker.later(5).heat("P1", "practice", pinion_teeth=[18, 22], spur_teeth=[45, 41])
        assert gear_desk(weekend_of(maker)).pairs[1].spur == 41
        assert gear_desk(weekend_of(maker)).agree

    def test_teeth_that_are_none_are_refused(self, maker):
        assert "pinion" in gear_desk(weekend_of(maker), pinion=2).unknown
        assert "Gears:" in gear_lines(gear_desk(weekend_of(maker), pinion=2))[0]


class TestTorques:
    def test_the_caution_always_stands(self, maker):
        assert CAUTION in "\n".join(torque_lines(torque_desk(weekend_of(maker).card())))

    def test_window_by_hand(self, maker):
        """M3 12.9, proof load 4880 N (ISO 898-1), K 0.2: 60 to 75 % is 1.757 to 2.196 N m."""
        with (maker.folder / "clutch.toml").open("a") as card:
            card.write(
                '\n[torques]\nscrew = { value = "2.0 N m", from = "maker", note = "M3 12.9" }\n'
                'bolt = { value = "3.0 N m", from = "maker", note = "M3, 12.9" }\n'
                'nut = { value = "8 N m", from = "maker" }\n'
            )
        screw, bolt, nut = torque_desk(weekend_of(maker).card())
        assert (screw.low, screw.high) == (pytest.approx(1.7568), pytest.approx(2.196))
        assert screw.word == "within the window"
        assert screw.clamp_load == pytest.approx(2.0 / (0.2 * 0.003))
        assert "stretch" in bolt.word
        assert nut.low is None
        text = "\n".join(torque_lines((screw, bolt, nut)))
        assert CAUTION in text
        assert "8.00 N m (maker)" in text
        assert "nut factor of 0.2" in text, "what the windows assume is shown"
        assert (screw.nut_factor, nut.nut_factor) == (0.2, None)
        assert "nut factor" not in "\n".join(torque_lines((nut,)))

    @pytest.mark.parametrize(
        ("note", "word"),
        [
            # By hand: half of 1/12 is 0.042, of 1/8 0.063, of 7/24 0.146; friction 0.05 and 0.10.
            ("M6 8.8, taper 1:12", "holds by itself once pressed home"),
            ("Taper 1 : 8", "holds by itself clean and dry, not with oil on it"),
            ("taper 1:3.43", "does not hold by itself: the nut alone holds it"),
        ],
    )
    def test_the_taper_under_the_flywheel_nut(self, maker, note, word):
        with (maker.folder / "clutch.toml").open("a") as card:
            card.write(
                f'\n[torques]\nflywheel = {{ value = "9 N m", from = "maker", note = "{note}" }}\n'
            )
        (nut,) = torque_desk(weekend_of(maker).card())
        assert nut.taper_word == word
        lines = torque_lines((nut,))
        assert any(word in line for line in lines)
        assert "rub at 0.1 clean and dry" in lines[-1]

    def test_a_note_without_a_taper_says_nothing_of_one(self, maker):
        with (maker.folder / "clutch.toml").open("a") as card:
            card.write(
                '\n[torques]\nnut = { value = "9 N m", from = "maker", note = "taper 1:0" }\n'
            )
        (nut,) = torque_desk(weekend_of(maker).card())
        assert (nut.taper, nut.taper_word) == (None, "")
        assert "taper" not in "\n".join(torque_lines((nut,))).lower()
