"""Timers as deadlines on the wall clock, and the thread-lock's handling time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from factory import WeekendMaker, local

from pitwright.desk.build.thread_lock import handling_minutes
from pitwright.desk.clock.pit_clock import pit_clock
from pitwright.desk.clock.pit_clock_words import timer_line
from pitwright.desk.clock.timers import (
    COOLING,
    cool_down_timer,
    due_unseen,
    mark_seen,
    read_timer,
    with_timer,
    without,
)
from pitwright.desk.form_text import FormError
from pitwright.desk.status import status_line
from pitwright.weekend.card import HandlingPoint
from pitwright.weekend.open_work import Timer
from pitwright.weekend.records import Conditions, HeatRun

NOON = local(0, "12:00")


def timer(name: str, minutes: float, *, seen: bool = False) -> Timer:
    return Timer(name=name, label=name, due_at=NOON + timedelta(minutes=minutes), seen=seen)


def test_due_ones_oldest_first_until_they_are_seen() -> None:
    timers = [
        timer("b", -1),
        timer("a", -5),
        timer("c", 0),
        timer("d", 1),
        timer("e", -9, seen=True),
    ]
    assert [t.name for t in due_unseen(timers, NOON)] == ["a", "b", "c"]
    seen = mark_seen(timers, NOON)
    assert due_unseen(seen, NOON) == ()
    # one that becomes due later is not seen in advance
    assert [t.name for t in due_unseen(seen, NOON + timedelta(minutes=1))] == ["d"]


def test_one_of_the_same_name_takes_its_place() -> None:
    timers = with_timer([timer("a", 3), timer("b", 5)], timer("a", 10))
    assert [(t.name, t.due_at) for t in timers] == [
        ("b", NOON + timedelta(minutes=5)),
        ("a", NOON + timedelta(minutes=10)),
    ]
    assert without(timers, "b") == [timer("a", 10)]


def test_only_what_was_seen_long_ago_is_dropped() -> None:
    old, old_unseen = timer("old", -13 * 60, seen=True), timer("unseen", -13 * 60)
    young = timer("young", -60, seen=True)
    kept = with_timer([old, old_unseen, young], timer("new", 0))
    assert [t.name for t in kept] == ["unseen", "young", "new"]


def test_cooling_down_by_the_card(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w")
    with maker.session() as session:
        found = cool_down_timer(session.weekend, NOON)
    assert found == Timer(
        name=COOLING,
        label="Cooling down before measuring",
        due_at=NOON + timedelta(minutes=12),
    )


def test_no_cooling_time_on_the_card(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w")
    card = maker.folder / "clutch.toml"
    lines = [line for line in card.read_text().splitlines() if not line.startswith("cool_down")]
    card.write_text("\n".join(lines))
    with maker.session() as session:
        assert cool_down_timer(session.weekend, NOON) is None


class TestOwn:
    @pytest.mark.parametrize(
        ("typed", "minutes"),
        [("10", 10.0), ("7,5", 7.5), ("90 s", 1.5), ("1 h", 60.0), ("2:30", 2.5)],
    )
    def test_read(self, typed: str, minutes: float) -> None:
        found = read_timer([], {"minutes": typed, "label": " Tyres [red] "}, NOON)
        assert found.due_at == NOON + timedelta(minutes=minutes)
        assert found.label == "Tyres [red]"

    def test_each_has_its_own_name(self) -> None:
        timers: list[Timer] = []
        for _ in range(3):
            timers = with_timer(timers, read_timer(timers, {"minutes": "5"}, NOON))
        assert len({t.name for t in timers}) == 3
        timers = without(timers, "own 2")
        again = read_timer(timers, {"minutes": "5"}, NOON)
        assert len({t.name for t in with_timer(timers, again)}) == 3

    @pytest.mark.parametrize("typed", ["", "0", "-5", "soon", "25 h", "nan", "1e9"])
    def test_refused_with_the_field(self, typed: str) -> None:
        with pytest.raises(FormError) as caught:
            read_timer([], {"minutes": typed, "label": "x"}, NOON)
        assert list(caught.value.errors) == ["minutes"]
        assert caught.value.errors["minutes"].startswith("Rings after: ")

    def test_a_label_that_cannot_be_kept(self) -> None:
        with pytest.raises(FormError) as caught:
            read_timer([], {"minutes": "5", "label": "a\x1b[31m"}, NOON)
        assert list(caught.value.errors) == ["label"]


def test_a_deadline_survives_quitting_sleep_and_the_change_of_the_clock(tmp_path: Path) -> None:
    # Set at 0:50 summer time in the night of 25 October 2026 for 40 min; the laptop sleeps over
    # the change at 2:00 and is opened at 1:10 winter time: 80 min have passed, not 20.
    maker = WeekendMaker(tmp_path / "w")
    start = datetime(2026, 10, 24, 23, 50, tzinfo=UTC)
    with maker.session(now=start) as session:
        session.keep_timers([read_timer([], {"minutes": "40", "label": "Glue"}, start)])
    with maker.session(now=start) as session:
        weekend = session.weekend
        later = datetime(2026, 10, 25, 1, 10, tzinfo=UTC)
        (running,) = pit_clock(weekend, later).timers
        assert running.minutes_left == -40
        line = timer_line(running, pit_clock(weekend, later), weekend)
        assert line == "Glue: due since 01:30"
        assert status_line(weekend, later).right.startswith("! Glue is due · ")
        (before,) = pit_clock(weekend, start + timedelta(minutes=39, seconds=30)).timers
        assert not before.due


def test_a_deadline_across_midnight_names_the_day(tmp_path: Path) -> None:
    maker = WeekendMaker(tmp_path / "w")
    late = local(0, "23:50")
    with maker.session(now=late) as session:
        session.keep_timers([read_timer([], {"minutes": "20", "label": "Glue"}, late)])
        found = pit_clock(session.weekend, late)
        assert timer_line(found.timers[0], found, session.weekend) == (
            "Glue: 20 min left, until Sat 00:10"
        )


class TestHandlingTime:
    def card_with_points(self, folder: Path) -> WeekendMaker:
        maker = WeekendMaker(folder)
        card = maker.folder / "clutch.toml"
        points = ", ".join(
            f'{{ temperature = {{ value = "{c} degC", from = "maker" }}, '
            f'handling = {{ value = "{minutes} min", from = "maker" }} }}'
            for c, minutes in ((10, 40), (22, 20))
        )
        text = card.read_text()
        card.write_text(text.replace("full_cure", f"by_temperature = [{points}]\nfull_cure", 1))
        return maker

    def test_between_and_beyond_the_cards_points(self, tmp_path: Path) -> None:
        maker = self.card_with_points(tmp_path / "w")
        with maker.session() as session:
            card = session.weekend.card()
        assert [type(p) for p in card.thread_lock.by_temperature] == [HandlingPoint] * 2
        # 40 min at 10 C, 20 min at 22 C: a line between, level outside
        assert handling_minutes(card, 16) == pytest.approx(30)
        assert handling_minutes(card, 10) == handling_minutes(card, -5) == 40
        assert handling_minutes(card, 22) == handling_minutes(card, 35) == 20
        assert handling_minutes(card, None) == 20

    def test_the_air_of_the_last_heat_counts_for_three_hours(self, tmp_path: Path) -> None:
        maker = self.card_with_points(tmp_path / "w")
        maker.go(0, "9:00").add(
            HeatRun(
                happened_at=maker.at, heat="P1", heat_kind="practice",
                conditions=Conditions(air_c=10),
            )
        )  # fmt: skip
        with maker.session() as session:
            weekend = session.weekend
            # spring change: 17 min of work after the dab
            cold = pit_clock(weekend, local(0, "11:00")).jobs[1]
            unknown = pit_clock(weekend, local(0, "12:01")).jobs[1]
        assert cold.waiting == pytest.approx(40 - 17)
        assert unknown.waiting == pytest.approx(20 - 17)
