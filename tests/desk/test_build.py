"""The rebuild at the desk: transitions, what bars them, times, and the record."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

import pytest

from pitwright.desk.build import build as desk
from pitwright.desk.build.choice import last_build, lay_out, routes
from pitwright.desk.build.end import abandon_note, hindrances, sign_off
from pitwright.desk.build.facts import (
    NotYetError,
    demands,
    landed,
    reading_at,
    result_of,
    step_in_hand,
)
from pitwright.desk.build.steptimes import route_time, step_time, time_left
from pitwright.desk.build.thread_lock import handling_minutes, thread_lock_timer, without_timer
from pitwright.desk.build.view import build_view
from pitwright.desk.build.worktime import (
    carry_on,
    duration,
    keep_time,
    pause,
    resume,
    worked_seconds,
)
from pitwright.desk.stock.fitting import part_choices, part_fit, read_shims, shim_fit
from pitwright.store.create import new_weekend
from pitwright.store.log_writer import as_toml
from pitwright.store.reader import read_folder
from pitwright.weekend.card import HandlingPoint
from pitwright.weekend.log import in_force
from pitwright.weekend.open_work import OpenBuild, OpenWork
from pitwright.weekend.procedure import ROUTES, Route, Step
from pitwright.weekend.records import (
    AnyRecord,
    Build,
    Check,
    Conditions,
    Correction,
    Fit,
    HeatRun,
    Reading,
    StepResult,
    VerdictWord,
)
from pitwright.weekend.weekend import Weekend

T0 = datetime(2026, 5, 15, 8, 0, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return T0 + timedelta(minutes=minutes)


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Weekend:
    folder = tmp_path_factory.mktemp("weekend") / "w"
    new_weekend(folder, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    opened = read_folder(folder, "tent1")
    assert opened.weekend is not None
    return opened.weekend


@dataclass
class Bench:
    """A weekend whose log grows, as it would under the app."""

    weekend: Weekend
    count: int = 0

    def add(self, record: AnyRecord) -> str:
        self.count += 1
        name = f"r{self.count}"
        landed_as = record.model_copy(
            update={"id": name, "laptop": "tent1", "sequence": self.count}
        )
        raw = [*self.weekend.log.records, landed_as]
        self.weekend = replace(self.weekend, log=in_force(raw))
        return name

    def read(
        self,
        step: str,
        quantity: str,
        value: float,
        verdict: VerdictWord = "good",
        *,
        now: datetime = T0,
        part: str | None = None,
        reason: str = "",
    ) -> str:
        reading = Reading(
            quantity=quantity, values_mm=[value], verdict=verdict, part=part, reason=reason
        )
        return self.add(Check(happened_at=now, readings=[reading], step=step))


@pytest.fixture
def bench(fresh: Weekend) -> Bench:
    return Bench(fresh)


def satisfy(bench: Bench, build: OpenBuild, now: datetime) -> OpenBuild:
    """Answer whatever the step in hand still wants."""
    step = step_in_hand(build)
    for demand in demands(build, bench.weekend, step):
        if demand.kind == "part" and demand.what in ("height shims", "end play shims"):
            place = demand.what
            bench.add(shim_fit(place, (0.1, 0.15), clutch="A", now=now, step=step.id))  # type: ignore[arg-type]
        elif demand.kind == "part":
            part = part_choices(bench.weekend, demand.what, "A")[0].part  # type: ignore[arg-type]
            bench.add(
                part_fit(bench.weekend, demand.what, part, clutch="A", now=now, step=step.id)  # type: ignore[arg-type]
            )
        elif demand.kind == "reading":
            part = {"free_length": "S1", "shoe_thickness": "H1"}.get(demand.what)
            bench.read(step.id, demand.what, 1.4, now=now, part=part)
        elif demand.kind == "thread-lock":
            build = desk.answer_thread_lock(build, True, now)
        elif demand.kind == "torque":
            build = desk.confirm_torque(build)
    return build


def go(bench: Bench, build: OpenBuild, step: str, now: datetime) -> OpenBuild:
    return desk.go_to(build, step, now)


def play(bench: Bench, route: str, begun: float, each: Callable[[str], float]) -> Build:
    """Work a whole build, ``each`` step taking so many minutes; return its record."""
    now = at(begun)
    build = desk.start(bench.weekend, route, now)  # type: ignore[arg-type]
    for step in build.steps:
        build = satisfy(bench, build, now)
        now += timedelta(minutes=each(step.id))
        build = desk.tick(build, bench.weekend, now)
    record = sign_off(build, bench.weekend, now)
    bench.add(record)
    return record


class TestStart:
    def test_copies_the_steps_of_the_route(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "recess only", T0)
        assert [s.id for s in build.steps] == [
            "make-safe",
            "strip",
            "thread-lock",
            "recess",
            "bearings",
            "bell-on",
            "screw-snug",
            "end-play-shims",
            "retaining-screw",
            "end-play",
            "final",
        ]
        assert build.at == 0
        assert build.worked_since == T0
        assert build.clutch == "A"

    def test_an_edited_procedure_leaves_an_open_build_alone(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "recess only", T0)
        edited = replace(
            fresh, procedure=fresh.procedure.model_copy(update={"step": fresh.procedure.step[:1]})
        )
        assert len(build_view(edited, build, T0).steps) == 11

    def test_no_steps_on_the_route_is_refused(self, fresh: Weekend) -> None:
        only = [s.model_copy(update={"routes": ["full rebuild"]}) for s in fresh.procedure.step[:1]]
        bare = replace(fresh, procedure=fresh.procedure.model_copy(update={"step": only}))
        with pytest.raises(ValueError, match="no step on the route 'recess only'"):
            desk.start(bare, "recess only", T0)

    def test_survives_the_disk(self, fresh: Weekend) -> None:
        import tomllib

        build = desk.start(fresh, "full rebuild", T0 + timedelta(microseconds=123456))
        build = desk.note_step(desk.tick(build, fresh, at(2)), 'said "so" [b]')
        again = OpenBuild.model_validate(tomllib.loads(as_toml(build).decode()))
        assert again == build


class TestTime:
    def test_pauses_do_not_count(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "full rebuild", T0)
        build = pause(build, at(2))
        assert worked_seconds(build, at(30)) == 120
        build = carry_on(build, at(30))
        assert worked_seconds(build, at(31)) == 180
        build = desk.tick(build, fresh, at(31))
        assert result_of(build, "make-safe").seconds == 180
        assert worked_seconds(build, at(31.5)) == 30

    def test_pausing_twice_or_going_on_twice_changes_nothing(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "full rebuild", T0)
        assert carry_on(build, at(1)) is build
        paused = pause(build, at(1))
        assert pause(paused, at(5)) == paused

    def test_time_between_the_last_keep_and_reopening_does_not_count(self, fresh: Weekend) -> None:
        build = keep_time(desk.start(fresh, "full rebuild", T0), at(3))
        reopened = resume(build, at(90))
        assert worked_seconds(reopened, at(90)) == 180
        assert worked_seconds(reopened, at(91)) == 240

    def test_a_step_left_half_done_keeps_its_time(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "full rebuild", T0)
        build = desk.go_to(build, "strip", at(2))
        build = desk.go_to(build, "make-safe", at(3))
        assert worked_seconds(build, at(3)) == 120
        build = desk.tick(build, fresh, at(4))
        assert result_of(build, "make-safe").seconds == 180
        assert step_in_hand(build).id == "strip"
        assert worked_seconds(build, at(4)) == 60

    def test_looking_at_a_done_step_adds_nothing_to_it(self, fresh: Weekend) -> None:
        build = desk.tick(desk.start(fresh, "full rebuild", T0), fresh, at(2))
        build = desk.go_to(build, "make-safe", at(2))
        build = desk.go_to(build, "strip", at(9))
        assert result_of(build, "make-safe").seconds == 120
        assert worked_seconds(build, at(9)) == 0

    def test_a_clock_set_back_takes_no_time_away(self, fresh: Weekend) -> None:
        build = keep_time(desk.start(fresh, "full rebuild", T0), at(2))
        assert worked_seconds(build, at(-60)) == 120

    def test_a_tick_at_once_counts_as_batch(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "full rebuild", T0)
        build = desk.tick(build, fresh, T0 + timedelta(seconds=2))
        result = result_of(build, "make-safe")
        assert result.batch
        assert result.seconds is None

    @pytest.mark.parametrize(
        ("seconds", "shown"), [(0, "0:00"), (65.9, "1:05"), (3600, "1:00:00"), (3725, "1:02:05")]
    )
    def test_duration(self, seconds: float, shown: str) -> None:
        assert duration(seconds) == shown


class TestTick:
    def test_moves_on_to_the_next_open_step(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "full rebuild", T0)
        build = desk.go_to(build, "strip", T0)
        build = desk.tick(build, fresh, at(1))
        assert step_in_hand(build).id == "inspect"
        assert result_of(build, "strip").seconds == 60

    def test_a_reading_is_wanted(self, bench: Bench) -> None:
        build = desk.start(bench.weekend, "recess only", T0)
        build = go(bench, build, "recess", T0)
        with pytest.raises(NotYetError, match="Measure the nut recess") as caught:
            desk.tick(build, bench.weekend, at(1))
        assert [d.kind for d in caught.value.wanted] == ["reading"]  # type: ignore[union-attr]
        bench.read("recess", "recess", 1.4)
        assert desk.tick(build, bench.weekend, at(1)).result("recess") is not None

    def test_a_reading_of_another_step_or_of_before_does_not_count(self, bench: Bench) -> None:
        bench.read("recess", "recess", 1.4, now=at(-5))
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        bench.read("end-play", "recess", 1.4)
        assert [d.kind for d in demands(build, bench.weekend, step_in_hand(build))] == ["reading"]

    @pytest.mark.parametrize(
        ("verdict", "barred"), [("good", False), ("too close to call", False), ("out", True)]
    )
    def test_only_out_bars(self, bench: Bench, verdict: VerdictWord, barred: bool) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        bench.read("recess", "recess", 1.7, verdict)
        kinds = [d.kind for d in demands(build, bench.weekend, step_in_hand(build))]
        assert kinds == (["reason"] if barred else [])

    def test_a_reason_lets_an_out_reading_pass(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        bench.read("recess", "recess", 1.9, "out")
        build = desk.accept_out(build, " the last spring we have ")
        build = desk.tick(build, bench.weekend, at(1))
        assert result_of(build, "recess").out_because == "the last spring we have"

    def test_a_reason_kept_with_the_reading_passes_too(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        bench.read("recess", "recess", 1.9, "out", reason="last spring")
        assert demands(build, bench.weekend, step_in_hand(build)) == ()

    def test_measuring_again_in_limits_passes(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        bench.read("recess", "recess", 1.9, "out")
        bench.read("recess", "recess", 1.6)
        assert demands(build, bench.weekend, step_in_hand(build)) == ()

    def test_a_corrected_reading_counts_as_corrected(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        wrong = bench.read("recess", "recess", 1.4)
        right = Check(
            happened_at=T0,
            step="recess",
            readings=[Reading(quantity="recess", values_mm=[1.9], verdict="out")],
        )
        bench.add(Correction(happened_at=T0, replaces=wrong, reason="typo", replacement=right))
        assert [d.kind for d in demands(build, bench.weekend, step_in_hand(build))] == ["reason"]

    def test_a_quantity_not_on_the_card_is_not_asked_for(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "recess", T0)
        step = step_in_hand(build).model_copy(update={"measures": ["wobble"]})
        assert demands(build, bench.weekend, step) == ()

    def test_part_comes_before_its_reading(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "spring change", T0), "spring", T0)
        kinds = [d.kind for d in demands(build, bench.weekend, step_in_hand(build))]
        assert kinds == ["part", "reading"]

    def test_another_spring_makes_its_reading_wanted_again(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "spring change", T0), "spring", T0)
        build = satisfy(bench, build, T0)
        assert reading_at(build, bench.weekend, "spring", "free_length") is not None
        bench.add(part_fit(bench.weekend, "spring", "S2", clutch="A", now=at(1), step="spring"))
        assert [d.kind for d in demands(build, bench.weekend, step_in_hand(build))] == ["reading"]

    def test_new_shims_overtake_the_end_play_already_read(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "end-play", T0)
        bench.read("end-play", "end_play", 0.25)
        build = desk.tick(build, bench.weekend, at(1))
        bench.add(shim_fit("end play shims", (0.2,), clutch="A", now=at(2), step="bell-on"))
        words = [h.words for h in hindrances(build, bench.weekend) if h.step == "end-play"]
        assert words == ["Measure the bell end play"]
        line = next(
            s for s in build_view(bench.weekend, build, at(2)).steps if s.step == "end-play"
        )
        assert line.wants

    def test_thread_lock_and_torque_are_asked(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "full rebuild", T0), "flywheel-nut", T0)
        kinds = [d.kind for d in demands(build, bench.weekend, step_in_hand(build))]
        assert kinds == ["torque"]  # no thread-lock here: said, not asked
        build = go(bench, build, "thread-lock", T0)
        kinds = [d.kind for d in demands(build, bench.weekend, step_in_hand(build))]
        assert kinds == ["thread-lock"]
        build = desk.answer_thread_lock(build, False, at(1))
        build = desk.tick(build, bench.weekend, at(1))
        assert result_of(build, "thread-lock").thread_lock_applied is False
        assert result_of(build, "thread-lock").thread_lock_at is None


class TestBatchUntickSkip:
    def test_batch_leaves_what_still_wants_something(self, bench: Bench) -> None:
        build = desk.start(bench.weekend, "recess only", T0)
        names = [s.id for s in build.steps[:5]]
        build, left = desk.batch_tick(build, bench.weekend, names, at(10))
        assert left == ("thread-lock", "recess")
        assert step_in_hand(build).id == "thread-lock"
        done = [r for r in build.results if r.done_at is not None]
        assert [r.step for r in done] == ["make-safe", "strip", "bearings"]
        assert all(r.batch and r.seconds is None for r in done)

    def test_untick_opens_it_again_with_its_time(self, fresh: Weekend) -> None:
        build = desk.tick(desk.start(fresh, "full rebuild", T0), fresh, at(2))
        build = desk.untick(build, "make-safe", at(3))
        assert step_in_hand(build).id == "make-safe"
        assert worked_seconds(build, at(4)) == 180
        assert result_of(build, "strip").seconds == 60
        assert hindrances(build, fresh)[0].step == "make-safe"

    def test_untick_of_the_step_in_hand_and_of_an_open_step(self, fresh: Weekend) -> None:
        build = desk.tick(desk.start(fresh, "full rebuild", T0), fresh, at(2))
        back = desk.untick(desk.go_to(build, "make-safe", at(3)), "make-safe", at(5))
        assert worked_seconds(back, at(5)) == 120
        same = desk.untick(build, "strip", at(4))
        assert worked_seconds(same, at(4)) == 120

    def test_untick_asks_for_the_tightness_again(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "retaining-screw", T0)
        build = desk.tick(desk.confirm_torque(build), bench.weekend, at(1))
        build = desk.untick(build, "retaining-screw", at(2))
        assert [d.kind for d in demands(build, bench.weekend, step_in_hand(build))] == ["torque"]

    def test_skip_without_reason_stays_open_and_visible(self, fresh: Weekend) -> None:
        build = desk.skip(desk.start(fresh, "full rebuild", T0), "  ", at(1))
        assert step_in_hand(build).id == "strip"
        assert build_view(fresh, build, at(1)).steps[0].mark == "passed over"
        build = desk.tick(build, fresh, at(2))
        assert hindrances(build, fresh)[0].words == "skipped, no reason"

    def test_skip_with_reason(self, fresh: Weekend) -> None:
        build = desk.skip(desk.start(fresh, "full rebuild", T0), "done at home", at(1))
        assert build_view(fresh, build, at(1)).steps[0].mark == "skipped"
        assert "make-safe" not in {h.step for h in hindrances(build, fresh)}
        assert result_of(build, "make-safe").seconds is None

    @pytest.mark.parametrize("text", ["x" * 201, "a\tb", "a\x1b[31m"])
    def test_a_reason_that_cannot_be_kept_is_refused(self, fresh: Weekend, text: str) -> None:
        build = desk.start(fresh, "full rebuild", T0)
        assert desk.reason_trouble(text)
        with pytest.raises(ValueError, match=r"."):
            desk.skip(build, text, at(1))

    def test_unknown_step(self, fresh: Weekend) -> None:
        with pytest.raises(ValueError, match="no step 'nope'"):
            desk.go_to(desk.start(fresh, "full rebuild", T0), "nope", T0)


class TestSignOff:
    def test_open_steps_bar_it(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "recess only", T0)
        with pytest.raises(NotYetError) as caught:
            sign_off(build, fresh, at(1))
        assert len(caught.value.wanted) == 11

    def test_whole_build(self, bench: Bench) -> None:
        record = play(bench, "full rebuild", 0, lambda _step: 2.0)
        assert len(record.results) == len(record.steps) == 22
        assert record.happened_at == T0
        assert record.finished_at == at(44)
        spring = next(r for r in record.results if r.step == "spring")
        assert len(spring.checks) == 2  # the fit and the reading
        assert all(r.seconds == 120 for r in record.results)
        lock = next(r for r in record.results if r.step == "thread-lock")
        assert lock.thread_lock_at == at(20)
        assert bench.weekend.state(None).build is not None

    def test_a_landed_record_is_recognised(self, bench: Bench) -> None:
        build = desk.start(bench.weekend, "recess only", T0 + timedelta(microseconds=7))
        for _ in build.steps:
            build = desk.tick(satisfy(bench, build, T0), bench.weekend, at(5))
        assert landed(build, bench.weekend) is None
        bench.add(sign_off(build, bench.weekend, at(6)))
        assert landed(build, bench.weekend) is not None
        assert landed(desk.start(bench.weekend, "recess only", at(7)), bench.weekend) is None

    def test_abandoning_leaves_a_note_with_what_was_said(self, fresh: Weekend) -> None:
        build = desk.tick(desk.start(fresh, "recess only", T0), fresh, at(1))
        build = desk.note_step(build, "key is worn")
        note = abandon_note(build, fresh, "called to the grid", at(3))
        assert "1 of 11 steps" in note.text
        assert "called to the grid" in note.text
        assert "key is worn" in note.text
        assert note.open_point


class TestStepTimes:
    def test_the_card_until_there_are_own_times(self, fresh: Weekend) -> None:
        step = fresh.procedure.step[0]
        assert step_time(fresh, step, "full rebuild").minutes == 3
        total = route_time(fresh, "full rebuild")
        assert total.minutes == sum(s.minutes.value for s in fresh.procedure.step)
        assert (total.steps, total.own) == (22, 0)
        assert total.basis == "the card's estimates"

    def test_median_of_own_builds_on_the_route(self, bench: Bench) -> None:
        play(bench, "recess only", 0, lambda _s: 1.0)
        play(bench, "recess only", 100, lambda _s: 5.0)
        play(bench, "recess only", 200, lambda _s: 2.0)
        play(bench, "spring change", 300, lambda _s: 9.0)
        step = bench.weekend.procedure.step[0]
        assert step_time(bench.weekend, step, "recess only").minutes == 2
        assert step_time(bench.weekend, step, "recess only").builds == 3
        # never timed on a full rebuild: the times of the other routes are still one's own
        assert step_time(bench.weekend, step, "full rebuild").minutes == 3.5

    def test_batch_and_skipped_steps_are_left_out(self, bench: Bench) -> None:
        slow = Build(
            happened_at=T0,
            finished_at=at(9),
            route="recess only",
            steps=bench.weekend.procedure.on_route("recess only"),
            results=[
                StepResult(step="make-safe", done_at=T0, seconds=7.0, batch=True),
                StepResult(step="strip", skipped_because="no need", seconds=9.0),
                StepResult(step="recess", done_at=T0, seconds=90.0),
            ],
        )
        bench.add(slow)
        total = route_time(bench.weekend, "recess only")
        assert total.own == 1
        assert total.basis == "your own times for 1 of 11 steps"

    def test_time_left_of_the_open_build(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "recess only", T0)
        whole = time_left(fresh, build, T0)
        assert whole.minutes == route_time(fresh, "recess only").minutes
        assert time_left(fresh, build, at(1)).minutes == pytest.approx(whole.minutes - 1)
        # overrun: nearly done, never less than nothing
        assert time_left(fresh, build, at(60)).minutes == pytest.approx(whole.minutes - 3)
        skipped = desk.skip(build, "at home", at(1))
        assert time_left(fresh, skipped, at(1)).minutes == pytest.approx(whole.minutes - 3)


class TestThreadLock:
    def test_one_figure(self, fresh: Weekend) -> None:
        assert handling_minutes(fresh.card(), 5.0) == 20

    def test_by_temperature(self, fresh: Weekend) -> None:
        def point(celsius: float, minutes: float) -> HandlingPoint:
            return HandlingPoint.model_validate(
                {
                    "temperature": {"value": f"{celsius} degC", "from": "maker"},
                    "handling": {"value": f"{minutes} min", "from": "maker"},
                }
            )

        card = fresh.card()
        lock = card.thread_lock.model_copy(
            update={"by_temperature": [point(22, 20), point(10, 40)]}
        )
        card = card.model_copy(update={"thread_lock": lock})
        assert handling_minutes(card, None) == 20
        assert handling_minutes(card, 0) == 40
        assert handling_minutes(card, 16) == pytest.approx(30)
        assert handling_minutes(card, 35) == 20

    def test_timer_comes_and_goes(self, bench: Bench) -> None:
        build = desk.start(bench.weekend, "recess only", T0)
        timer, minutes = thread_lock_timer(bench.weekend, build, "thread-lock", at(1))
        assert timer.due_at == at(21)
        assert minutes == 20
        assert without_timer([timer], build, "thread-lock") == []
        assert without_timer([timer], build, "strip") == [timer]

    def test_a_second_build_ends_the_timer_of_the_joint_it_undid(self, bench: Bench) -> None:
        full = desk.start(bench.weekend, "full rebuild", T0)
        first, _ = thread_lock_timer(bench.weekend, full, "thread-lock", at(1))
        short = desk.start(bench.weekend, "recess only", at(5))
        assert [s.id for s in full.steps].index("thread-lock") != [s.id for s in short.steps].index(
            "thread-lock"
        )
        assert without_timer([first], short, "thread-lock") == []
        other = short.model_copy(update={"clutch": "B"})
        assert without_timer([first], other, "thread-lock") == [first]

    def test_a_joint_with_a_long_name_has_a_timer_of_its_own(self, bench: Bench) -> None:
        build = desk.start(bench.weekend, "recess only", T0)
        lock = next(s for s in build.steps if s.id == "thread-lock")
        long = [lock.model_copy(update={"id": f"{'n' * 39}{end}"}) for end in "12"]
        build = build.model_copy(update={"steps": long})
        timers = [thread_lock_timer(bench.weekend, build, s.id, at(1))[0] for s in long]
        assert without_timer(timers, build, long[0].id) == [timers[1]]

    def test_the_cold_of_the_last_heat_counts(self, bench: Bench) -> None:
        from pitwright.desk.build.thread_lock import air_lately

        heat = HeatRun(
            happened_at=T0, heat="P1", heat_kind="practice", conditions=Conditions(air_c=9.5)
        )
        bench.add(heat)
        assert air_lately(bench.weekend, at(60)) == 9.5
        assert air_lately(bench.weekend, at(600)) is None


class TestFitting:
    def test_the_part_there_comes_first_and_thrown_away_ones_do_not(self, bench: Bench) -> None:
        bench.add(part_fit(bench.weekend, "spring", "S2", clutch="A", now=T0))
        assert [c.part for c in part_choices(bench.weekend, "spring", "A")] == ["S2", "S1"]
        fit = part_fit(
            bench.weekend,
            "spring",
            "S1",
            clutch="A",
            now=at(1),
            fate="discarded",
            reason="9.75 mm",
        )
        assert (fit.removed, fit.fate, fit.reason) == ("S2", "discarded", "9.75 mm")
        bench.add(fit)
        assert [c.part for c in part_choices(bench.weekend, "spring", "A")] == ["S1"]

    def test_the_same_part_removes_nothing(self, bench: Bench) -> None:
        bench.add(part_fit(bench.weekend, "spring", "S1", clutch="A", now=T0))
        fit = part_fit(
            bench.weekend, "spring", "S1", clutch="A", now=at(1), fate="discarded", reason="x"
        )
        assert fit == Fit(happened_at=at(1), place="spring", part="S1")

    @pytest.mark.parametrize(
        ("typed", "shims"),
        [
            ("0.10 0.15", (0.1, 0.15)),
            ("0,10 0,15", (0.1, 0.15)),
            ("0.004 in", (0.1016,)),
            ("none", ()),
            ("0", ()),
        ],
    )
    def test_shims_as_typed(self, fresh: Weekend, typed: str, shims: tuple[float, ...]) -> None:
        read = read_shims(fresh, typed)
        assert read.trouble == ""
        assert read.shims_mm == shims

    @pytest.mark.parametrize("typed", ["", "0.1 x", "0.10 0", "10", "0.1,"])
    def test_shims_that_cannot_be_read(self, fresh: Weekend, typed: str) -> None:
        assert read_shims(fresh, typed).trouble

    def test_shims_the_tin_does_not_hold_are_asked_about(self, fresh: Weekend) -> None:
        assert read_shims(fresh, "0.10 0.15").question == ""
        assert "0.12" in read_shims(fresh, "0.12").question
        assert "fewer" in read_shims(fresh, "0.3 0.3 0.3 0.3 0.3").question


class TestView:
    def test_step_in_hand_carries_what_matters(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "full rebuild", T0), "retaining-screw", T0)
        view = build_view(bench.weekend, build, at(1)).in_hand
        assert view.torque == "Very tight, by feel"
        assert "snap" in view.torque_caution

    def test_a_torque_figure_says_what_the_driver_leaves_of_it(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "full rebuild", T0), "retaining-screw", T0)
        torque = {"figure": {"value": "2 N m", "from": "invented"}, "feel": "evenly"}
        steps = [
            Step.model_validate({**s.model_dump(by_alias=True), "torque": torque})
            if s.id == "retaining-screw"
            else s
            for s in build.steps
        ]
        build = build.model_copy(update={"steps": steps})
        view = build_view(bench.weekend, build, at(1)).in_hand
        # the card's driver is good to 6 %
        assert view.torque == "2 N m, the driver gives 1.88 to 2.12 N m, evenly"

    def test_the_step_in_hand_is_counted_and_timed(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "full rebuild", T0), "retaining-screw", T0)
        view = build_view(bench.weekend, build, at(1)).in_hand
        assert view.number == 20
        assert view.of == 22
        assert view.worked == "1:00"

    def test_measured_and_fitted_lines(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "spring change", T0), "spring", T0)
        before = build_view(bench.weekend, build, T0).in_hand
        assert before.measures[0].limits == "discard at 9.80 mm or below"
        assert before.measures[0].verdict is None
        build = satisfy(bench, build, T0)
        after = build_view(bench.weekend, build, T0).in_hand
        assert after.measures[0].value == "1.40 mm"
        assert after.fits[0].recorded == "Spring 1"
        assert after.demands == ()

    def test_thread_lock_says_when_it_can_be_handled(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "recess only", T0), "thread-lock", T0)
        build = desk.answer_thread_lock(build, True, at(1))
        timer, _minutes = thread_lock_timer(bench.weekend, build, "thread-lock", at(1))
        weekend = replace(bench.weekend, open=OpenWork(build=build, timers=[timer]))
        view = build_view(weekend, build, at(2)).in_hand
        assert view.thread_lock == "Medium: applied 09:01, can be handled from 09:21"

    def test_last_build_and_routes(self, bench: Bench) -> None:
        assert last_build(bench.weekend) is None
        play(bench, "recess only", 0, lambda _s: 2.0)
        found = last_build(bench.weekend)
        assert found is not None
        assert (found.route, found.worked) == ("recess only", "22:00")
        choices = {c.route: c.time for c in routes(bench.weekend)}
        assert choices["recess only"].minutes == 22
        assert choices["recess only"].basis == "your own times"

    def test_what_came_of_it_so_far(self, bench: Bench) -> None:
        build = go(bench, desk.start(bench.weekend, "spring change", T0), "spring", T0)
        build = desk.tick(satisfy(bench, build, T0), bench.weekend, at(2))
        build = desk.answer_thread_lock(build, True, at(3))
        build = desk.skip(desk.go_to(build, "final", at(4)), "no time", at(4))
        assert build_view(bench.weekend, build, at(4)).so_far == (
            "Spring: Spring 1",
            "Spring free length: 1.40 mm, good",
            "Thread-lock: Medium: applied 09:03, can be handled from 09:23",
            "Skipped: Final checks, no time",
        )

    def test_a_clutch_whose_card_is_gone_still_shows(self, fresh: Weekend) -> None:
        build = desk.start(fresh, "recess only", T0).model_copy(update={"clutch": "Z"})
        with pytest.raises(KeyError):
            fresh.card("Z")
        view = build_view(fresh, desk.go_to(build, "recess", T0), T0)
        assert not view.in_hand.measures[0].known
        view = build_view(fresh, desk.go_to(build, "end-play-shims", T0), T0)
        assert view.in_hand.fits[0].before == ""


class TestShippedProcedure:
    """The order and the cautions of the trade: common practice, no source."""

    def test_the_order_is_the_trades(self, fresh: Weekend) -> None:
        ids = [s.id for s in fresh.procedure.step]
        told = [
            "make-safe", "flywheel-nut", "cut-shoes", "spring", "thread-lock", "adjuster-nut",
            "recess", "pinions", "height-shims", "bearings", "bell-on", "screw-snug",
            "end-play-shims", "retaining-screw", "end-play",
        ]  # fmt: skip
        assert [i for i in ids if i in told] == told

    def test_each_step_says_what_must_not_be_missed(self, fresh: Weekend) -> None:
        step = {s.id: s for s in fresh.procedure.step}
        shoes = step["cut-shoes"].do
        assert shoes.index("in four") < shoes.index("square")
        assert any("knife" in c for c in step["cut-shoes"].cautions)
        assert "one behind, two in front" in step["bearings"].title
        assert "covers" in step["bell-on"].title
        assert "snug" in step["screw-snug"].do
        assert step["screw-snug"].torque is None
        assert {"zero", "datum"} <= set(re.findall(r"[a-z]+", step["recess"].do))

    @pytest.mark.parametrize("route", ROUTES)
    def test_every_route_is_begun_safely_and_cleans_threads_before_a_dab(
        self, fresh: Weekend, route: Route
    ) -> None:
        steps = fresh.procedure.on_route(route)
        said = " ".join([steps[0].do, *steps[0].cautions])
        assert all(word in said for word in ("Gloves", "glasses", "methanol", "back of a hand"))
        assert "in the hand" not in said
        dabs = [s for s in steps if s.thread_lock == "medium"]
        assert dabs
        assert all("both threads" in s.do for s in dabs)

    def test_what_to_lay_out_is_named_once_with_what_reads_its_sizes(self, fresh: Weekend) -> None:
        tools, parts = lay_out(fresh, "recess only")
        assert tools.startswith("Tools: Gloves and glasses · ")
        assert tools.count("Nut wrench") == 1
        assert "Depth rod" in tools
        assert "Knife" not in tools
        assert parts == "Parts: Thread-lock, medium · Bearings, if rough · End play shims"
        assert "Knife" in lay_out(fresh, "full rebuild")[0]
