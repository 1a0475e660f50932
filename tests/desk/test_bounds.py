"""A go/no-go reading beyond the last step is a bound, and nothing reckons with it as a value."""

from __future__ import annotations

import pytest
from factory import WeekendMaker

from pitwright.desk.clock.pre_main import pre_main
from pitwright.desk.clutch.model import UnknownClutchError, clutch_model
from pitwright.desk.condition import condition, condition_lines
from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.judged import judge_reading
from pitwright.desk.measure.judging import judge_on
from pitwright.desk.measure.measure import check_record, field_on
from pitwright.desk.measure.words import nut_line
from pitwright.desk.nut.nut import nut_advice
from pitwright.desk.sheet.prepare import _measures
from pitwright.desk.wear.history import wear_histories
from pitwright.store.reader import read_folder

STEPS = """
[instruments.steps]
label = "Depth steps"
kind = "depth steps"
permissible_error = { value = "0.01 mm", from = "maker" }
steps = [
  { value = "1.2 mm", from = "maker" },
  { value = "1.4 mm", from = "maker" },
  { value = "1.6 mm", from = "maker" },
]
"""


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    with (made.folder / "clutch.toml").open("a") as card:
        card.write(STEPS)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.check(free_length=10.18, recess=1.35)
    made.later(1).heat("P1", "practice", 8)
    return made.later(5)


def weekend_of(maker):
    found = read_folder(maker.folder, "tent1")
    assert not found.problems
    return found.weekend


def read(maker, quantity, typed):
    bench = gather(weekend_of(maker), maker.at)
    found = judge_on(bench, quantity, typed, instrument="steps", final=True)
    maker.add(check_record([found], now=maker.at, clutch="A"))
    maker.later(1)
    return found


@pytest.mark.parametrize(
    ("typed", "side", "shown"),
    [("1.6", "at least", "1.59 mm or more"), ("0", "at most", "1.21 mm or less")],
)
def test_beyond_the_last_step_is_a_bound(maker, typed, side, shown):
    found = read(maker, "recess", typed)
    assert (found.reading.bound, found.reading.u_mm, found.shown) == (side, None, shown)
    assert "only a bound" in found.notes[0]
    state = weekend_of(maker).state()
    assert state.recess is None
    assert state.figure("recess") is None
    assert state.told("recess").bound == side
    assert judge_reading(state.told("recess").reading, "Nut recess").shown == shown


def test_between_two_steps_is_a_value(maker):
    found = read(maker, "recess", "1.4")
    assert found.reading.bound is None
    assert weekend_of(maker).state().recess.value_mm == pytest.approx(1.5)


def test_the_nut_is_not_turned_by_a_bound(maker):
    assert nut_advice(weekend_of(maker)).turns is not None
    read(maker, "recess", "1.6")
    found = nut_advice(weekend_of(maker))
    assert (found.present_mm, found.turns, found.direction) == (None, None, None)
    assert found.wanted_mm == pytest.approx(1.35)
    assert any("only known to be 1.59 mm or more" in c for c in found.cautions)
    assert "no turns" in nut_line(weekend_of(maker), None)
    with pytest.raises(UnknownClutchError, match="only known to be"):
        clutch_model(weekend_of(maker), weekend_of(maker).state())


@pytest.mark.parametrize("hold", ["preload", "bite"])
def test_a_bounded_part_refuses_the_advice(maker, hold):
    maker.add(
        check_record(
            [
                judge_on(
                    gather(weekend_of(maker), maker.at),
                    "shoe_thickness",
                    "1.6",
                    instrument="steps",
                    final=True,
                )
            ],
            now=maker.at,
            clutch="A",
        )
    )
    weekend = weekend_of(maker)
    for found in (nut_advice(weekend, hold=hold), nut_advice(weekend, target_rpm=12000)):
        assert "only known to be 1.59 mm or more" in found.unknown
        assert found.wanted_mm is None
    shoes = next(h for h in wear_histories(weekend) if h.part == "H1")
    assert shoes.points == ()


def test_a_value_read_later_counts_again(maker):
    read(maker, "recess", "1.6")
    maker.check(recess=1.62)
    weekend = weekend_of(maker)
    assert weekend.state().recess.value_mm == 1.62
    last = field_on(gather(weekend, maker.at), "recess").last
    assert last.change_mm is None  # there is no distance from a bound


def test_the_day_sheet_and_the_list_before_the_main_say_bound(maker):
    maker.later(20).heat("P1", "practice", 12)  # run in: the full depth holds
    for _ in range(2):
        read(maker, "recess", "1.6")
    weekend = weekend_of(maker)
    (need,) = [n for n in _measures(weekend, "A", ()) if "recess" in n[0]]
    assert need[1] == "1.59 mm or more was too close to call"
    rows = pre_main(weekend, maker.at).points
    assert next(p for p in rows if p.key == "recess").found == "1.59 mm or more"


def test_lists_show_the_bound_as_one(maker):
    read(maker, "recess", "1.6")
    weekend = weekend_of(maker)
    found = condition(weekend)
    assert next(f for f in found.figures if f.quantity == "recess").bound == "at least"
    lines = condition_lines(found, weekend.event.zone)
    assert any("1.59 mm or more" in line for line in lines)
