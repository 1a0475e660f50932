"""What changed between two states, and from record to record."""

from __future__ import annotations

from pathlib import Path

import pytest
from factory import WeekendMaker, local

from pitwright.desk.heats.changes import differences, turn_words
from pitwright.desk.heats.corrected import corrected_words
from pitwright.desk.heats.corrections import corrected
from pitwright.desk.heats.happenings import Happening, happenings
from pitwright.desk.heats.heat_detail import heat_detail
from pitwright.desk.heats.timeline import timeline
from pitwright.desk.sizes import shims_words
from pitwright.weekend.places import PART_PLACES
from pitwright.weekend.records import HeatRun, NoteRecord, Setting
from pitwright.weekend.weekend import Weekend


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("end play shims", shims_mm=[0.1, 0.05])
    made.set_recess(1.35)
    made.check(free_length=10.2, shoe_thickness=5.0)
    return made


def weekend_of(maker: WeekendMaker) -> Weekend:
    with maker.session() as session:
        assert session.problems == ()
        return session.weekend


def told(maker: WeekendMaker) -> list[Happening]:
    return list(happenings(weekend_of(maker)))


def test_a_state_does_not_differ_from_itself(maker: WeekendMaker) -> None:
    weekend = weekend_of(maker)
    assert differences(weekend.card(), weekend.state(), weekend.state()) == ()


def test_recess_shims_and_wear_are_differences_with_their_size(maker: WeekendMaker) -> None:
    before = weekend_of(maker).state()
    maker.later(10).set_recess(1.40)
    maker.fit("end play shims", shims_mm=[0.1, 0.1])
    maker.check(free_length=10.12)
    weekend = weekend_of(maker)
    found = {d.about: d for d in differences(weekend.card(), before, weekend.state())}
    assert set(found) == {"recess", "end play shims", "free_length"}
    assert found["recess"].text == "Nut recess: 1.35 mm → 1.40 mm (+0.05 mm)"
    assert found["end play shims"].change_mm == pytest.approx(0.05)
    assert found["free_length"].change_mm == pytest.approx(-0.08)


def test_a_change_too_small_to_be_shown_is_none(maker: WeekendMaker) -> None:
    """1.352 after 1.348 is 1.35 after 1.35 on every screen: 'changed by 0.00' tells nobody."""
    maker.check(recess=1.348)
    before = weekend_of(maker).state()
    maker.later(10).check(recess=1.352)
    weekend = weekend_of(maker)
    assert differences(weekend.card(), before, weekend.state()) == ()


def test_another_spring_is_one_difference_and_no_change_of_length(maker: WeekendMaker) -> None:
    before = weekend_of(maker).state()
    maker.later(5).fit("spring", "S2", removed="S1")
    maker.check(free_length=10.0)
    weekend = weekend_of(maker)
    found = differences(weekend.card(), before, weekend.state())
    assert [(d.about, d.before, d.after) for d in found] == [("spring", "Spring 1", "Spring 2")]


def test_a_stack_in_another_order_is_the_same_stack(maker: WeekendMaker) -> None:
    before = weekend_of(maker).state()
    maker.later(5).fit("end play shims", shims_mm=[0.05, 0.1])
    weekend = weekend_of(maker)
    assert differences(weekend.card(), before, weekend.state()) == ()


def test_what_nobody_knew_is_not_known_and_never_zero(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w")
    before = weekend_of(maker).state()
    maker.set_recess(1.3)
    weekend = weekend_of(maker)
    (found,) = differences(weekend.card(), before, weekend.state())
    assert (found.before, found.after, found.change_mm) == ("not known", "1.30 mm", None)


def test_happenings_say_what_was_done(maker: WeekendMaker) -> None:
    maker.later(30).set_recess(1.45, turns_in=0.133)
    maker.later(1).fit("spring", "S2", removed="S1", fate="discarded", reason="under the limit")
    maker.later(1).fit("end play shims", shims_mm=[0.2])
    maker.later(1).check("out", free_length=9.78)
    maker.later(1).note("Bearing rough", about="P1", open_point=True)
    maker.later(1).delay("P1", 15)
    maker.later(20).build("spring change", 14)
    texts = [h.text for h in told(maker)][-7:]
    assert texts == [
        "Recess set to 1.45 mm, 0.10 mm deeper, 0.13 turn in",
        "Spring: Spring 2 fitted, Spring 1 discarded: under the limit",
        "End play shims 0.20 mm, +0.05 mm",
        "Spring free length 9.78 mm is out (limit 9.80 mm)",
        "To be seen to (P1): Bearing rough",
        "P1 and later delayed by 15 min",
        "Spring change finished, 14 min",
    ]


def test_readings_in_order_are_quiet_and_one_out_speaks(maker: WeekendMaker) -> None:
    maker.later(1).check("out", free_length=9.7)
    readings = [h for h in told(maker) if h.sort == "reading"]
    assert [(h.word, h.quiet) for h in readings] == [("", True), ("out", False)]


def test_a_good_reading_after_one_that_was_out_is_told(maker: WeekendMaker) -> None:
    maker.later(1).check("out", gear_mesh=0.30)
    maker.later(5).check("good", gear_mesh=0.10, shoe_thickness=5.0)
    maker.later(5).check("good", gear_mesh=0.10)
    found = [(h.text, h.word) for h in told(maker) if h.sort == "reading" and not h.quiet]
    assert found == [
        ("Gear mesh backlash 0.30 mm is out", "out"),
        ("Gear mesh backlash 0.10 mm is good, was 0.30 mm and out", "good"),
    ]


def test_only_the_same_springs_reading_answers_one_that_was_out(maker: WeekendMaker) -> None:
    maker.later(1).check("out", free_length=9.78)
    maker.later(1).fit("spring", "S2", removed="S1")
    maker.later(1).check("good", free_length=10.2)
    maker.later(1).fit("spring", "S1", removed="S2")
    maker.later(1).check("too close to call", free_length=9.81)
    found = [h.text for h in told(maker) if h.sort == "reading" and not h.quiet]
    assert found == [
        "Spring free length 9.78 mm is out (limit 9.80 mm)",
        "Spring free length 9.81 mm is too close to call (limit 9.80 mm), was 9.78 mm and out",
    ]


def test_a_build_stands_where_it_was_finished(maker: WeekendMaker) -> None:
    maker.later(30).set_recess(1.5)
    maker.later(5).build("recess only", 20)
    assert [h.sort for h in told(maker)][-2:] == ["setting", "build"]


def test_a_correction_and_a_taking_back_stay_visible(maker: WeekendMaker) -> None:
    setting = maker.later(5).set_recess(1.9)
    maker.later(1).correct(setting, "read from the wrong scale", recess_mm=1.4)
    note = maker.later(1).note("Wrong car")
    maker.later(1).correct(note, "not ours")
    found = {h.text: h for h in told(maker)}
    shown = found["Recess set to 1.40 mm, 0.05 mm deeper"]
    assert shown.corrected == "corrected: read from the wrong scale"
    gone = found["Note: Wrong car"]
    assert (gone.sort, gone.corrected, gone.record) == ("gone", "taken back: not ours", note.id)
    assert not gone.quiet


def test_a_second_correction_gives_its_own_reason(maker: WeekendMaker) -> None:
    setting = maker.later(5).set_recess(1.9)
    first = maker.later(1).correct(setting, "first", recess_mm=1.8)
    assert first.replacement is not None
    from pitwright.weekend.records import Correction, Setting

    maker.later(1).add(
        Correction(
            happened_at=maker.at,
            replaces=first.id,
            reason="second",
            replacement=Setting(happened_at=setting.happened_at, recess_mm=1.45),
        )
    )
    settings = [h for h in told(maker) if h.sort == "setting"]
    assert settings[-1].corrected == "corrected: second"
    assert "1.45" in settings[-1].text


def test_words_for_shims_and_turns() -> None:
    assert shims_words([]) == "no shims"
    assert shims_words([0.05, 0.1]) == "0.10 + 0.05 = 0.15 mm"
    assert turn_words(0.133) == "0.13 turn in"
    assert turn_words(-1.5) == "1.50 turns out"
    assert turn_words(0.001) == "no turn"


def test_every_place_a_part_can_be_at_is_compared(maker: WeekendMaker) -> None:
    before = weekend_of(maker).state()
    parts = {"spring": "S2", "shoes": "H2", "bell": "B1", "pinion": "P17", "bearings": "R1"}
    maker.later(1)
    for place in PART_PLACES:
        maker.fit(place, parts[place])
    weekend = weekend_of(maker)
    found = differences(weekend.card(), before, weekend.state())
    assert {d.about for d in found} == set(PART_PLACES)
    assert local(0, "8:00") < maker.at


def test_a_change_is_told_from_the_reading_that_stands_nowhere_else(maker: WeekendMaker) -> None:
    maker.later(5).check(recess=1.5)
    maker.go(0, "14:05").check(recess=1.52)
    maker.later(10).set_recess(1.35)
    maker.later(10).set_recess(1.4)
    assert [h.text for h in told(maker) if h.sort == "setting"][-2:] == [
        "Recess set to 1.35 mm from 1.52 as read 14:05, 0.17 mm shallower",
        "Recess set to 1.40 mm, 0.05 mm deeper",
    ]
    maker.check(recess=1.41)
    maker.go(1, "9:00").set_recess(1.5)
    assert "from 1.41 as read Fri 14:25, 0.09 mm deeper" in told(maker)[-1].text


def test_what_is_taken_back_stays_where_it_was(maker: WeekendMaker) -> None:
    maker.later(30).set_recess(1.5)
    build = maker.later(5).build("recess only", 20)
    first = maker.note("One")
    maker.note("Two")
    before = [h.record for h in told(maker)]
    for record in (build, first):
        maker.later(1).correct(record, "slip")
        assert [h.record for h in told(maker)] == before
    gone = [h for h in told(maker) if h.sort == "gone"]
    assert [h.record for h in gone] == [build.id, first.id]


def test_a_correction_without_a_reason_says_what_was_changed(maker: WeekendMaker) -> None:
    def words(record: HeatRun | NoteRecord | Setting, **changes: object) -> str:
        new = record.model_copy(update=changes)
        maker.add(corrected(record, new, " ", maker.at))
        weekend = weekend_of(maker)
        (found,) = [r for r in weekend.log.replaced if r.record.id == record.id]
        return corrected_words(weekend, found)

    assert words(maker.set_recess(1.9), recess_mm=1.4) == "corrected: recess 1.9 mm → 1.4 mm"
    heat = maker.heat("Q1", "qualifier", 80, engine_c=105.0)
    text = "The clutch dragged from the third lap on"
    expected = "corrected: run minutes 80 → 8, engine 105 °C → not noted, trouble changed"
    assert words(heat, run_minutes=8, engine_c=None, trouble=text) == expected
    assert words(maker.note("One")) == "corrected"
    line = next(h for h in timeline(weekend_of(maker), maker.at).heats if h.heat == "Q1")
    assert line.corrected == expected
    detail = heat_detail(weekend_of(maker), line.key, maker.at)
    told_there = [x.text for s in detail.sections for x in s.lines]
    assert "no reason was given" in told_there
    assert "was 80, now 8" in told_there
    assert not [x for x in told_there if "corrected: corrected" in x]
