"""The list before a main: good only by a record, and never for longer than the record holds."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from factory import WeekendMaker, local, scheduled

from pitwright.desk.build import build as build_desk
from pitwright.desk.clock.locked import is_retaining_screw
from pitwright.desk.clock.pre_main import PreMainPoint, pre_main, pre_main_lines
from pitwright.weekend.procedure import Route, Step
from pitwright.weekend.records import Build, StepResult

SCHEDULE = [
    scheduled("W1", "warm-up", 2, "9:30", 6),
    scheduled("M1", "main", 2, "12:00", 20),
]


class Bench(WeekendMaker):
    """Works whole builds, with thread-lock and screw on record."""

    def work(
        self, route: Route = "full rebuild", *, applied: bool | None = True, tight: bool = True,
        skipped: str = "",
    ) -> Build:  # fmt: skip
        """Sign off a build of 40 min that ends now; the dab went on 15 min before the end."""
        with self.session() as session:
            steps = session.weekend.procedure.on_route(route)
        results = []
        for step in steps:
            done = self.at - timedelta(minutes=5)
            locks = step.thread_lock == "medium"
            if step.id == skipped:
                results.append(StepResult(step=step.id, skipped_because="no time"))
                continue
            results.append(
                StepResult(
                    step=step.id,
                    done_at=done,
                    torque_done=tight and step.torque is not None,
                    thread_lock_applied=applied if locks else None,
                    thread_lock_at=self.at - timedelta(minutes=15) if locks and applied else None,
                )
            )
        return self.add(
            Build(
                happened_at=self.at - timedelta(minutes=40),
                finished_at=self.at,
                route=route,
                steps=steps,
                results=results,
            )
        )

    def ready(self) -> Bench:
        """Put everything in order on Sunday morning: readings at 10:20, signed off at 10:30."""
        self.go(2, "10:20")
        self.check(free_length=10.18, shoe_thickness=4.95)
        self.set_recess(1.35)
        self.later(1).check(recess=1.35, end_play=0.25)
        self.go(2, "10:30").work()
        return self

    def point(self, key: str, day: int = 2, clock: str = "11:00") -> PreMainPoint:
        with self.session() as session:
            found = pre_main(session.weekend, local(day, clock))
        return next(p for p in found.points if p.key == key)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = Bench(tmp_path / "w", schedule=SCHEDULE)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    return made


READINGS = ("free_length", "recess", "end_play", "shoe_thickness")


def test_an_empty_log_has_no_record_of_anything(tmp_path: Path) -> None:
    made = Bench(tmp_path / "w", schedule=SCHEDULE)
    with made.session() as session:
        found = pre_main(session.weekend, local(2, "11:00"))
    assert [p.key for p in found.points] == [
        "free_length", "recess", "thread_lock", "retaining_screw", "end_play", "shoe_thickness",
        "race", "bearings_last",
    ]  # fmt: skip
    assert {p.word for p in found.points} == {"no record"}
    assert all(p.why and p.todo for p in found.points)
    assert not found.ready


def test_everything_on_record_is_good(bench: Bench) -> None:
    bench.ready()
    for key in (*READINGS, "thread_lock", "retaining_screw"):
        point = bench.point(key)
        assert (key, point.word, point.why, point.todo) == (key, "good", "", "")
        assert point.record
        assert point.age
    with bench.session() as session:
        found = pre_main(session.weekend, local(2, "11:00"))
    assert found.main is not None
    assert found.main.name == "M1"


class TestReadings:
    @pytest.mark.parametrize("key", READINGS)
    def test_run_since_is_not_good_any_more(self, bench: Bench, key: str) -> None:
        bench.ready().go(2, "10:40").heat("W1", "warm-up", 6)
        point = bench.point(key)
        assert point.word == "too close to call"
        assert "run 6 min since" in point.age
        assert point.why == "run since it was measured"
        assert point.todo.startswith("Measure it")

    def test_a_run_of_unknown_length_counts_too(self, bench: Bench) -> None:
        bench.ready().go(2, "10:40").heat("W1", "warm-up", None)
        assert bench.point("recess").word == "too close to call"
        assert "1 run not timed since" in bench.point("recess").age

    def test_a_heat_called_off_does_not(self, bench: Bench) -> None:
        bench.ready().go(2, "10:40").heat("W1", "warm-up", None, status="cancelled")
        assert bench.point("recess").word == "good"

    @pytest.mark.parametrize("word", ["out", "too close to call"])
    def test_the_verdict_of_the_record_stands(self, bench: Bench, word: str) -> None:
        bench.ready().go(2, "10:45").check(word, end_play=0.31)
        point = bench.point("end_play")
        assert point.word == word
        assert point.todo

    def test_out_stays_out_however_old(self, bench: Bench) -> None:
        bench.ready().go(2, "10:35").check("out", free_length=9.75)
        bench.go(2, "10:40").heat("W1", "warm-up", 6)
        assert bench.point("free_length").word == "out"
        assert bench.point("free_length").todo == "Fit a new spring"

    def test_a_reading_without_a_verdict_proves_nothing(self, bench: Bench) -> None:
        bench.ready().go(2, "10:45")
        bench.check(None, recess=1.36)  # type: ignore[arg-type]
        assert bench.point("recess").word == "no record"

    def test_set_but_not_measured(self, bench: Bench) -> None:
        bench.ready().go(2, "10:45").set_recess(1.40)
        point = bench.point("recess")
        assert point.word == "no record"
        assert point.found == "set to 1.40 mm"

    def test_a_part_fitted_later_overtakes_it(self, bench: Bench) -> None:
        bench.ready().go(2, "10:45").fit("end play shims", shims_mm=[0.1])
        point = bench.point("end_play")
        assert point.word == "no record"
        assert point.why == "fitted since: end play shims"

    def test_a_fresh_spring_has_no_reading_of_its_own(self, bench: Bench) -> None:
        bench.ready().go(2, "10:45").fit("spring", "S2")
        point = bench.point("free_length")
        assert point.word == "no record"
        assert point.why == "Spring 2 was never measured"

    def test_a_build_that_should_have_measured_it_leaves_it_open(self, bench: Bench) -> None:
        # recess only takes recess and end play anew, but neither spring nor shoes
        bench.ready().go(2, "11:30").work("recess only")
        words = {key: bench.point(key, clock="11:40").word for key in READINGS}
        assert words == {
            "free_length": "good",
            "recess": "no record",
            "end_play": "no record",
            "shoe_thickness": "good",
        }
        assert bench.point("recess", clock="11:40").why == (
            "not measured in the last build, a recess only"
        )

    def test_an_open_build_leaves_it_open_until_it_is_measured(self, bench: Bench) -> None:
        bench.ready()
        with bench.session(now=local(2, "10:50")) as session:
            session.keep_build(build_desk.start(session.weekend, "recess only", local(2, "10:50")))
        assert bench.point("recess").why == "not measured yet in the open recess only"
        assert bench.point("free_length").word == "good"
        with bench.session() as session:
            notes = pre_main(session.weekend, local(2, "11:00")).notes
        assert notes[0].startswith("A recess only is still open, at: ")
        bench.go(2, "10:55").check(recess=1.35)
        assert bench.point("recess").word == "good"

    def test_changed_limits_ask_for_a_fresh_reading(self, bench: Bench) -> None:
        bench.ready()
        card = bench.folder / "clutch.toml"
        text = card.read_text()
        card.write_text(
            text.replace('discard_below = { value = "9.8 mm"', 'discard_below = { value = "9.9 mm"')
        )
        point = bench.point("free_length")
        assert point.word == "too close to call"
        assert point.why == "the card's limits were changed since"


class TestThreadLock:
    def test_it_is_not_set_before_its_handling_time(self, bench: Bench) -> None:
        # applied 10:15, 20 min by the card
        bench.ready()
        wet = bench.point("thread_lock", clock="10:34")
        assert wet.word == "too close to call"
        assert wet.todo.startswith("Leave it until 10:35")
        assert wet.found == "19 min old, needs 20 min"
        assert bench.point("thread_lock", clock="10:35").word == "good"

    def test_full_cure_is_told_beside_what_may_be_handled(self, bench: Bench) -> None:
        # applied 10:15 on Sunday; the card's 1440 min end on Monday
        bench.ready()
        assert bench.point("thread_lock", clock="10:34").note == ""
        told = "Set for handling; full cure at Mon 10:15; the bottle's sheet rules"
        set_ = bench.point("thread_lock", clock="10:35")
        assert (set_.word, set_.note, set_.under) == ("good", told, (told,))
        with bench.session(now=local(2, "10:40")) as session:
            found = pre_main(session.weekend, local(2, "10:40"))
            lines = pre_main_lines(found, session.weekend, local(2, "10:40"))
        assert any(line.strip() == told for line in lines)
        card = bench.folder / "clutch.toml"
        text = card.read_text()
        card.write_text(text.replace('"1440 min"', '"60 min"'))
        assert "full cure at 11:15;" in bench.point("thread_lock", clock="11:14").note
        assert bench.point("thread_lock", clock="11:15").note == ""
        card.write_text("\n".join(x for x in text.splitlines() if not x.startswith("full_cure")))
        assert bench.point("thread_lock", clock="10:40").note == ""

    def test_not_set_when_the_main_starts_is_out(self, bench: Bench) -> None:
        bench.ready().go(2, "11:58").work("recess only")  # applied 11:43, sets 12:03
        point = bench.point("thread_lock", clock="11:59")
        assert point.word == "out"
        assert point.why == "not set before M1 starts"

    def test_noted_as_not_applied_is_out(self, bench: Bench) -> None:
        bench.go(2, "10:30").work(applied=False)
        assert bench.point("thread_lock").word == "out"

    @pytest.mark.parametrize("more", [{"applied": None}, {"skipped": "thread-lock"}])
    def test_a_tick_or_a_skipped_step_is_no_record(
        self, bench: Bench, more: dict[str, str]
    ) -> None:
        bench.go(2, "10:30").work(**more)  # type: ignore[arg-type]
        assert bench.point("thread_lock").word == "no record"

    def test_a_nut_turned_after_it_had_set_breaks_it(self, bench: Bench) -> None:
        bench.ready().go(2, "10:40").set_recess(1.40, turns_in=0.07)
        point = bench.point("thread_lock")
        assert point.word == "no record"
        assert point.why == "the nut was turned after it had set"
        assert bench.point("retaining_screw").word == "good"

    def test_a_nut_turned_while_it_is_wet_does_not(self, bench: Bench) -> None:
        bench.ready().go(2, "10:34").set_recess(1.40, turns_in=0.07)
        assert bench.point("thread_lock").word == "good"

    def test_the_same_recess_noted_again_does_not(self, bench: Bench) -> None:
        bench.ready().go(2, "10:40").set_recess(1.35)
        assert bench.point("thread_lock").word == "good"

    def test_a_spring_fitted_outside_a_build_breaks_it(self, bench: Bench) -> None:
        bench.ready().go(2, "10:50").fit("spring", "S2")
        assert bench.point("thread_lock").why == "fitted since: spring"

    def test_running_does_not_make_it_worse(self, bench: Bench) -> None:
        bench.ready().go(2, "10:40").heat("W1", "warm-up", 6)
        assert bench.point("thread_lock").word == "good"

    def test_the_open_build_speaks_for_itself(self, bench: Bench) -> None:
        bench.ready()
        now = local(2, "10:50")
        with bench.session(now=now) as session:
            build = build_desk.start(session.weekend, "recess only", now)
            session.keep_build(build)
        assert bench.point("thread_lock").why == "not done yet in the open recess only"
        assert bench.point("retaining_screw").word == "no record"
        with bench.session(now=now) as session:
            build = build_desk.go_to(build, "thread-lock", now)
            session.keep_build(build_desk.answer_thread_lock(build, True, now))
        assert bench.point("thread_lock", clock="11:00").word == "too close to call"
        assert bench.point("thread_lock", clock="11:10").word == "good"

    def test_a_build_corrected_away_proves_nothing(self, bench: Bench) -> None:
        bench.go(2, "10:30")
        build = bench.work()
        assert bench.point("thread_lock").word == "good"
        bench.later(1).correct(build, "signed off by mistake")
        assert bench.point("thread_lock").word == "no record"


class TestScrew:
    def test_unconfirmed_is_no_record(self, bench: Bench) -> None:
        bench.go(2, "10:30").work(tight=False)
        assert bench.point("retaining_screw").word == "no record"

    def test_run_since_it_was_confirmed(self, bench: Bench) -> None:
        bench.ready().go(2, "10:40").heat("W1", "warm-up", 6)
        point = bench.point("retaining_screw")
        assert point.word == "too close to call"
        assert "run 6 min since" in point.age

    @pytest.mark.parametrize("place", ["bell", "bearings", "end play shims"])
    def test_what_goes_on_under_it_has_it_out(self, bench: Bench, place: str) -> None:
        bench.ready().go(2, "10:45")
        if place == "end play shims":
            bench.fit(place, shims_mm=[0.1])
        else:
            bench.fit(place, "X1")
        assert bench.point("retaining_screw").word == "no record"

    def test_the_caution_stands_where_it_matters(self, bench: Bench) -> None:
        assert (
            "snap" in bench.point("retaining_screw").todo
            or "Build" in bench.point("retaining_screw").todo
        )
        bench.go(2, "10:30").work(tight=False)
        assert "it can snap in the crank" in bench.point("retaining_screw").todo

    def test_which_step_it_is(self, bench: Bench) -> None:
        with bench.session() as session:
            steps = session.weekend.procedure.step
        assert [s.id for s in steps if is_retaining_screw(s)] == ["retaining-screw"]
        own = Step.model_validate(
            {
                "id": "s9", "title": "Retaining screw, M3", "do": "", "routes": ["recess only"],
                "minutes": {"value": "2 min", "from": "invented"},
                "torque": {"feel": "tight"},
            }
        )  # fmt: skip
        assert is_retaining_screw(own)


class TestRace:
    def wear(self, bench: Bench, sag_per_heat: float, wear_per_heat: float = 0.0) -> None:
        """Run five heats on Friday, each begun at the recess that the first was begun at."""
        bench.go(0, "9:00").set_recess(1.35)
        for i in range(6):
            bench.check(
                free_length=round(10.2 - i * sag_per_heat, 3),
                shoe_thickness=round(5.0 - i * wear_per_heat, 3),
                recess=1.35,
            )
            if i < 5:
                bench.later(2).heat(f"X{i}", "practice", 8, warm_up_minutes=2)
                bench.later(20)

    def test_a_clutch_that_hardly_changes_is_good_as_it_is(self, bench: Bench) -> None:
        self.wear(bench, 0.001)
        point = bench.point("race")
        assert point.word == "good"
        assert "off target" in point.found
        assert point.todo == ""

    def test_one_that_sags_fast_is_out_and_told_its_recess(self, bench: Bench) -> None:
        # 0.06 mm a heat since the last began, and 30 min more of it in the main
        self.wear(bench, 0.06)
        point = bench.point("race")
        assert point.word == "out"
        assert point.todo.startswith("Set the recess to 1.49 mm")
        assert "deeper" in point.todo

    def test_shoes_that_wear_fast_ask_for_less_recess(self, bench: Bench) -> None:
        self.wear(bench, 0.0, 0.06)
        assert "shallower" in bench.point("race").todo

    def test_one_reading_says_nothing(self, bench: Bench) -> None:
        bench.ready()
        point = bench.point("race")
        assert point.word == "no record"
        assert "Spring 1" in point.why

    def test_no_main_to_come(self, bench: Bench) -> None:
        self.wear(bench, 0.002)
        with bench.session() as session:
            found = pre_main(session.weekend, local(2, "20:00"))
            lines = pre_main_lines(found, session.weekend, local(2, "20:00"))
        assert found.main is None
        assert next(p for p in found.points if p.key == "race").why == "no main is planned"
        assert lines[0].startswith("No main to come")


def test_another_clutchs_records_do_not_count(bench: Bench) -> None:
    second = bench.folder / "clutch-B.toml"
    text = (bench.folder / "clutch.toml").read_text()
    second.write_text(text.replace('id = "A"', 'id = "B"'))
    bench.ready()
    with bench.session() as session:
        found = pre_main(session.weekend, local(2, "11:00"), "B")
    assert {p.word for p in found.points} == {"no record"}
