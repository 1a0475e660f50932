"""Screens change one at a time, and answer only while they stand, however fast hands are.

Nothing here waits for the app between two things that hands do; each of these ended the app, or
lost a screen, before changes of screens had a queue.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from factory import WeekendMaker, race_weekend
from rich.style import Style
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input

from pitwright.app.app import PitwrightApp
from pitwright.app.messages import WeekendChanged
from pitwright.app.screens.bite import BiteScreen
from pitwright.app.screens.measure import MeasureScreen
from pitwright.app.screens.pit_clock import PitClockScreen
from pitwright.app.screens.timeline import TimelineScreen
from pitwright.app.screens.wear import WearScreen
from pitwright.app.standing import stands
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.app.widgets.options import Options


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    return race_weekend(tmp_path / "w", 3)


@asynccontextmanager
async def opened(maker: WeekendMaker) -> AsyncIterator[tuple[PitwrightApp, Pilot[None]]]:
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=(100, 30)) as pilot:
            await settled(app, pilot)
            assert isinstance(app.screen, TimelineScreen)
            yield app, pilot


async def settled(app: PitwrightApp, pilot: Pilot[None]) -> None:
    await pilot.pause()
    async with asyncio.timeout(60):
        while app.changes.busy or app._key_order.holding:
            await asyncio.sleep(0.01)
    await pilot.pause()


async def test_a_clock_that_is_left_twice_leaves_once(maker: WeekendMaker) -> None:
    # 'IndexError: pop from empty list': the second took the screen beneath away, and the switch
    # found the one that every app begins with.
    async with opened(maker) as (app, pilot):
        await app.push_screen(PitClockScreen())
        await settled(app, pilot)
        clock = app.screen
        assert isinstance(clock, PitClockScreen)
        clock.action_leave_to("build")
        clock.action_leave_to("measure")
        await settled(app, pilot)
        assert isinstance(app.screen, MeasureScreen)
        assert len(app.screen_stack) == 2


async def test_a_clock_taken_away_before_it_was_laid_out(maker: WeekendMaker) -> None:
    # 'NoMatches: #clock-digits': it was resumed although its widgets never came.
    async with opened(maker) as (app, pilot):
        app.push_screen(PitClockScreen())
        app.pop_screen()
        await settled(app, pilot)
        assert isinstance(app.screen, TimelineScreen)
        assert app._exception is None


@pytest.mark.parametrize("screen", [PitClockScreen, WearScreen, lambda: Confirm("Sure?")])
async def test_left_while_a_screen_is_laid_out(maker: WeekendMaker, screen) -> None:
    async with opened(maker) as (app, _pilot):
        app.push_screen(screen())
        app.exit()
    assert app._exception is None


async def test_a_dialog_answered_twice_takes_nothing_beneath_away(maker: WeekendMaker) -> None:
    answers: list[object] = []
    async with opened(maker) as (app, pilot):
        app.push_screen(Pick("Which?", [Choice("a", "A")]), answers.append)
        await settled(app, pilot)
        dialog = app.screen
        assert isinstance(dialog, Pick)
        dialog.dismiss("a")
        dialog.dismiss(None)
        await settled(app, pilot)
        assert isinstance(app.screen, TimelineScreen)
        assert answers == ["a"]


async def test_of_screens_asked_for_at_once_the_last_comes_up(maker: WeekendMaker) -> None:
    async with opened(maker) as (app, pilot):
        for name in ("build", "measure", "pace", "bite"):
            app.action_show(name)
        await settled(app, pilot)
        assert isinstance(app.screen, BiteScreen)
        assert len(app.screen_stack) == 2
        # What was overtaken is not even laid out.
        assert callable(app._installed_screens["measure"])


async def test_a_question_whose_screen_has_gone_is_not_asked(maker: WeekendMaker) -> None:
    async with opened(maker) as (app, pilot):
        await app.push_screen(PitClockScreen())
        await settled(app, pilot)
        clock = app.screen
        assert isinstance(clock, PitClockScreen)
        clock.dismiss()
        clock.call_next(lambda: app.push_screen(Confirm("Still there?")))
        await settled(app, pilot)
        assert isinstance(app.screen, TimelineScreen)


async def test_keys_wait_for_the_screen_that_a_key_has_asked_for(maker: WeekendMaker) -> None:
    async with opened(maker) as (app, pilot):
        for key in ("3", "9", ".", "8", "7"):
            app.post_message(events.Key("full_stop" if key == "." else key, key))
        await settled(app, pilot)
        assert isinstance(app.screen, MeasureScreen)
        assert app.screen.query(Input).first().value == "9.87"


async def test_who_is_taken_down_answers_nothing(maker: WeekendMaker) -> None:
    asked: list[str] = []
    async with opened(maker) as (app, pilot):
        clock = PitClockScreen()
        await app.push_screen(clock)
        await settled(app, pilot)
        assert stands(clock)
        clock.set_timer(0.05, lambda: asked.append("timer"))
        clock.show_weekend = lambda: asked.append("shown")  # type: ignore[method-assign]
        clock.dismiss()
        await asyncio.sleep(0)
        assert not stands(clock)
        clock.post_message(WeekendChanged())
        clock.post_message(events.ScreenResume())
        assert not await app.run_action("list", clock)
        await asyncio.sleep(0.1)
        await settled(app, pilot)
        assert asked == []


async def test_a_click_on_a_row_that_has_gone_picks_nothing(maker: WeekendMaker) -> None:
    # 'IndexError: list index out of range' of a list made shorter between the press and its click.
    async with opened(maker) as (app, pilot):
        app.push_screen(Pick("Which?", [Choice("a", "A"), Choice("b", "B")]))
        await settled(app, pilot)
        rows = app.screen.query_one(Options)
        rows.remove_option_at_index(1)
        style = Style(meta={"option": 1})
        rows.post_message(events.Click(rows, 1, 1, 0, 0, 1, False, False, False, style=style))
        await settled(app, pilot)
        assert isinstance(app.screen, Pick)
        assert app._exception is None


@pytest.mark.parametrize("width", [0, 1, 2])
async def test_rows_have_a_height_where_there_is_no_width(maker: WeekendMaker, width: int) -> None:
    # 'ValueError: range() arg 3 must not be zero' in a window of 20 columns.
    async with opened(maker) as (app, pilot):
        app.push_screen(Pick("Which?", [Choice("a", "Adjustablepreloadnut")]))
        await settled(app, pilot)
        rows = app.screen.query_one(Options)
        assert rows.get_content_height(app.size, app.size, width) >= 1
