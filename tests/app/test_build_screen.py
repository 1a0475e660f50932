"""The Build screen, worked by keys."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, Static

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.build import BuildScreen
from pitwright.app.widgets.big_print import BigPrint, letters, wrap_letters
from pitwright.app.widgets.dialogs import AskLine, Confirm, Pick
from pitwright.app.widgets.read_dialog import ReadDialog
from pitwright.app.widgets.step_list import StepList
from pitwright.desk.build import build as desk
from pitwright.desk.build.end import sign_off
from pitwright.desk.build.facts import step_in_hand
from pitwright.desk.build.worktime import worked_seconds
from pitwright.store import session as session_module
from pitwright.store.create import new_weekend
from pitwright.store.files import StoreError
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.records import Build, Check, Fit, NoteRecord, StepResult

T0 = datetime(2026, 5, 15, 8, 0, tzinfo=UTC)


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = T0

    def __call__(self) -> datetime:
        return self.now

    def on(self, minutes: float) -> None:
        self.now += timedelta(minutes=minutes)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "w"
    new_weekend(place, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return place


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def session(folder: Path, clock: Clock) -> Iterator[Session]:
    with Session(folder, laptop="tent1", clock=clock) as opened:
        yield opened


Work = Pilot[None]


@asynccontextmanager
async def at_bench(
    session: Session, clock: Clock, size: tuple[int, int] = (80, 24)
) -> AsyncIterator[Work]:
    app = PitwrightApp(session, first="build", clock=clock)
    async with app.run_test(size=size, notifications=True) as pilot:
        await pilot.pause()
        yield pilot


def build_of(pilot: Work) -> OpenBuild:
    build = screen_of(pilot).build
    assert build is not None
    return build


def screen_of(pilot: Work) -> BuildScreen:
    return next(s for s in pilot.app.screen_stack if isinstance(s, BuildScreen))


def text_of(pilot: Work, selector: str) -> str:
    return str(screen_of(pilot).query_one(selector, Static).content)


async def press(pilot: Work, *keys: str) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.pause()
        # one question may lead to the next
        await pilot.pause()


async def type_in(pilot: Work, text: str) -> None:
    """Type over whatever stands in the entry line in front, and press enter."""
    line = pilot.app.screen.query_one(Input)
    line.value = ""
    for sign in text:
        await pilot.press("space" if sign == " " else sign)
    await pilot.press("enter")
    await pilot.pause()
    await pilot.pause()


async def begin(pilot: Work, route: str = "recess only") -> None:
    downs = {"full rebuild": 0, "spring change": 1, "recess only": 2}[route]
    await press(pilot, *["down"] * downs, "enter")
    assert build_of(pilot).route == route


async def go_to(pilot: Work, step: str) -> None:
    """Take up a step as a click on it would."""
    screen = screen_of(pilot)
    screen.on_step_list_chosen(StepList.Chosen(step))
    await pilot.pause()
    assert step_in_hand(build_of(pilot)).id == step


class TestBegin:
    async def test_routes_with_their_times(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            options = screen_of(pilot).query_one("#build-routes")
            shown = [str(o.prompt) for o in options.options]  # type: ignore[attr-defined]
            assert [line.split("  ")[0] for line in shown] == [
                "Full rebuild",
                "Spring change",
                "Recess only",
            ]
            assert "56 min" in shown[0]
            await press(pilot, "enter")
            assert build_of(pilot).route == "full rebuild"
            assert build_of(pilot).started_at == T0

    async def test_resize_keeps_the_place(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await press(pilot, "down", "down", "down")
            await pilot.resize_terminal(140, 40)
            await pilot.pause()
            assert screen_of(pilot).has_class("-wide")
            await pilot.resize_terminal(80, 24)
            await pilot.pause()
            assert not screen_of(pilot).has_class("-wide")
            assert step_in_hand(build_of(pilot)).id == "recess"


class TestTick:
    async def test_enter_ticks_and_the_tick_is_on_disk(
        self, session: Session, clock: Clock, folder: Path
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            clock.on(2)
            await press(pilot, "space")
            assert build_of(pilot).results[0].seconds == 120
            assert 'step = "make-safe"' in (folder / "open/tent1/build.toml").read_text()
            assert step_in_hand(build_of(pilot)).id == "strip"

    async def test_reading_is_asked_for_then_ticked(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "recess")
            clock.on(1)
            await press(pilot, "enter")
            assert isinstance(pilot.app.screen, ReadDialog)
            await type_in(pilot, "1,40 1,41")
            checks = [r for r in session.weekend.log.records if isinstance(r, Check)]
            assert checks[0].step == "recess"
            assert checks[0].readings[0].values_mm == [1.40, 1.41]
            assert build_of(pilot).result("recess") is not None
            assert step_in_hand(build_of(pilot)).id == "bearings"

    async def test_what_is_said_of_an_empty_entry_goes_with_the_first_key(
        self, session: Session, clock: Clock
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "recess")
            await press(pilot, "enter", "enter")
            assert str(pilot.app.screen.query_one(".trouble", Static).content) == (
                "Nothing is typed yet"
            )
            await press(pilot, "1")
            assert str(pilot.app.screen.query_one(".trouble", Static).content) == ""

    async def test_out_bars_until_a_reason_is_typed(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "recess")
            await press(pilot, "enter")
            await type_in(pilot, "1.90")
            if not isinstance(pilot.app.screen, Pick):  # a doubt about the size is put first
                await press(pilot, "y")
                await pilot.pause()
            assert isinstance(pilot.app.screen, Pick)
            await press(pilot, "escape")
            assert build_of(pilot).result("recess") is None
            await press(pilot, "enter", "down", "enter")
            assert isinstance(pilot.app.screen, AskLine)
            await press(pilot, "enter")
            assert isinstance(pilot.app.screen, AskLine)  # nothing typed is no reason
            await type_in(pilot, "last spring")
            result = build_of(pilot).result("recess")
            assert result is not None
            assert result.out_because == "last spring"
            assert result.done_at is not None

    async def test_half_typed_reading_waits_as_a_draft(
        self, session: Session, clock: Clock
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "recess")
            await press(pilot, "m", "1", "comma", "3", "escape")
            assert session.weekend.open.drafts["build reading recess"].fields["text"] == "1,3"
            await press(pilot, "m")
            assert pilot.app.screen.query_one(Input).value == "1,3"

    async def test_torque_is_confirmed_not_ticked_past(
        self, session: Session, clock: Clock
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "retaining-screw")
            assert "snap" in text_of(pilot, "#fact-caution .what")
            await press(pilot, "enter")
            assert isinstance(pilot.app.screen, Confirm)
            await press(pilot, "n")
            assert build_of(pilot).result("retaining-screw") is None
            await press(pilot, "enter", "y")
            await pilot.pause()
            result = build_of(pilot).result("retaining-screw")
            assert result is not None
            assert result.torque_done
            assert result.done_at is not None

    async def test_thread_lock_starts_its_timer(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "thread-lock")
            clock.on(1)
            await press(pilot, "l", "enter")
            timers = session.weekend.open.timers
            assert [t.due_at for t in timers] == [T0 + timedelta(minutes=21)]
            assert "can be handled from 09:21" in text_of(pilot, "#fact-lock .what")
            await press(pilot, "l", "down", "enter")
            assert session.weekend.open.timers == []
            assert "NOT applied" in text_of(pilot, "#fact-lock .what")

    async def test_nut_advice_stands_where_the_recess_is_set(
        self, session: Session, clock: Clock
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            assert not screen_of(pilot).query_one("#nut-advice").display
            await go_to(pilot, "recess")
            assert screen_of(pilot).query_one("#nut-advice").display
            assert text_of(pilot, "#nut-advice").startswith("Nut")


class TestChoice:
    @pytest.mark.parametrize("size", [(80, 24), (120, 30), (140, 40)])
    async def test_no_row_of_the_routes_or_their_steps_wraps(
        self, folder: Path, clock: Clock, size: tuple[int, int]
    ) -> None:
        card = folder / "procedure.toml"
        long = "Engine off, glow off, tank empty, clutch cool, and the car on its stand"
        text = card.read_text()
        card.write_text(
            text.replace("Engine off, glow off, tank empty, clutch cool", long).replace(
                '"6 min"', '"600 min"'
            )
        )
        with Session(folder, laptop="tent1", clock=clock) as session:
            build = desk.start(session.weekend, "full rebuild", T0)
            some = [StepResult(step=s.id, done_at=T0, seconds=90.0) for s in build.steps[:12]]
            session.append(
                Build(
                    happened_at=T0,
                    finished_at=T0,
                    route=build.route,
                    steps=build.steps,
                    results=some,
                )
            )
            clock.on(60)
            async with at_bench(session, clock, size) as pilot:
                routes = screen_of(pilot).query_one("#build-routes", OptionList)
                assert routes.virtual_size.height == routes.option_count == 3
                assert "12 by your own times" in str(routes.get_option_at_index(0).prompt)
                steps = screen_of(pilot).query_one("#build-route-steps", Static)
                assert steps.size.height == len(build.steps)


class TestParts:
    async def test_spring_fitted_and_the_old_one_thrown_away(
        self, session: Session, clock: Clock
    ) -> None:
        session.append(Fit(happened_at=T0 - timedelta(hours=1), place="spring", part="S1"))
        async with at_bench(session, clock) as pilot:
            await begin(pilot, "spring change")
            await go_to(pilot, "spring")
            await press(pilot, "f", "down", "enter")  # S2
            await press(pilot, "down", "enter")  # thrown away
            await type_in(pilot, "9.75 mm, [too] short")
            fit = session.weekend.log.records[-1]
            assert isinstance(fit, Fit)
            assert (fit.part, fit.removed, fit.fate) == ("S2", "S1", "discarded")
            assert fit.reason == "9.75 mm, [too] short"
            assert "Spring 2" in text_of(pilot, "#fact-fit .what")

    async def test_measuring_asks_for_the_part_first(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot, "spring change")
            await go_to(pilot, "spring")
            await press(pilot, "m")
            assert isinstance(pilot.app.screen, Pick)
            await press(pilot, "enter")
            assert isinstance(pilot.app.screen, ReadDialog)
            await type_in(pilot, "10,2")
            check = session.weekend.log.records[-1]
            assert isinstance(check, Check)
            assert check.readings[0].part == "S1"
            assert check.readings[0].squeezes == 5

    async def test_shims_typed_with_a_decimal_comma(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "end-play-shims")
            await press(pilot, "f")
            await type_in(pilot, "0,1 x")
            assert isinstance(pilot.app.screen, AskLine)
            await type_in(pilot, "0,12 0,15")
            assert isinstance(pilot.app.screen, Confirm)  # 0.12 is not in the tin
            await press(pilot, "n")
            await type_in(pilot, "0,10 0,15")
            fit = session.weekend.log.records[-1]
            assert isinstance(fit, Fit)
            assert (fit.place, fit.shims_mm) == ("end play shims", [0.1, 0.15])

    async def test_a_part_that_stock_does_not_list(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot, "spring change")
            await go_to(pilot, "spring")
            await press(pilot, "f", "down", "down", "enter")
            await type_in(pilot, "/bad")
            assert isinstance(pilot.app.screen, AskLine)
            await type_in(pilot, "S9")
            assert session.weekend.state().spring is not None
            assert session.weekend.state().spring.part == "S9"  # type: ignore[union-attr]


class TestKeys:
    async def test_pause_stops_the_time(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            clock.on(1)
            await press(pilot, "p")
            clock.on(30)
            screen_of(pilot).show_weekend()
            assert "PAUSED" in text_of(pilot, "#build-state")
            await press(pilot, "p")
            clock.on(1)
            assert worked_seconds(build_of(pilot), clock.now) == 120

    async def test_leaving_the_app_keeps_the_time(
        self, session: Session, clock: Clock, folder: Path
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            clock.on(3)
        opened = read_folder(folder, "tent1")
        assert opened.weekend is not None
        kept = opened.weekend.open.build
        assert kept is not None
        assert kept.worked_seconds == 180
        clock.on(60)
        async with at_bench(session, clock) as pilot:
            assert worked_seconds(build_of(pilot), clock.now) == 180

    async def test_skip_note_undo(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await press(pilot, "n")
            await type_in(pilot, "smells of fuel")
            await press(pilot, "s")
            await type_in(pilot, "done at home")
            result = build_of(pilot).result("make-safe")
            assert result is not None
            assert (result.skipped_because, result.note) == ("done at home", "smells of fuel")
            await press(pilot, "up", "u")
            result = build_of(pilot).result("make-safe")
            assert result is not None
            assert result.skipped_because == ""
            assert step_in_hand(build_of(pilot)).id == "make-safe"

    async def test_several_at_once(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            clock.on(10)
            await press(pilot, "d", "down", "down", "enter")
            build = build_of(pilot)
            assert [r.step for r in build.results if r.done_at] == ["make-safe", "strip"]
            assert all(r.batch for r in build.results if r.done_at)
            assert step_in_hand(build).id == "thread-lock"

    async def test_big_print_and_back(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "retaining-screw")
            await press(pilot, "b")
            assert screen_of(pilot).query_one(BigPrint).display
            assert "█" in text_of(pilot, "#big-title")
            assert "snap" in text_of(pilot, "#big-words")
            await press(pilot, "b")
            assert not screen_of(pilot).query_one(BigPrint).display

    async def test_no_caution_is_pushed_out_of_sight_by_large_letters(
        self, session: Session, clock: Clock
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await press(pilot, "b")
            for step in build_of(pilot).steps:
                await go_to(pilot, step.id)
                big = screen_of(pilot).query_one(BigPrint)
                for part in ("#big-title", "#big-words", "#big-facts"):
                    bottom = big.query_one(part).region.bottom
                    assert bottom <= big.region.bottom, (step.id, part)


async def finish_all_but(pilot: Work, session: Session, *left: str) -> None:
    """Put the open build where only ``left`` is still to be done."""
    build = build_of(pilot)
    results = [
        StepResult(step=s.id, skipped_because="not needed in this test")
        for s in build.steps
        if s.id not in left
    ]
    screen_of(pilot).take(build.model_copy(update={"results": results}))
    await pilot.pause()


class TestEnd:
    async def test_sign_off_says_what_bars_it(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await finish_all_but(pilot, session, "strip")
            await press(pilot, "o")
            assert isinstance(pilot.app.screen, Pick)
            await press(pilot, "enter")
            assert step_in_hand(build_of(pilot)).id == "strip"

    async def test_last_tick_offers_it_and_the_record_lands(
        self, session: Session, clock: Clock
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await finish_all_but(pilot, session, "make-safe")
            clock.on(3)
            await press(pilot, "enter")
            assert isinstance(pilot.app.screen, Confirm)
            await press(pilot, "y")
            await pilot.pause()
            record = session.weekend.log.records[-1]
            assert isinstance(record, Build)
            assert record.happened_at == T0
            assert record.finished_at == clock.now
            assert record.results[0].seconds == 180
            assert session.weekend.open.build is None
            assert "Recess only, finished Fri 09:03" in text_of(pilot, "#build-last")

    async def test_killed_between_record_and_clearing_away(
        self, session: Session, clock: Clock
    ) -> None:
        build = desk.start(session.weekend, "recess only", T0)
        build = build.model_copy(
            update={"results": [StepResult(step=s.id, skipped_because="x") for s in build.steps]}
        )
        session.keep_build(build)
        session.append(sign_off(build, session.weekend, T0))
        async with at_bench(session, clock):
            assert session.weekend.open.build is None
        builds = [r for r in session.weekend.log.records if isinstance(r, Build)]
        assert len(builds) == 1

    async def test_given_up_becomes_a_note(self, session: Session, clock: Clock) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await press(pilot, "x", "y")
            await type_in(pilot, "called to the grid")
            note = session.weekend.log.records[-1]
            assert isinstance(note, NoteRecord)
            assert "called to the grid" in note.text
            assert session.weekend.open.build is None

    async def test_full_disk_leaves_all_as_it_was(
        self, session: Session, clock: Clock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await finish_all_but(pilot, session, "make-safe")
            before = build_of(pilot)

            def full(*_args: object, **_kwargs: object) -> None:
                raise StoreError(28, "build.toml could not be written: no space left on device")

            monkeypatch.setattr(session_module, "replace_file", full)
            await press(pilot, "enter")
            assert build_of(pilot) == before
            assert any("no space left" in n.message for n in pilot.app._notifications)
            monkeypatch.undo()

            await press(pilot, "enter")
            monkeypatch.setattr(session_module, "append_record", full)
            await press(pilot, "y")
            await pilot.pause()
            assert session.weekend.open.build is not None
            assert not any(isinstance(r, Build) for r in session.weekend.log.records)

    async def test_full_disk_keeps_the_typed_reading(
        self, session: Session, clock: Clock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        async with at_bench(session, clock) as pilot:
            await begin(pilot)
            await go_to(pilot, "recess")

            def full(*_args: object, **_kwargs: object) -> None:
                raise StoreError(28, "no space left on device")

            monkeypatch.setattr(session_module, "append_record", full)
            await press(pilot, "m")
            await type_in(pilot, "1,40")
            await asyncio.sleep(0.2)
            await pilot.pause()
            assert isinstance(pilot.app.screen, AskLine)  # where else to save it
            await press(pilot, "escape")
            assert isinstance(pilot.app.screen, ReadDialog)
            assert pilot.app.screen.query_one(Input).value == "1,40"
            monkeypatch.undo()
            await press(pilot, "enter")
            await pilot.pause()
            assert isinstance(session.weekend.log.records[-1], Check)


class TestLetters:
    def test_every_line_fits_and_the_rows_are_even(self) -> None:
        lines = wrap_letters("Adjuster nut: a small dab of medium thread-lock", 74)
        assert lines is not None
        assert len(lines) == 3
        for line in lines:
            assert len(line) == 3
            assert len({len(row) for row in line}) == 1
            assert len(line[0]) <= 74

    def test_accents_are_dropped_and_unknown_signs_refused(self) -> None:
        assert letters("é") == letters("E")
        assert letters("шайба") is None
        assert wrap_letters("X" * 60, 74) is None
