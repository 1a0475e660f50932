"""The day sheet's figures, from weekends made record by record."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from factory import WeekendMaker, blank_weekend, local, race_weekend, scheduled

from pitwright.desk.bite.bite import bite_desk, prepare
from pitwright.desk.sheet.day_sheet import day_sheet, default_day, weekend_days
from pitwright.desk.stock.parts import stock_desk, stock_lines
from pitwright.desk.stock.to_buy import to_buy
from pitwright.store.session import Session
from pitwright.weekend.open_work import OpenBuild, OpenHeat
from pitwright.weekend.problems import Problem
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import (
    Build,
    Check,
    Fit,
    HeatRun,
    Observation,
    Reading,
    StepResult,
    StockChange,
)

FRIDAY, SATURDAY, SUNDAY = date(2026, 5, 15), date(2026, 5, 16), date(2026, 5, 17)
PLAN = (
    scheduled("P1", "practice", 0, "10:00", 8),
    scheduled("P2", "practice", 0, "14:00", 8),
    scheduled("Q1", "qualifier", 1, "9:30", 7),
    scheduled("M1", "main", 2, "15:00", 30),
)
STEP = {
    "id": "spring",
    "title": "Measure the spring",
    "do": "Measure it.",
    "routes": ["spring change"],
    "minutes": {"value": "4 min", "from": "invented"},
    "measures": ["free_length"],
}


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w", schedule=PLAN)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    made.check(free_length=10.18, shoe_thickness=5.0, recess=1.30, end_play=0.25)
    return made


def sheet(maker, day=FRIDAY, now=None, **more):
    with maker.session() as session:
        return day_sheet(session.weekend, now or maker.at, day, problems=session.problems, **more)


def built(maker, **result):
    """Sign off a build of one step, with what is noted of it."""
    return maker.add(
        Build(
            happened_at=maker.at - timedelta(minutes=30),
            finished_at=maker.at,
            route="spring change",
            steps=[Step.model_validate(STEP)],
            results=[StepResult(step="spring", **result)],
        )
    )


def what(tasks):
    return [task.what for task in tasks]


# Days


def test_the_days_are_the_event_s_and_any_other_with_a_heat(maker):
    maker.go(3, "9:00").heat("Extra", "practice")
    with maker.session() as session:
        assert weekend_days(session.weekend) == (FRIDAY, SATURDAY, SUNDAY, date(2026, 5, 18))
        with pytest.raises(ValueError, match="not a day"):
            day_sheet(session.weekend, maker.at, date(2026, 6, 1))


@pytest.mark.parametrize(
    ("now", "day"),
    [
        (local(0, "9:00") - timedelta(days=30), FRIDAY),
        (local(1, "23:59"), SATURDAY),
        (local(1, "0:00"), SATURDAY),
        (local(2, "12:00") + timedelta(days=90), SUNDAY),
    ],
)
def test_the_sheet_opens_on_today_or_the_nearest_day(maker, now, day):
    with maker.session() as session:
        assert default_day(session.weekend, now) == day


def test_a_heat_belongs_to_the_venue_s_day_across_midnight(maker):
    maker.go(0, "23:50").heat("Late", "practice", 20)
    maker.go(1, "0:10").check(free_length=10.1)
    assert [h.heat for h in sheet(maker).heats if h.ran] == ["Late"]
    # Lisbon keeps UTC+1 in May: 23:50 there is 22:50 UTC, 0:10 is 23:10 UTC of the day before.
    assert [h.heat for h in sheet(maker, SATURDAY).heats if h.ran] == []
    assert {p.minutes for p in sheet(maker, SATURDAY).wear[0].points} == {0.0, 20.0}


def test_the_days_of_a_clock_change_have_23_and_25_hours(tmp_path):
    from pitwright.desk.sheet.scope import scope_of

    folder = blank_weekend(tmp_path / "w")
    card = (folder / "weekend.toml").read_text()
    for start, hours in (("2026-03-29", 23), ("2026-10-25", 25)):
        first = date.fromisoformat(start)
        moved = card.replace("2026-05-15", start).replace(
            "2026-05-17", str(first + timedelta(days=2))
        )
        (folder / "weekend.toml").write_text(moved)
        with Session(folder, laptop="tent1") as session:
            scope = scope_of(session.weekend, datetime(2026, 1, 1, tzinfo=UTC), first)
        assert scope.end - scope.start == timedelta(hours=hours)


# How full or empty


def test_an_empty_weekend_still_answers(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop="tent1") as session:
        found = day_sheet(session.weekend, local(0, "12:00"), FRIDAY)
        whole = day_sheet(session.weekend, local(0, "12:00"), None)
    assert (found.heats, found.wear, found.parts, found.out, found.happenings) == ((),) * 5
    assert found.totals.heats_run == 0
    assert found.prepare.heat is None
    assert found.prepare.tasks == ()
    assert whole.label == "15 to 17 May 2026"


def test_one_heat_without_laps_or_builds(maker):
    maker.go(0, "10:00").heat("P1", "practice", None)
    found = sheet(maker)
    p1, p2 = found.heats
    assert (p1.heat, p1.ran, p1.laps, p1.run_minutes) == ("P1", True, (), None)
    assert (p2.heat, p2.status) == ("P2", "planned")
    assert found.totals.unknown_runs == 1
    assert found.totals.run_minutes == 0
    assert found.totals.builds == 0
    assert not p1.quickest
    spring = found.parts[0]
    assert (spring.heats, spring.unknown_runs, spring.run_minutes) == (1, 1, 0.0)


def test_sixty_heats_add_up_to_what_the_log_says(tmp_path):
    maker = race_weekend(tmp_path / "w", 60)
    with maker.session() as session:
        weekend = session.weekend
        days = [day_sheet(weekend, maker.at, day) for day in weekend_days(weekend)]
        whole = day_sheet(weekend, maker.at, None)
    runs = [r for r in weekend.log.records if isinstance(r, HeatRun) and r.status != "cancelled"]
    minutes = sum((r.run_minutes or 0) + (r.warm_up_minutes or 0) for r in runs)
    assert whole.totals.heats_run == len(runs) == 59
    assert whole.totals.heats_cancelled == 1
    assert whole.totals.run_minutes == pytest.approx(minutes)
    assert whole.totals.laps == sum(len(weekend.laps[r.heat]) for r in runs)
    for name in ("heats_run", "heats_cancelled", "laps", "unknown_runs", "readings_out", "builds"):
        assert sum(getattr(d.totals, name) for d in days) == getattr(whole.totals, name), name
    assert [h.heat for d in days for h in d.heats] == [h.heat for h in whole.heats]
    spring_minutes = sum(p.run_minutes for d in days for p in d.parts if p.place == "spring")
    assert spring_minutes == pytest.approx(minutes)
    assert sum(1 for h in whole.heats if h.quickest) == 1


# A day that is over


def test_a_closed_day_reads_as_it_stood_then(maker):
    maker.go(0, "10:00").heat("P1", "practice", 8, laps=[20.0, 19.5, 19.6, 19.4, 19.5, 19.7])
    maker.later(20).check(free_length=10.10)
    evening = local(0, "23:00")
    before = sheet(maker, now=evening)
    maker.go(1, "8:00").fit("spring", "S2", removed="S1", fate="discarded", reason="tired")
    maker.check(free_length=10.2)
    maker.go(1, "9:30").heat("Q1", "qualifier", 7)
    after = sheet(maker, now=local(1, "12:00"))
    assert after.standing == "over"
    for name in ("heats", "at_close", "happenings", "out", "parts", "buy", "totals"):
        assert getattr(after, name) == getattr(before, name), name
    assert after.prepare.heat is not None
    assert after.prepare.heat.name == "Q1"
    assert after.prepare.spare_minutes is None


def test_a_later_correction_does_change_it(maker):
    run = maker.go(0, "10:00").heat("P1", "practice", 8)
    maker.go(1, "8:00").correct(run, "read the wrong line", run_minutes=6.0)
    found = sheet(maker)
    assert found.totals.run_minutes == 6.0
    assert found.heats[0].corrected == "corrected: read the wrong line"


def test_in_progress_it_shows_what_runs_and_what_is_to_come(maker):
    maker.go(0, "10:01")
    run = HeatRun(happened_at=local(0, "10:00"), heat="P1", heat_kind="practice")
    with maker.session() as session:
        session.keep_heat(OpenHeat(heat=run))
        found = day_sheet(session.weekend, maker.at, FRIDAY)
    assert found.standing == "in progress"
    assert [(h.heat, h.status) for h in found.heats] == [("P1", "running"), ("P2", "planned")]
    assert found.totals.heats_to_come == 2
    assert "P1 is running" in [p.what for p in found.points]


# The bite


def test_the_bite_is_the_bite_desk_s_and_says_whether_it_is_calibrated(maker):
    maker.go(0, "10:00").heat("P1", "practice", 8)
    found = sheet(maker)
    with maker.session() as session:
        desk = bite_desk(prepare(session.weekend, moment=local(0, "10:00"))).now
    assert found.heats[0].bite.rpm == pytest.approx(desk.bite_rpm, abs=0.01)
    assert found.heats[0].bite.u_rpm == pytest.approx(desk.u_bite_rpm, rel=1e-3)
    assert not found.calibrated
    maker.add(Observation(happened_at=maker.at, how="creep", rpm=12900, heat="P1"))
    seen = sheet(maker)
    assert seen.calibrated
    assert seen.heats[0].bite.calibrated
    # One creep speed, nothing else known: the model must go through it.
    assert seen.heats[0].bite.rpm == pytest.approx(12900, abs=1)


def test_without_a_recess_the_bite_says_what_is_lacking(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    maker.go(0, "10:00").heat("P1", "practice", 8)
    bite = sheet(maker).heats[0].bite
    assert bite.rpm is None
    assert "recess" in bite.unknown


# Out of limits


def test_out_readings_say_what_was_done_and_how_it_read_then(maker):
    maker.go(0, "11:00").check("out", free_length=9.78)
    maker.later(5).fit("spring", "S2", removed="S1", fate="discarded", reason="under the limit")
    maker.later(2).check(free_length=10.27)
    maker.later(2).check(free_length=10.2)
    (out,) = sheet(maker).out
    assert (out.value_mm, out.part, out.label) == (9.78, "Spring 1", "Spring free length")
    assert out.done == ("Spring: Spring 2 fitted, Spring 1 discarded: under the limit",)
    assert out.after == "Spring 2 read 10.20 mm, good"
    assert out.settled


def test_a_reading_and_the_fit_in_the_same_second_keep_their_order(maker):
    maker.go(0, "11:00").check("out", free_length=9.78)
    maker.fit("spring", "S2", removed="S1", fate="discarded", reason="under the limit")
    (out,) = sheet(maker).out
    assert out.part == "Spring 1"
    assert out.done


def test_out_and_run_as_it_was(maker):
    maker.go(0, "9:00").check("out", recess=1.9)
    maker.fit("bell", "B1")  # has nothing to do with it
    maker.go(0, "10:00").heat("P1", "practice", 8)
    (out,) = sheet(maker).out
    assert (out.done, out.after, out.settled) == ((), "ran P1 as it was", False)


def test_out_again_is_not_settled_and_out_last_is_nothing_noted(maker):
    maker.go(0, "9:00").check("out", recess=1.9)
    maker.later(1).set_recess(1.8)
    maker.later(1).check("out", recess=1.8)
    first, last = sheet(maker).out
    assert first.done
    assert not first.settled
    assert (last.done, last.after, last.settled) == ((), "", False)


def test_a_reading_accepted_in_a_build_gives_the_reason(maker):
    maker.go(0, "11:00")
    read = Reading(quantity="free_length", values_mm=[9.79], verdict="out", discard_below_mm=9.8)
    check = maker.add(Check(happened_at=maker.at, readings=[read], step="spring"))
    maker.later(5)
    built(maker, done_at=maker.at, out_because="no other spring left", checks=[check.id])
    found = sheet(maker)
    assert found.out[0].reason == "no other spring left"
    assert ("out", "no other spring left") in [(p.sort, p.why) for p in found.points]


# Open points


def test_open_points_come_and_go(maker):
    note = maker.go(0, "11:00").note("Rough bearing", about="R1", open_point=True)
    maker.note("Only a remark")
    built(maker, skipped_because="no time")
    found = [(p.sort, p.what, p.why) for p in sheet(maker).points]
    assert ("note", "Rough bearing", "R1") in found
    assert ("skipped", "Measure the spring: skipped", "no time") in found
    assert not any("remark" in text for _, text, _ in found)
    maker.later(10).correct(note, "seen to", open_point=False)
    maker.later(40)
    built(maker, done_at=maker.at)
    assert {p.sort for p in sheet(maker).points} <= {"heat"}  # P1 was never noted


def test_heats_not_noted_and_not_timed_are_open(maker):
    maker.go(0, "14:00").heat("P2", "practice", None)
    texts = [p.what for p in sheet(maker, now=local(0, "18:00")).points if p.sort == "heat"]
    assert texts == ["P1 is not noted: run or called off?", "P2: how long it ran is not noted"]


def test_work_in_progress_and_faults_are_open_today_only(maker):
    maker.go(0, "11:00")
    step = Step.model_validate(STEP)
    with maker.session() as session:
        session.keep_build(
            OpenBuild(route="spring change", started_at=maker.at, steps=[step], results=[])
        )
        session.keep_draft("note", {"text": "half a sent"})
        fault = Problem("laps/P1.csv", "", "cannot be read", "mend it")
        today = day_sheet(session.weekend, maker.at, FRIDAY, problems=[fault, fault])
        later = day_sheet(session.weekend, local(1, "12:00"), FRIDAY)
    said = [(p.sort, p.what) for p in today.points]
    assert ("open build", "Spring change not finished") in said
    assert ("not kept", "Typed and not kept: half a sent") in said
    assert said.count(("files", "laps/P1.csv: cannot be read")) == 1
    assert {p.sort for p in later.points} <= {"heat"}
    assert "Finish the open spring change" in what(today.prepare.tasks)


# Preparation


def test_an_out_spring_calls_for_a_build_timed_back_from_the_heat(maker):
    maker.go(0, "18:00").check("out", free_length=9.75)
    found = sheet(maker, now=local(0, "19:00")).prepare
    assert found.heat is not None
    assert found.heat.name == "Q1"
    build = next(t for t in found.tasks if t.sort == "build")
    job = next(j for j in found.jobs if j.route == "spring change")
    assert build.what == "Spring change"
    assert "is out: fit a new spring" in build.why
    assert build.minutes == pytest.approx(job.needed)
    assert build.by == local(1, "9:30") - timedelta(minutes=job.needed)
    lock = next(t for t in found.tasks if t.sort == "thread-lock")
    assert lock.by == local(1, "9:30") - timedelta(minutes=20)  # the card's handling time
    assert found.spare_minutes == pytest.approx(14.5 * 60 - job.needed)
    assert [t.number for t in found.tasks] == list(range(1, len(found.tasks) + 1))


def test_the_largest_job_covers_the_smaller_ones(maker):
    maker.go(0, "18:00").check("out", free_length=9.75, shoe_thickness=4.2)
    builds = [t for t in sheet(maker, now=local(0, "19:00")).prepare.tasks if t.sort == "build"]
    assert [b.what for b in builds] == ["Full rebuild"]
    assert "free length" in builds[0].why
    assert "thickness" in builds[0].why


def test_too_little_time_is_said(maker):
    maker.go(1, "9:10").check("out", free_length=9.75)
    found = sheet(maker, SATURDAY, now=local(1, "9:25")).prepare
    assert found.spare_minutes is not None
    assert found.spare_minutes < 0


def test_open_points_come_first_then_measuring_then_the_heat(maker):
    maker.go(0, "18:00").note("Order fuel", open_point=True)
    maker.check("too close to call", recess=1.70)
    tasks = sheet(maker, now=local(0, "19:00")).prepare.tasks
    sorts = [t.sort for t in tasks]
    assert sorts[0] == "point"
    assert sorts == sorted(sorts, key=["point", "measure", "build", "heat", "later"].index)
    assert "Measure nut recess again" in what(tasks)


def test_a_doubtful_figure_is_to_be_measured(maker):
    maker.go(0, "18:00").fit("bearings", "R1")
    tasks = sheet(maker, now=local(0, "19:00")).prepare.tasks
    assert "Measure bell end play" in what(tasks)


def test_after_the_last_heat_nothing_is_timed(maker):
    maker.go(2, "16:00").note("Sell the car", open_point=True)
    found = sheet(maker, SUNDAY, now=local(2, "18:00")).prepare
    assert found.heat is None
    assert all(t.by is None for t in found.tasks)


# Stock and buying


def test_stock_follows_parts_shims_and_reasons(maker):
    maker.go(0, "10:00").heat("P1", "practice", 8, warm_up_minutes=1.5)
    maker.fit("spring", "S2", removed="S1", fate="discarded", reason="sagged")
    maker.add(
        StockChange(
            happened_at=maker.at, change="discarded", place="shoes", part="H2", reason="cracked"
        )
    )
    maker.later(30).heat("P2", "practice", None)
    with maker.session() as session:
        found = stock_desk(session.weekend)
        lines = "\n".join(stock_lines(found))
        buy = {b.what: (b.count, b.why) for b in to_buy(session.weekend)}
    parts = {p.part: p for p in found.parts}
    assert (parts["S1"].standing, parts["S1"].run_minutes) == ("thrown away", 9.5)
    assert parts["S1"].discarded_because == "sagged"
    assert (parts["S2"].standing, parts["S2"].unknown_runs) == ("fitted", 1)
    assert parts["S3"].standing == "unused"
    assert parts["H2"].discarded_because == "cracked"
    assert "sagged" in lines
    # A weekend took two new ones, and one unused is left for the next.
    assert buy["Springs"] == (
        1, "1 unused left, 2 new ones used this weekend, 1 thrown away",
    )  # fmt: skip
    assert buy["Shoe sets"] == (1, "none unused left, 1 thrown away")


def test_a_part_that_went_from_clutch_to_clutch_keeps_one_age(maker):
    first = (maker.folder / "clutch.toml").read_text()
    (maker.folder / "clutch-b.toml").write_text(first.replace('id = "A"', 'id = "B"', 1))
    maker.go(0, "10:00").heat("P1", "practice", 8)
    maker.fit("spring", "S2", removed="S1")
    maker.add(Fit(happened_at=maker.at, place="spring", part="S1", clutch="B"))
    maker.later(60)
    maker.add(
        HeatRun(happened_at=maker.at, heat="P2", heat_kind="practice", run_minutes=5, clutch="B")
    )
    with maker.session() as session:
        if "B" not in session.weekend.clutches:
            pytest.fail("the second clutch card was not read")
        parts = {p.part: p for p in stock_desk(session.weekend).parts}
        found = day_sheet(session.weekend, maker.at, FRIDAY)
    assert (parts["S1"].run_minutes, parts["S1"].on, parts["S1"].heats) == (13.0, "B", 2)
    assert [h.clutch for h in found.heats if h.ran] == ["A", "B"]
    assert len(found.at_close) == 2


def test_shims_and_supplies_run_out(maker):
    with maker.session() as session:
        tin = session.weekend.stock.shim[0]
        supply = session.weekend.stock.supply[0]
    shim_mm = tin.thickness.value
    maker.add(StockChange(happened_at=maker.at, change="lost", shim_mm=shim_mm, count=tin.count))
    maker.add(StockChange(happened_at=maker.at, change="counted", supply=supply.name, count=0))
    with maker.session() as session:
        buy = {b.what: b for b in to_buy(session.weekend)}
        found = day_sheet(session.weekend, maker.at, FRIDAY)
    assert buy[f"Shims {shim_mm:.2f} mm"].why == "none in the tin"
    assert buy[supply.label].count == supply.buy_below
    assert [s.change for s in found.supplies] == ["lost", "counted"]


def test_a_point_ends_with_its_heat_or_its_part(maker):
    """Asked on the evening sheet: a look at a spring that had been thrown away the day before."""
    maker.go(0, "17:31").note("Look at spring 1 before Q2", about="Spring 1", open_point=True)
    maker.note("Have spring 3 ready", about="Main", open_point=True)
    maker.note("Wash the van", open_point=True)

    def noted(moment):
        points = sheet(maker, None, now=moment).points
        return [p.what for p in points if p.sort == "note"]

    every = ["Look at spring 1 before Q2", "Have spring 3 ready", "Wash the van"]
    assert noted(local(0, "18:00")) == every
    maker.go(1, "9:00").fit("spring", "S2", removed="S1", fate="kept")
    assert noted(local(1, "9:30")) == every
    maker.fit("spring", "S1")
    maker.later(1).fit("spring", "S2", removed="S1", fate="discarded", reason="under the limit")
    assert noted(local(1, "18:00")) == every[1:]
    # What is noted of a part once it is gone is about something else, and stays.
    maker.go(1, "18:10").note("Measure the old one at home", about="S1", open_point=True)
    assert noted(local(1, "18:30")) == [*every[1:], "Measure the old one at home"]
    maker.go(2, "14:00").heat("Main", "main", 30)
    assert noted(local(2, "18:00")) == ["Wash the van", "Measure the old one at home"]
