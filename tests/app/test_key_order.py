"""What is typed goes where the key before it has led, however fast it comes."""

from __future__ import annotations

import asyncio
import time
from contextlib import asynccontextmanager
from datetime import UTC, datetime

import pytest
from factory import WeekendMaker
from textual import events
from textual.command import CommandPalette
from textual.widgets import Input

from pitwright.app import patience
from pitwright.app.app import PitwrightApp
from pitwright.app.screens.measure import MeasureScreen
from pitwright.app.widgets.dialogs import FormDialog
from pitwright.store.session import Session

NOW = datetime(2026, 5, 15, 12, tzinfo=UTC)
NAMED = {"↓": "down", "↑": "up", "⇥": "tab", "⏎": "enter", "⌫": "backspace"}


@asynccontextmanager
async def working(tmp_path, first):
    maker = WeekendMaker(tmp_path / "w")
    maker.heat("P1", "practice", 8)
    with Session(maker.folder, laptop="tent1", clock=lambda: NOW) as session:
        app = PitwrightApp(session, first=first, clock=lambda: NOW)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause(0.2)
            yield app, pilot


def burst(app, keys):
    """Hand the app all keys at once, as a terminal does after the app was busy for a while."""
    for sign in keys:
        named = NAMED.get(sign)
        app.post_message(events.Key(named or sign, None if named else sign))


async def still(app, pilot):
    await pilot.pause()
    for _ in range(500):
        if not app._key_order.holding:
            break
        await asyncio.sleep(0.02)
    await pilot.pause()


@pytest.mark.parametrize("on", ["↓", "⇥", "⏎"])
async def test_readings_typed_ahead_each_go_to_their_own_line(tmp_path, on):
    async with working(tmp_path, "measure") as (app, pilot):
        burst(app, f"10.15{on}1.35{on}4.9⌫88")
        await still(app, pilot)
        values = [line.value for line in app.screen.query(Input)]
        assert values[:3] == ["10.15", "1.35", "4.88"]
        assert not any(values[3:])


@pytest.mark.parametrize("on", ["⇥⇥", "↓", "⏎⏎"])
async def test_a_form_filled_ahead_keeps_its_figures_apart(tmp_path, on):
    async with working(tmp_path, "timeline") as (app, pilot):
        await pilot.press("e")
        await pilot.pause(0.2)
        form = app.screen
        assert isinstance(form, FormDialog)
        form.query_one("#field-bite", Input).focus()
        await pilot.pause()
        burst(app, f"3{on}4{on}21,5")
        await still(app, pilot)
        values = form.values()
        assert [values[key] for key in ("bite", "consistency", "air")] == ["3", "4", "21,5"]
        assert values["bottom_end"] == values["grip"] == ""


async def test_a_key_whose_line_goes_away_holds_the_others_back_for_a_moment_only(tmp_path):
    async with working(tmp_path, "timeline") as (app, pilot):
        await pilot.press("e")
        await pilot.pause(0.2)
        app.screen.query_one("#field-bite", Input).focus()
        await pilot.pause()
        app.post_message(events.Key("escape", None))
        burst(app, "7")
        await still(app, pilot)
        assert type(app.screen).__name__ == "DaySheetScreen"


@pytest.mark.parametrize("ahead", ["39.87", "239.87", "5239.87"])
async def test_what_is_typed_right_after_a_change_of_screens_goes_to_the_new_one(tmp_path, ahead):
    async with working(tmp_path, "timeline") as (app, pilot):
        burst(app, ahead.removesuffix("9.87"))
        for sign in "9.87":
            app.post_message(events.Key(sign, sign))
            await asyncio.sleep(0)
        await still(app, pilot)
        assert next(line.value for line in app.screen.query(Input)) == "9.87"


async def test_a_screen_that_is_slow_to_come_up_loses_nothing_typed(tmp_path, monkeypatch):
    # On a busy laptop a first coming up takes seconds; by the clock alone it was given up, and
    # 9.87 became .87 or nothing.
    up = MeasureScreen.on_mount

    async def slow(screen):
        for _ in range(25):  # busy, turn after turn
            time.sleep(0.11)
            await asyncio.sleep(0)
        up(screen)

    monkeypatch.setattr(MeasureScreen, "on_mount", slow)
    async with working(tmp_path, "timeline") as (app, pilot):
        burst(app, "39.87")
        await asyncio.sleep(0.1)
        await still(app, pilot)
        assert next(line.value for line in app.screen.query(Input)) == "9.87"


@pytest.mark.parametrize("held_by", ["key", "change of screens"])
async def test_keys_held_by_an_app_that_is_always_busy_are_dropped_and_it_says_so(
    tmp_path, monkeypatch, held_by
):
    monkeypatch.setattr(patience, "_LONGEST_S", 0.5)

    async def busy():
        while True:  # with its own work, not kept from it by others
            end = time.thread_time() + 0.12
            while time.thread_time() < end:
                pass
            await asyncio.sleep(0)

    async with working(tmp_path, "measure") as (app, pilot):
        keys = app._key_order
        if held_by == "key":
            # What is to follow the key never comes about.
            monkeypatch.setattr(keys, "_follow", lambda key, way: None)
            burst(app, "↓")
        else:
            app.changes.switch(lambda: asyncio.get_running_loop().create_future())
        burst(app, "7")
        async with asyncio.timeout(20):
            while not keys._waiting:
                await asyncio.sleep(0.01)
            work = asyncio.create_task(busy())
            while keys.holding or keys._waiting:
                await asyncio.sleep(0.05)
        work.cancel()
        await pilot.pause()
        assert not any(line.value for line in app.screen.query(Input))
        assert ["was not taken" in told.message for told in app._notifications] == [True]
        monkeypatch.undo()
        burst(app, "8")
        await still(app, pilot)
        assert [line.value for line in app.screen.query(Input) if line.value] == ["8"]


async def test_a_key_does_not_overtake_those_that_wait(tmp_path):
    async with working(tmp_path, "measure") as (app, pilot):
        held = app.changes._ending = asyncio.create_task(asyncio.sleep(60))
        burst(app, "9.8")
        await pilot.pause()
        # The change ends; the next key is in the app's queue before the word of that.
        app.changes._ending = None
        held.cancel()
        app.post_message(events.Key("7", "7"))
        app._screens_settled()
        await still(app, pilot)
        assert next(line.value for line in app.screen.query(Input)) == "9.87"


async def test_the_list_of_all_keys_bears_a_tiny_window(tmp_path):
    async with working(tmp_path, "timeline") as (app, pilot):
        await pilot.press("colon")
        for size in ((20, 5), (4, 3), (1, 1), (80, 24)):
            await pilot.resize_terminal(*size)
            await pilot.pause(0.05)
        assert isinstance(app.screen, CommandPalette)
        assert app._exception is None
