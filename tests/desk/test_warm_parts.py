"""A part read warm: its size at 20 degrees, what that is worth, and whether it matters."""

from __future__ import annotations

import tomllib

import pytest
from factory import WeekendMaker

from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.gauging import read_part_c
from pitwright.desk.measure.judged import judge_reading
from pitwright.desk.measure.judging import judge_on
from pitwright.desk.measure.measure import check_record, field_on
from pitwright.desk.wear.history import wear_histories
from pitwright.store.reader import read_folder


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    return made


def weekend_of(maker):
    found = read_folder(maker.folder, "tent1")
    assert not found.problems
    return found.weekend


def bench_at(maker, part_c):
    return gather(weekend_of(maker), maker.at, part_c=part_c)


def test_a_warm_spring_hardly_matters(maker):
    found = judge_on(bench_at(maker, 60), "free_length", "10.15", final=True)
    # 10.15 mm x 11.5e-6 /K x 40 K = 0.0047 mm, by hand
    assert found.value_mm == pytest.approx(10.15 - 0.00467, abs=1e-5)
    assert found.notes[0] == (
        "part at 60 °C, given at 20 °C: 0.005 mm taken off, too little to matter"
    )
    assert found.size == "10.15 ± 0.04 mm at 20 °C"


def test_a_hot_bell_matters(maker):
    cold = judge_on(bench_at(maker, None), "bell_bore", "30.42", final=True)
    hot = judge_on(bench_at(maker, 120), "bell_bore", "30.42", final=True)
    # 30.42 mm x 11.5e-6 /K x 100 K = 0.035 mm, by hand: the bell is not worn out after all
    assert hot.value_mm == pytest.approx(30.42 - 0.03494, abs=5e-5)
    assert (cold.word, hot.word) == ("out", "too close to call")
    assert hot.notes[0].endswith("0.035 mm taken off, it matters")
    # 5 K of doubt about the part, 1e-6 per K about its steel (GUM 5.1.2)
    added = (30.42 * 11.5e-6 * 5) ** 2 + (30.42 * 100 * 1e-6) ** 2
    assert hot.u_mm**2 - cold.u_mm**2 == pytest.approx(added, rel=2e-2)


def test_a_part_colder_than_20_grows(maker):
    found = judge_on(bench_at(maker, -5), "bell_bore", "30.00", final=True)
    assert found.value_mm > 30.008
    assert "added" in found.notes[0]


def test_a_gap_is_measured_cold(maker):
    cold = judge_on(bench_at(maker, None), "end_play", "0.25", final=True)
    warm = judge_on(bench_at(maker, 80), "end_play", "0.25", final=True)
    assert (warm.value_mm, warm.u_mm) == (cold.value_mm, cold.u_mm)
    assert "measure it cold" in warm.notes[0]
    assert warm.size == cold.size
    assert warm.reading.part_c is None


def test_the_record_keeps_what_was_read_and_what_it_means(maker):
    found = judge_on(bench_at(maker, 120), "bell_bore", "30.42 30.43", final=True)
    record = maker.add(check_record([found], now=maker.at, clutch="A"))
    text = (maker.folder / "log" / f"{record.id}.toml").read_text()
    (kept,) = tomllib.loads(text)["readings"]
    assert kept["values_mm"] == [30.42, 30.43]
    assert kept["part_c"] == 120
    assert kept["at_20_mm"] == pytest.approx(30.425 - 0.03495, abs=1e-4)
    weekend = weekend_of(maker)
    assert weekend.state().figure("bell_bore").value_mm == kept["at_20_mm"]
    shown = judge_reading(weekend.state().figure("bell_bore").reading, "Bell bore")
    assert shown.size == found.size
    last = field_on(gather(weekend, maker.at), "bell_bore").last
    assert "at 20 °C" in last.line()


def test_a_record_from_before_still_reads(maker):
    record = maker.check(bell_bore=30.1)
    text = (maker.folder / "log" / f"{record.id}.toml").read_text()
    assert "part_c" not in text
    assert weekend_of(maker).state().figure("bell_bore").value_mm == 30.1


def test_wear_is_followed_at_20(maker):
    for minutes, read, part_c in ((0, "5.00", None), (10, "4.99", 70), (10, "4.97", 70)):
        if minutes:
            maker.heat("P", "practice", minutes)
        found = judge_on(bench_at(maker, part_c), "shoe_thickness", read, final=True)
        maker.later(1).add(check_record([found], now=maker.at, clutch="A"))
    shoes = next(h for h in wear_histories(weekend_of(maker)) if h.part == "H1")
    # 5 mm x 23e-6 /K x 50 K = 0.0057 mm
    assert [p.value_mm for p in shoes.points] == pytest.approx([5.0, 4.9843, 4.9643], abs=1e-4)


@pytest.mark.parametrize(
    ("typed", "value"), [("60", 60), ("60,5", 60.5), ("60 °C", 60), ("-5 C", -5)]
)
def test_temperatures_as_typed(typed, value):
    assert read_part_c(typed) == value


@pytest.mark.parametrize("typed", ["warm", "", "400", "-60", "nan", "60 F"])
def test_temperatures_nobody_has_are_refused(typed):
    with pytest.raises(ValueError, match="°C"):
        read_part_c(typed)
