"""What fits before the next heat, with a clock that stands still.

Times of the card's procedure (template): full rebuild 56 min, with the dab of thread-lock done
34 min in; spring change 29 min, recess only 23 min; handling time 20 min. Worked by hand below.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from factory import WeekendMaker, local, scheduled

from pitwright.desk.build import build as build_desk
from pitwright.desk.clock.pit_clock import HANDS_OFF, Fits, PitClock, pit_clock
from pitwright.desk.clock.pit_clock_words import headline, job_lines, pit_clock_lines, spare_words
from pitwright.desk.clock.timers import cool_down_timer
from pitwright.desk.heats.heats import start_heat, stop
from pitwright.desk.status import countdown_words, next_heat, status_line, unnoted
from pitwright.desk.wording import from_time, needed_words, when_words
from pitwright.store.create import new_weekend
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.open_work import Timer
from pitwright.weekend.procedure import Route
from pitwright.weekend.records import Build, StepResult
from pitwright.weekend.weekend import Weekend

SCHEDULE = [
    scheduled("P1", "practice", 0, "9:00", 8, 1),
    scheduled("P2", "practice", 0, "10:30", 8, 2),
    scheduled("Q1", "qualifier", 1, "9:00", 6, 1),
]


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    return WeekendMaker(tmp_path / "w", schedule=SCHEDULE)


@pytest.fixture
def weekend(maker: WeekendMaker) -> Weekend:
    with maker.session() as session:
        return session.weekend


@pytest.fixture
def honolulu() -> Iterator[None]:
    """A laptop that stands in another time zone than the venue."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "Pacific/Honolulu"
    time.tzset()
    yield
    if before is None:
        del os.environ["TZ"]
    else:
        os.environ["TZ"] = before
    time.tzset()


def job(found: PitClock, route: Route) -> Fits:
    return next(j for j in found.jobs if j.route == route)


class TestWhatFits:
    def test_by_the_cards_estimates(self, weekend: Weekend) -> None:
        # Steps after the dab: spring change 2+3+2+2+2+3+3 = 17 min, so 20 - 17 = 3 min of wait.
        # Recess only: 3+2+2+2+3+3 = 15 after the dab, so 5 min of wait. Full: 20 after, none.
        found = pit_clock(weekend, local(0, "8:00"))
        assert found.heat is not None
        assert found.heat.name == "P1"
        assert found.minutes_to_heat == 60
        needed = {j.route: (j.working, j.waiting, j.needed) for j in found.jobs}
        assert needed == {
            "full rebuild": (56, 0, 56),
            "spring change": (28, 3, 31),
            "recess only": (22, 5, 27),
        }
        full = job(found, "full rebuild")
        assert full.spare == pytest.approx(4)
        assert full.latest_start == local(0, "8:04")
        assert found.advice == "full rebuild"

    @pytest.mark.parametrize(
        ("at", "advice"),
        [
            ("8:04", "full rebuild"),
            ("8:05", "spring change"),
            ("8:29", "spring change"),
            ("8:30", "recess only"),
            ("8:33", "recess only"),
            ("8:34", HANDS_OFF),
            ("8:59", HANDS_OFF),
        ],
    )
    def test_the_advice_changes_at_the_latest_start(
        self, weekend: Weekend, at: str, advice: str
    ) -> None:
        assert pit_clock(weekend, local(0, at)).advice == advice

    def test_a_second_past_the_latest_start_is_too_late(self, weekend: Weekend) -> None:
        late = pit_clock(weekend, local(0, "8:04") + timedelta(seconds=1))
        assert not job(late, "full rebuild").fits

    def test_without_a_heat_everything_fits(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            found = pit_clock(session.weekend, local(2, "20:00"))
        assert found.heat is None
        assert all(j.fits and j.spare is None for j in found.jobs)

    def test_the_users_own_times_take_over(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            steps = session.weekend.procedure.on_route("recess only")
        maker.go(0, "7:30").add(
            Build(
                happened_at=maker.at,
                finished_at=maker.at,
                route="recess only",
                steps=steps,
                # each step took two minutes; the last was ticked in a batch and tells nothing
                results=[
                    StepResult(
                        step=s.id, done_at=maker.at, seconds=None if s is steps[-1] else 120.0,
                        batch=s is steps[-1],
                    )
                    for s in steps
                ],
            )
        )  # fmt: skip
        with maker.session() as session:
            found = pit_clock(session.weekend, local(0, "8:00"))
        recess = job(found, "recess only")
        # 10 steps of 2 min and 3 min by the card; after the dab 7 x 2 + 3 = 17, so 3 min of wait
        assert recess.working == pytest.approx(10 * 2 + 3)
        assert recess.waiting == pytest.approx(3)
        assert recess.basis == "your own times for 10 of 11 steps"

    def test_a_delay_gives_time(self, maker: WeekendMaker) -> None:
        maker.go(0, "8:10").delay("P1", 30)
        with maker.session() as session:
            found = pit_clock(session.weekend, local(0, "8:20"))
        assert found.minutes_to_heat == 70
        assert found.advice == "full rebuild"


class TestHeats:
    def test_a_heat_past_its_start_stays_next_until_its_end(self, weekend: Weekend) -> None:
        late = pit_clock(weekend, local(0, "9:03"))
        assert late.heat is not None
        assert late.heat.name == "P1"
        assert late.minutes_to_heat == -3
        assert late.advice == HANDS_OFF
        over = pit_clock(weekend, local(0, "9:08"))
        assert over.heat is not None
        assert over.heat.name == "P2"
        assert over.unnoted == ("P1",)
        assert "Not noted yet: P1" in pit_clock_lines(over, weekend)

    def test_a_noted_or_called_off_heat_is_neither(self, maker: WeekendMaker) -> None:
        maker.go(0, "9:00").heat("p1", "practice")
        with maker.session() as session:
            assert unnoted(session.weekend, local(0, "9:30")) == ()
            heat = next_heat(session.weekend, local(0, "9:01"))
        assert heat is not None
        assert heat.name == "P2"

    def test_work_counts_from_the_end_of_a_running_heat(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            plan = session.weekend.schedule[0]
            session.keep_heat(start_heat(session.weekend, local(0, "9:02"), planned=plan))
            found = pit_clock(session.weekend, local(0, "9:05"))
            lines = pit_clock_lines(found, session.weekend)
            overrun = pit_clock(session.weekend, local(0, "9:20"))
            open_heat = session.weekend.open.heat
            assert open_heat is not None
            session.keep_heat(stop(open_heat, local(0, "9:11")))
            stopped = pit_clock(session.weekend, local(0, "9:12"))
        # 9:02 + 8 min = 9:10; then cooling for 12 min holds up measuring the spring 10 min in
        # (3 make safe + 3 strip, the spring step's own 4 come after): 12 - 6 = 6 min more.
        assert found.running == "P1"
        assert found.clutch_free_in == 5
        change = job(found, "spring change")
        assert change.needed == pytest.approx(28 + 6 + 3)
        assert change.spare == pytest.approx(85 - 5 - 37)
        assert any("P1 is running, over in 5 min" in line for line in lines)
        assert overrun.clutch_free_in == 0
        assert stopped.running == ""
        assert stopped.heat is not None
        assert stopped.heat.name == "P2"

    def test_cooling_and_thread_lock_wait_side_by_side(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            timer = cool_down_timer(session.weekend, local(0, "9:10"))
            assert timer is not None
            session.keep_timers([timer])
            at_once = job(pit_clock(session.weekend, local(0, "9:10")), "recess only")
            later = job(pit_clock(session.weekend, local(0, "9:20")), "recess only")
        # The dab is on 3 + 3 + 1 = 7 min in and sets at 27. The recess waits for the 12th minute,
        # then 15 min of work: 27 too. Both waits run at once and cost 5 min, not 10.
        assert at_once.needed == later.needed == pytest.approx(27)
        assert at_once.waiting == pytest.approx(5)
        # whoever starts later need not wait: the latest start does not count the cooling
        assert at_once.latest_start == later.latest_start == local(0, "10:03")


class TestOpenBuild:
    def test_what_is_left_and_the_thread_lock(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            build = build_desk.start(session.weekend, "recess only", local(0, "8:00"))
            session.keep_build(build)
            fresh = pit_clock(session.weekend, local(0, "8:00"))
            dab = build_desk.go_to(build, "thread-lock", local(0, "8:00"))
            dab = build_desk.answer_thread_lock(dab, True, local(0, "8:10"))
            session.keep_build(dab)
            applied = pit_clock(session.weekend, local(0, "8:10"))
        assert fresh.open_build_needs == pytest.approx(27)
        assert fresh.open_build_spare == pytest.approx(33)
        # 22 min of steps are open, less the minute of the dab in hand that is worked already;
        # the dab sets at 8:30, in 20 min: the work is longer.
        assert applied.open_build_needs == pytest.approx(21)

    def test_only_the_dab_is_left(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            build = build_desk.start(session.weekend, "recess only", local(0, "8:00"))
            build = build_desk.answer_thread_lock(build, True, local(0, "8:10"))
            results = [
                (build.result(s.id) or StepResult(step=s.id)).model_copy(
                    update={"done_at": local(0, "8:15")}
                )
                for s in build.steps
            ]
            session.keep_build(build.model_copy(update={"results": results}))
            found = pit_clock(session.weekend, local(0, "8:16"))
            set_ = pit_clock(session.weekend, local(0, "8:40"))
        assert found.open_build_needs == pytest.approx(14)
        assert set_.open_build_needs == 0

    def test_a_second_dab_still_to_come_counts(self, maker: WeekendMaker) -> None:
        with maker.session() as session:
            build = build_desk.start(session.weekend, "recess only", local(0, "8:00"))
            dab = next(s for s in build.steps if s.thread_lock == "medium")
            again = dab.model_copy(update={"id": "second-dab"})
            build = build.model_copy(update={"steps": [*build.steps, again]})
            build = build_desk.go_to(build, dab.id, local(0, "8:00"))
            build = build_desk.answer_thread_lock(build, True, local(0, "7:30"))
            session.keep_build(build)
            found = pit_clock(session.weekend, local(0, "8:00"))
        # 22 + 1 min of work, and then 20 min for the second dab
        assert found.open_build_needs == pytest.approx(43)


class TestWallClock:
    """Deadlines are moments: neither midnight, daylight saving nor the laptop's zone moves them."""

    def weekend_at(
        self, folder: Path, zone: str, day: str, heats: list[tuple[str, str]]
    ) -> Weekend:
        new_weekend(
            folder, name="Night", time_zone=zone, starts_on=datetime.fromisoformat(day).date()
        )
        with (folder / "weekend.toml").open("a") as card:
            for name, start in heats:
                card.write(
                    f'\n[[heat]]\nname = "{name}"\nkind = "main"\nstarts_at = {start}\n'
                    "minutes = 30\n"
                )
        opened = read_folder(folder, "tent1")
        assert opened.weekend is not None
        return opened.weekend

    def test_across_midnight(self, tmp_path: Path, honolulu: None) -> None:
        weekend = self.weekend_at(
            tmp_path / "w", "Europe/Lisbon", "2026-05-15", [("Night", "2026-05-16T00:20:00")]
        )
        # 23:30 at the venue (UTC+1) on Friday
        now = datetime(2026, 5, 15, 22, 30, tzinfo=UTC)
        found = pit_clock(weekend, now)
        assert found.minutes_to_heat == 50
        assert job(found, "spring change").spare == pytest.approx(19)
        lines = pit_clock_lines(found, weekend)
        assert lines[0] == "Night, main, at Sat 00:20, in 50 min"
        assert any(line.endswith("19 min to spare        start by 23:49") for line in lines)
        assert status_line(weekend, now).right == "Night in 50 min · 23:30"

    def test_without_a_schedule_no_heat_is_said_to_be_over(self, tmp_path: Path) -> None:
        now = datetime(2026, 5, 15, 22, 30, tzinfo=UTC)
        weekend = self.weekend_at(tmp_path / "none", "Europe/Lisbon", "2026-05-15", [])
        assert status_line(weekend, now).right == "no schedule · 23:30"
        assert headline(pit_clock(weekend, now), weekend)[0] == "No schedule yet"
        weekend = self.weekend_at(
            tmp_path / "over", "Europe/Lisbon", "2026-05-15", [("M", "2026-05-15T09:00:00")]
        )
        assert status_line(weekend, now).right == "no heat left · 23:30"

    @pytest.mark.parametrize(
        ("day", "start", "now", "minutes"),
        [
            # Lisbon, 29 March 2026: at 1:00 the clock is put on to 2:00 (UTC 1:00).
            ("2026-03-28", "2026-03-29T02:30:00", (2026, 3, 29, 0, 30), 60),
            # 25 October 2026: at 2:00 summer time the clock is put back to 1:00 (UTC 1:00).
            ("2026-10-24", "2026-10-25T02:30:00", (2026, 10, 24, 23, 30), 180),
        ],
    )
    def test_across_daylight_saving(
        self,
        tmp_path: Path,
        honolulu: None,
        day: str,
        start: str,
        now: tuple[int, int, int, int, int],
        minutes: float,
    ) -> None:
        weekend = self.weekend_at(tmp_path / "w", "Europe/Lisbon", day, [("M", start)])
        moment = datetime(*now, tzinfo=UTC)
        # the moment is 0:30 on the venue's wall clock both times
        assert status_line(weekend, moment).right.endswith("· 00:30")
        found = pit_clock(weekend, moment)
        assert found.minutes_to_heat == minutes
        latest = job(found, "spring change").latest_start
        assert latest is not None
        assert latest == moment + timedelta(minutes=minutes - 31)

    def test_the_words_of_a_latest_start_in_the_hour_that_comes_twice(self, tmp_path: Path) -> None:
        weekend = self.weekend_at(
            tmp_path / "w", "Europe/Lisbon", "2026-10-24", [("M", "2026-10-25T01:59:00")]
        )
        # the first 1:59 is meant (UTC 0:59); 31 min before it is the first 1:28
        found = pit_clock(weekend, datetime(2026, 10, 24, 23, 59, tzinfo=UTC))
        assert found.minutes_to_heat == 60
        assert job_lines(found, weekend)[1].endswith("start by 01:28")

    def test_the_laptops_zone_does_not_matter(self, weekend: Weekend, honolulu: None) -> None:
        here = pit_clock(weekend, local(0, "8:00"))
        assert datetime.now().astimezone().utcoffset() == timedelta(hours=-10)
        assert here.minutes_to_heat == 60
        assert pit_clock_lines(here, weekend)[0] == "P1, practice, at 09:00, in 1 h 00 min"


class TestWords:
    def test_need_is_rounded_up_and_what_is_left_down(self) -> None:
        assert needed_words(27.0) == "27 min"
        assert needed_words(27.01) == "28 min"
        assert needed_words(0.1 + 0.2 + 26.7) == "27 min"
        assert spare_words(11.9) == "11 min to spare"
        assert spare_words(0.5) == "nothing to spare"
        assert spare_words(-0.2) == "1 min too little"
        assert spare_words(-5.1) == "6 min too little"

    def test_from_when_is_rounded_up(self) -> None:
        zone = ZoneInfo("Europe/Lisbon")
        assert from_time(local(0, "9:59") + timedelta(seconds=1), zone) == "10:00"
        assert from_time(local(0, "10:00"), zone) == "10:00"
        assert when_words(local(1, "9:00"), local(0, "9:00"), zone) == "Sat 09:00"

    def test_a_start_near_now(self) -> None:
        assert countdown_words(0.5) == "in 30 s"
        assert countdown_words(0) == "now"
        assert countdown_words(-0.5) == "now"
        assert countdown_words(-3.2) == "due 3 min ago"


class TestTopLine:
    def test_it_shortens_before_it_loses_the_time(self, tmp_path: Path) -> None:
        long = "Semi final group B of the second class"
        maker = WeekendMaker(tmp_path / "w", schedule=[scheduled(long, "main", 0, "9:00", 8)])
        with maker.session() as session:
            run = start_heat(session.weekend, local(0, "8:30"), name="Warm-up of the whole class")
            session.keep_heat(run)
            session.keep_timers(
                [
                    Timer(name=f"own {i}", label="A label as long as this one is", due_at=maker.at)
                    for i in range(3)
                ]
            )
            now = local(0, "8:40")
            whole = status_line(session.weekend, now, writable=False).right
            for room in (200, 100, 90, 80, 70, 60, 50):
                right = status_line(session.weekend, now, writable=False, room=room).right
                assert len(right) <= max(room, 50)
                assert "in 20 min" in right
                assert right.endswith("08:40")
                assert "due" in right
        assert whole.count("is due") == 3


def test_a_folder_can_be_read_while_the_app_runs(maker: WeekendMaker) -> None:
    with maker.session() as first:
        first.keep_timers([Timer(name="own 1", label="Tyres", due_at=maker.at)])
        with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as second:
            assert not second.writable
            assert [t.label for t in pit_clock(second.weekend, maker.at).timers] == ["Tyres"]
