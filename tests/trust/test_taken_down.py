"""Timers of a screen that is being taken down tick into nothing, not into a crash."""

from __future__ import annotations

import asyncio

import pytest
from factory import LAPTOP, blank_weekend, local
from textual import events
from textual.css.query import NoMatches

from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
from pitwright.app.standing import while_standing
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.store.session import Session


@pytest.mark.parametrize("key", [row[0] for row in SCREENS_BY_KEY])
async def test_a_tick_while_the_widgets_go_does_nothing(tmp_path, key):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.press("escape", key)
            await pilot.pause()
            screen = app.screen
            callbacks = [t._callback for t in screen._timers if t._callback is not None]
            assert callbacks
            # They go one by one: the top line may stand when what is below it is gone.
            await screen.query_one("#body").query("*").remove()
            assert screen.query(StatusBar)
            going = screen.remove()
            for callback in callbacks:
                await _called(callback)
            await going
            for callback in callbacks:
                await _called(callback)


async def _called(callback):
    done = callback()
    if asyncio.iscoroutine(done):
        await done


async def test_a_tick_of_the_app_after_its_end_does_nothing(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        looked = []
        app.outside.look = lambda: looked.append(app.screen)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.pause()
            callbacks = [t._callback for t in app._timers if t._callback is not None]
            for callback in callbacks:
                await _called(callback)
            assert looked
        before = len(looked)  # the app may have looked by itself as well
        for callback in callbacks:
            await _called(callback)
        assert len(looked) == before


async def test_what_works_beside_a_screen_ends_before_its_widgets_go(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.pause()
            screen, go_on, reached = app.screen, asyncio.Event(), []

            async def answer():
                await go_on.wait()
                reached.append(screen.query_one("#rows"))

            worker = screen.run_worker(answer())
            await pilot.pause()
            going = screen.remove()
            await asyncio.sleep(0)
            go_on.set()
            await going
            assert worker.is_cancelled
            assert not reached


async def test_what_is_missing_on_a_screen_that_is_there_is_still_told(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.pause()
            ticked = while_standing(
                app.screen, lambda: app.screen.query_one("#nothing-of-the-kind")
            )
            with pytest.raises(NoMatches):
                await ticked()


async def test_a_click_on_what_is_being_taken_away_does_nothing(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    with Session(folder, laptop=LAPTOP, clock=lambda: local(0, "9:00")) as session:
        app = PitwrightApp(session, clock=session.clock)
        async with app.run_test(size=(100, 30)) as pilot:
            await pilot.pause()
            going = app.screen.query_one(StatusBar)
            parent = going._parent
            assert app.screen.get_widget_at(1, 0)[0] is going
            click = events.MouseDown(None, 1, 0, 0, 0, 1, False, False, False, 1, 0)
            going._parent = None  # as while it goes, when it is still painted
            try:
                await app.on_event(click)
                assert app.screen._select_state is None
            finally:
                going._parent = parent
            await app.on_event(click)
            assert app.screen._select_state is not None
