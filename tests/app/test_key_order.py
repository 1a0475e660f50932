"""What is typed goes where the key before it has led, however fast it comes."""

from __future__ import annotations

import asyncio
from contextlib import asynccontextmanager
from datetime import UTC, datetime

import pytest
from factory import WeekendMaker
from textual import events
from textual.widgets import Input

from pitwright.app.app import PitwrightApp
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
