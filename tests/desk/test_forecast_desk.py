"""Whether parts last: histories, limits, heats to come and the words, on made-up weekends."""

from __future__ import annotations

import dataclasses
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from factory import WeekendMaker, blank_weekend, scheduled

from pitwright.desk.clutch.model import clutch_model
from pitwright.desk.nut.nut import nut_advice
from pitwright.desk.wear.forecast import fitted_lines, part_forecast, part_forecasts, short_line
from pitwright.desk.wear.history import wear_histories
from pitwright.desk.wear.limits import held_setting, wear_limits
from pitwright.desk.wear.to_come import to_come
from pitwright.mechanics.clutch import free_travel_left
from pitwright.store.session import Session
from pitwright.weekend.log import Log
from pitwright.weekend.open_work import OpenHeat, OpenWork
from pitwright.weekend.records import CarriedPart, CarryOver, Check, HeatRun, Reading

DEMO = Path(__file__).parents[2] / "demo_weekend"


@pytest.fixture(scope="module")
def demo():
    with Session(DEMO, write=False) as session:
        return session.weekend


def at(weekend, moment):
    """Return the weekend as the log had it at a moment (UTC), and the moment."""
    now = datetime.fromisoformat(moment).replace(tzinfo=UTC)
    kept = tuple(r for r in weekend.log.records if r.happened_at <= now)
    return dataclasses.replace(weekend, log=Log(kept)), now


def of(found, part):
    return next(f for f in found if f.part == part)


def read(maker, quantity="free_length", value=10.2, **more):
    reading = Reading(quantity=quantity, values_mm=[value], instrument="caliper", **more)
    return maker.add(Check(happened_at=maker.at, readings=[reading]))


def run(maker, name, minutes, length=None, kind="practice", **more):
    """Run a heat and, half an hour later, read the spring."""
    maker.heat(name, kind, minutes, **more)
    maker.later(30)
    if length is not None:
        read(maker, value=length)
    return maker


def weekend_of(maker):
    with maker.session() as session:
        return session.weekend


HEATS = (
    scheduled("Q1", "qualifier", 1, "9:00", 7),
    scheduled("M1", "main", 2, "10:00", 15),
    scheduled("M2", "main", 2, "14:00", 30),
    scheduled("P9", "practice", 2, "17:00", 10),
)


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w", schedule=HEATS)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    return made


# The demo weekend at several moments


def test_before_the_last_main_a_new_spring_leans_on_the_two_before_it(demo):
    weekend, now = at(demo, "2026-05-17T11:10")
    spring = of(part_forecasts(weekend, now), "S3")
    assert spring.standing == "fitted"
    assert (spring.goal, spring.goal_is_main) == ("M2", True)
    assert [h.heat for h in spring.heats] == ["M2"]
    assert spring.kind_count == 2
    assert spring.kind_weight > 0.9
    assert spring.pace.wear.low < 0.2 < spring.pace.wear.high
    assert not any("sure" in line for line in spring.sentences)
    # it can be set for the start; what its sag does in the race is for the race's answer
    assert spring.chance > 0.9
    assert spring.change_before is None
    assert spring.minutes_left.low < 31.5 < spring.minutes_left.middle
    assert any("2 other springs of its kind" in line for line in spring.sentences)


def test_every_later_reading_of_the_demo_lies_where_it_was_expected(demo):
    """The demo's sag and wear are drawn from laws of its own, so its later readings are a test."""
    tried = 0
    for record in demo.log.records:
        if not isinstance(record, Check):
            continue
        before = tuple(r for r in demo.log.records if r.happened_at < record.happened_at)
        weekend = dataclasses.replace(demo, log=Log(before))
        for reading in record.readings:
            if reading.quantity not in ("free_length", "shoe_thickness"):
                continue
            found = part_forecast(weekend, reading.quantity, record.happened_at, part=reading.part)
            if found is None or not found.curve or found.age_minutes == 0.0:
                continue  # a new one was read before its squeezes and after
            here = min(found.curve, key=lambda c: abs(c.minutes - found.age_minutes))
            room = 3 * 0.008 + (here.high - here.low)
            assert abs(reading.value_mm - here.middle) < room, (reading.part, record.happened_at)
            tried += 1
    assert tried > 12


def test_a_spring_past_its_limit_is_told_to_come_out_before_the_next_heat(demo):
    weekend, now = at(demo, "2026-05-16T08:15")
    spring = part_forecast(weekend, "free_length", now)
    assert spring.part == "S1"
    assert spring.points[-1].value_mm < 9.8
    assert spring.change_before == "Q2"
    assert spring.chance < 0.05
    assert any("past that already" in line for line in spring.sentences)
    assert spring.short.endswith("change before Q2")


def test_after_one_run_it_says_what_it_cannot_know(demo):
    weekend, now = at(demo, "2026-05-15T09:00")
    spring = part_forecast(weekend, "free_length", now)
    assert spring.unknown.startswith("two run times cannot tell")
    assert spring.more_checks == 1
    assert spring.chance is None
    assert spring.minutes_left is None
    assert spring.curve == ()
    text = " ".join(spring.sentences)
    assert "Cannot say yet how long it lasts" in text
    assert "are left to the limit" in text
    assert (
        spring.short
        == "cannot say yet how long it lasts: 1 more check after more running would tell"
    )


def test_with_no_heat_left_only_the_minutes_are_told(demo):
    weekend, now = at(demo, "2026-05-17T16:00")
    spring = part_forecast(weekend, "free_length", now)
    assert spring.heats == ()
    assert spring.chance is None
    assert spring.change_before is None
    left = spring.minutes_left
    assert left.low < left.middle < (left.high or 1e9)
    assert "No heat is left on the schedule" in " ".join(spring.sentences)
    assert spring.short.endswith("no heat to come")


def test_fitted_come_first_and_thrown_away_last(demo):
    weekend, now = at(demo, "2026-05-16T15:30")
    found = part_forecasts(weekend, now)
    assert [f.part for f in found] == ["S2", "H1", "S3", "H2", "H3", "S1"]
    gone = found[-1]
    assert gone.standing == "thrown away"
    assert gone.minutes_left is None
    assert gone.heats == ()
    assert gone.curve
    assert gone.short == "thrown away"


def test_answers_agree_with_one_another(demo):
    for moment in ("2026-05-15T16:00", "2026-05-16T15:30", "2026-05-17T11:10"):
        weekend, now = at(demo, moment)
        for found in part_forecasts(weekend, now):
            if found.chance is None:
                continue
            chances = [h.chance for h in found.heats]
            assert chances == sorted(chances, reverse=True)
            ahead = found.goal_minutes - found.age_minutes
            if found.chance > 0.51:
                assert found.minutes_left.middle > ahead
            elif found.chance < 0.49:
                assert found.minutes_left.middle < ahead
            first = next((h.heat for h in found.heats if h.chance < 0.9), None)
            assert found.change_before == first


def test_all_of_it_is_plain_json_with_no_infinity(demo):
    weekend, now = at(demo, "2026-05-17T11:10")
    text = json.dumps([dataclasses.asdict(f) for f in part_forecasts(weekend, now)], default=str)
    assert "Infinity" not in text
    assert "NaN" not in text


def test_lines_of_the_fitted_parts(demo):
    weekend, now = at(demo, "2026-05-17T11:10")
    lines = fitted_lines(weekend, now).splitlines()
    assert [line.partition(" now: ")[0] for line in lines] == ["Spring 3", "Shoe set 2"]
    line = short_line(weekend, "free_length", now)
    assert line.startswith("can be set for M2: ")
    assert short_line(weekend, "end_play", now) == ""
    assert short_line(weekend, "free_length", now, part="S2").startswith(
        "if fitted now, can be set for M2"
    )


# Histories


def test_readings_stand_at_the_parts_own_running_warm_up_included(maker):
    read(maker, value=10.18)
    run(maker, "P1", 8, 10.05, warm_up_minutes=1.5)
    maker.fit("spring", "S2", removed="S1")
    read(maker, value=10.2)
    run(maker, "P2", 8, 10.06)
    maker.fit("spring", "S1", removed="S2")
    run(maker, "P3", 8, 9.98)
    by_part = {h.part: h for h in wear_histories(weekend_of(maker))}
    assert [p.minutes for p in by_part["S1"].points] == [0.0, 9.5, 17.5]
    assert [p.minutes for p in by_part["S2"].points] == [0.0, 8.0]
    assert by_part["S1"].standing == "fitted"
    assert by_part["S2"].standing == "spare"


def test_u_leaves_out_the_error_that_all_readings_share(maker):
    read(maker, value=10.18, u_mm=0.0156)
    history = next(h for h in wear_histories(weekend_of(maker)) if h.part == "S1")
    # scatter 0.01 and the display's step 0.01 / sqrt(12); the tool's own 0.02 is in all alike
    assert history.points[0].u_mm == pytest.approx((0.01**2 + 0.01**2 / 12) ** 0.5)


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [(None, 5, [False, True]), (0, 5, [False, True]), (0, None, [False, True]), (None, None, None)],
)
def test_a_reading_before_the_squeezes_is_marked(maker, first, second, expected):
    read(maker, value=10.20, squeezes=first)
    read(maker, value=10.19, squeezes=second)
    history = next(h for h in wear_histories(weekend_of(maker)) if h.part == "S1")
    assert [p.run_in for p in history.points] == (expected or [True, True])


def test_squeezes_at_a_later_rebuild_say_nothing_of_the_first_reading(maker):
    read(maker, value=10.18)
    maker.heat("P1", "practice", 8)
    read(maker, value=10.05, squeezes=5)
    history = next(h for h in wear_histories(weekend_of(maker)) if h.part == "S1")
    assert [p.run_in for p in history.points] == [True, True]


def test_a_run_nobody_timed_is_unknown_and_never_zero(maker):
    read(maker, value=10.18)
    run(maker, "P1", 8, 10.05)
    run(maker, "P2", 8, 9.99)
    run(maker, "P3", None, 9.95)
    weekend = weekend_of(maker)
    spring = part_forecast(weekend, "free_length", maker.at)
    assert spring.since == "P3"
    assert [(p.minutes, p.value_mm) for p in spring.points] == [(0.0, 9.95)]
    assert spring.unknown
    assert spring.chance is None
    assert any("P3 was not timed" in note for note in spring.notes)
    assert any("3 readings before it cannot be used" in note for note in spring.notes)


def test_after_an_untimed_run_it_counts_afresh_without_its_kind(maker):
    maker.fit("spring", "S2")
    read(maker, value=10.18)
    for i, length in enumerate((10.05, 10.0, 9.97)):
        run(maker, f"A{i}", 8, length)
    maker.fit("spring", "S1", removed="S2")
    run(maker, "P1", None, 10.0)
    for i, length in enumerate((9.98, 9.96, 9.94)):
        run(maker, f"B{i}", 8, length)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert not spring.unknown
    assert spring.kind_count == 0
    assert [p.minutes for p in spring.points] == [0.0, 8.0, 16.0, 24.0]
    assert spring.age_minutes == 24.0
    assert "after P1" in spring.sentences[0]


def test_noting_the_minutes_later_brings_everything_back(maker):
    read(maker, value=10.18)
    run(maker, "P1", 8, 10.05)
    heat = maker.heat("P2", "practice", None)
    read(maker, value=9.99)
    maker.correct(heat, "asked the timekeeper", run_minutes=8.0)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert spring.since == ""
    assert [p.minutes for p in spring.points] == [0.0, 8.0, 16.0]
    assert not spring.unknown


def test_a_reading_carried_over_has_no_running_and_is_left_out(maker):
    maker.add(
        CarryOver(
            happened_at=maker.at,
            event="Winter Cup",
            parts=[CarriedPart(part="S1", place="spring", run_minutes=40, fitted=True)],
            readings=[Reading(quantity="free_length", values_mm=[9.95], part="S1")],
        )
    )
    read(maker, value=9.95)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert [p.minutes for p in spring.points] == [40.0]
    assert any("1 reading carried over" in note for note in spring.notes)


def test_a_carried_part_with_untimed_runs_has_no_known_age(maker):
    maker.add(
        CarryOver(
            happened_at=maker.at,
            event="Winter Cup",
            parts=[
                CarriedPart(part="S1", place="spring", run_minutes=40, unknown_runs=2, fitted=True)
            ],
        )
    )
    read(maker, value=9.95)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert spring.since == "Winter Cup"
    assert [p.minutes for p in spring.points] == [0.0]


# Kinds


def worn(maker, part, start, scale=1.0):
    maker.fit("spring", part)
    read(maker, value=start)
    for i, loss in enumerate((0.10, 0.16, 0.20)):
        run(maker, f"{part}{i}", 8, round(start - scale * loss, 3))


def test_only_parts_of_the_same_kind_inform_a_young_one(tmp_path):
    maker = WeekendMaker(tmp_path / "w", schedule=HEATS)
    with (maker.folder / "stock.toml").open("a") as card:
        card.write('\n[[spring]]\nid = "X1"\nlabel = "Soft 1"\nkind = "1.5 x 9.0"\n')
        card.write('\n[[spring]]\nid = "X2"\nlabel = "Soft 2"\nkind = "1.5 x 9.0"\n')
    worn(maker, "S1", 10.18)
    worn(maker, "X1", 10.20, scale=0.5)
    for part in ("S2", "X2"):
        maker.fit("spring", part)
        read(maker, value=10.19)
    found = part_forecasts(weekend_of(maker), maker.at)
    assert of(found, "S2").kind_count == 1
    assert of(found, "X2").kind_count == 1
    # the soft ones lost half as much, so their next one is expected to last longer
    assert 1.0 - of(found, "X2").chance < 0.5 * (1.0 - of(found, "S2").chance)
    lengths = {f.part: f.curve[-1].middle for f in found if f.curve}
    assert lengths["X2"] > lengths["S2"]


def test_a_part_without_a_kind_leans_on_nobody(tmp_path):
    maker = WeekendMaker(tmp_path / "w", schedule=HEATS)
    with (maker.folder / "stock.toml").open("a") as card:
        card.write('\n[[spring]]\nid = "X1"\nlabel = "Odd 1"\n\n[[spring]]\nid = "X2"\n')
        card.write('label = "Odd 2"\n')
    worn(maker, "X1", 10.18)
    maker.fit("spring", "X2")
    read(maker, value=10.19)
    spring = of(part_forecasts(weekend_of(maker), maker.at), "X2")
    assert spring.kind_count == 0
    assert spring.unknown


# Limits


def test_the_recess_limit_is_where_the_nut_advice_reaches_the_cards_most(maker):
    maker.set_recess(1.50)
    read(maker, value=10.05)
    run(maker, "P1", 8, 9.98)
    weekend = weekend_of(maker)
    limits = {x.name: x.value_mm for x in wear_limits(weekend, "spring", "free_length")[0]}
    # 10.05 at 1.50 has the preload of 9.85 at 1.70
    assert limits["recess limit"] == pytest.approx(9.85)
    assert limits["discard limit"] == 9.8
    # a second route: the advice for that length asks for the card's most
    advice = nut_advice(weekend, like="P1", free_length_mm=limits["recess limit"])
    assert advice.wanted_mm == pytest.approx(1.70)
    spring = part_forecast(weekend, "free_length", maker.at)
    assert spring.limit.name == "recess limit"
    assert "the preload of P1 takes more than 1.70 mm of recess" in " ".join(spring.sentences)


def test_the_recess_limit_holds_the_bite_where_the_shoes_are_measured(maker):
    maker.set_recess(1.50)
    maker.check(free_length=10.05, shoe_thickness=4.9)
    run(maker, "P1", 8)
    maker.check(free_length=9.98, shoe_thickness=4.86)
    weekend = weekend_of(maker)
    limits = {x.name: x for x in wear_limits(weekend, "spring", "free_length")[0]}
    # 0.04 mm off the shoes is worth 0.04 mm of travel and more: the spring may sag the further
    assert limits["recess limit"].value_mm < 9.85 - 0.03
    advice = nut_advice(weekend, like="P1", free_length_mm=limits["recess limit"].value_mm)
    assert advice.hold == "bite"
    assert advice.wanted_mm == pytest.approx(1.70, abs=0.001)
    assert "the bite of P1 takes" in limits["recess limit"].why
    # nobody turns a nut in a race: neither is a limit of one
    assert limits["recess limit"].bench
    assert limits["coil bind"].bench


def test_at_the_bind_limits_the_clutch_has_no_travel_left(maker):
    maker.set_recess(1.50)
    maker.check(free_length=10.05, shoe_thickness=4.9)
    run(maker, "P1", 8)
    weekend = weekend_of(maker)
    state = weekend.state()
    spring = {x.name: x.value_mm for x in wear_limits(weekend, "spring", "free_length")[0]}
    advice = nut_advice(weekend, like="P1", free_length_mm=spring["coil bind"] + 0.001)
    bound = clutch_model(weekend, state, recess_mm=advice.wanted_mm + 0.001).clutch
    assert free_travel_left(bound) == pytest.approx(0.0, abs=1e-8)
    shoes = {x.name: x.value_mm for x in wear_limits(weekend, "shoes", "shoe_thickness")[0]}
    now = clutch_model(weekend, state).clutch
    worn = dataclasses.replace(now, worn=(5.0 - shoes["coil bind"]) / 1000)
    assert free_travel_left(worn) == pytest.approx(0.0, abs=1e-8)
    thicker = dataclasses.replace(worn, worn=worn.worn - 1e-5)
    assert free_travel_left(thicker) > 0


def test_the_setting_to_hold_follows_the_nut_and_the_heats_not_mere_readings(maker):
    weekend = weekend_of(maker)
    assert held_setting(weekend, weekend.card()) is None
    read(maker, value=10.18)
    maker.set_recess(1.35)
    run(maker, "P1", 8, 10.05)
    read(maker, "recess", 1.36)
    weekend = weekend_of(maker)
    held = held_setting(weekend, weekend.card())
    assert (held.recess_mm, held.free_length_mm, held.of) == (1.35, 10.18, "P1")
    maker.set_recess(1.45)
    weekend = weekend_of(maker)
    held = held_setting(weekend, weekend.card())
    assert (held.recess_mm, held.free_length_mm, held.of) == (1.45, 10.05, "the last setting")


def test_without_a_setting_only_the_cards_limit_counts_and_it_says_so(maker):
    read(maker, value=10.18)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert spring.limit.name == "discard limit"
    assert any("no setting to hold" in note for note in spring.notes)


# Heats to come


def test_heats_to_come_end_with_the_last_main_and_carry_the_usual_warm_up(maker):
    for name, warm_up in (("P1", 1.0), ("P2", 2.0), ("P3", 6.0), ("P4", None)):
        run(maker, name, 8, warm_up_minutes=warm_up)
    maker.add(HeatRun(happened_at=maker.at, heat="P5", heat_kind="practice", status="cancelled"))
    coming = to_come(weekend_of(maker), maker.at)
    assert [(h.name, h.run_minutes) for h in coming.heats] == [
        ("Q1", 9.0),
        ("M1", 17.0),
        ("M2", 32.0),
    ]
    assert coming.main.name == "M2"
    assert coming.warm_up_minutes == 2.0


def test_a_heat_that_passed_without_a_note_is_named(maker):
    read(maker, value=10.18)
    run(maker, "P1", 8, 10.05)
    run(maker, "P2", 8, 10.0)
    maker.go(1, "12:00")
    weekend = weekend_of(maker)
    assert to_come(weekend, maker.at).uncounted == ("Q1",)
    spring = part_forecast(weekend, "free_length", maker.at)
    assert any(note.startswith("Q1 is due or over and not noted") for note in spring.notes)
    assert [h.heat for h in spring.heats] == ["M1", "M2"]
    assert any("no warm-up was ever noted" in note for note in spring.notes)


def test_a_cancelled_heat_is_not_to_come(maker):
    maker.heat("M1", "main", status="cancelled")
    assert [h.name for h in to_come(weekend_of(maker), maker.at).heats] == ["Q1", "M2"]


def test_without_a_main_the_last_heat_is_the_goal(tmp_path):
    maker = WeekendMaker(tmp_path / "w", schedule=HEATS[:1])
    maker.fit("spring", "S1")
    read(maker, value=10.18)
    run(maker, "P1", 8, 10.05)
    run(maker, "P2", 8, 10.0)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert (spring.goal, spring.goal_is_main) == ("Q1", False)
    assert spring.goal_minutes == 23.0


@pytest.mark.parametrize(("planned", "expected"), [(20.0, [20.0]), (None, [])])
def test_a_running_heat_counts_in_full_when_its_length_is_known(tmp_path, planned, expected):
    maker = WeekendMaker(tmp_path / "w")
    running = HeatRun(happened_at=maker.at, heat="X", heat_kind="practice", planned_minutes=planned)
    weekend = dataclasses.replace(weekend_of(maker), open=OpenWork(heat=OpenHeat(heat=running)))
    coming = to_come(weekend, maker.at + timedelta(minutes=5))
    assert [h.run_minutes for h in coming.heats] == expected
    assert coming.uncounted == (() if expected else ("X",))


# Little or nothing known


def test_an_empty_weekend_has_spares_that_were_never_read(tmp_path):
    with Session(blank_weekend(tmp_path / "w")) as session:
        weekend = session.weekend
    found = part_forecasts(weekend, datetime(2026, 5, 15, 9, tzinfo=UTC))
    assert {f.standing for f in found} == {"spare"}
    assert all("not read yet" in f.sentences[0] for f in found)
    assert part_forecast(weekend, "free_length", datetime(2026, 5, 15, tzinfo=UTC)) is None


def test_one_reading_of_a_new_spring_tells_what_it_would_take(maker):
    read(maker, value=10.18)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert spring.more_checks == 2
    assert "one run time shows where it is" in spring.unknown
    assert "before its first run" in spring.sentences[0]
    assert any("taken as read after its squeezes" in note for note in spring.notes)
    read(maker, value=10.18, squeezes=5)
    spring = part_forecast(weekend_of(maker), "free_length", maker.at)
    assert not any("taken as read" in note for note in spring.notes)
