"""Timers of a screen that is being taken down tick into nothing, not into a crash."""

from __future__ import annotations

import asyncio

import pytest
from factory import LAPTOP, blank_weekend, local
from textual.css.query import NoMatches

from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.store.session import Session


@pytest.mark.parametrize("key", [row[0] for row in SCREENS_BY_KEY])
async def test_a_tick_after_the_widgets_are_gone_does_nothing(tmp_path, key):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.press("escape", key)
            await pilot.pause()
            screen = app.screen
            callbacks = [t._callback for t in screen._timers if t._callback is not None]
            assert callbacks
            await screen.query("*").remove()
            assert not screen.query(StatusBar)
            for callback in callbacks:
                done = callback()
                if asyncio.iscoroutine(done):
                    await done


async def test_what_is_missing_on_a_screen_that_is_there_is_still_told(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.pause()
            ticked = app.screen._while_there(lambda: app.screen.query_one("#nothing-of-the-kind"))
            with pytest.raises(NoMatches):
                await ticked()
