"""A screen that comes up again is shown afresh when something changed, and at once when not."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from factory import WeekendMaker, race_weekend
from textual.pilot import Pilot
from textual.widgets import OptionList

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.timeline import TimelineScreen
from pitwright.weekend.records import NoteRecord

SHOWN: list[TimelineScreen] = []
"""The Timeline, once for each time that it worked the weekend out."""


@pytest.fixture
def maker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> WeekendMaker:
    show = TimelineScreen.show_weekend

    def counted(self: TimelineScreen) -> None:
        SHOWN.append(self)
        show(self)

    SHOWN.clear()
    monkeypatch.setattr(TimelineScreen, "show_weekend", counted)
    return race_weekend(tmp_path / "w", 6)


@asynccontextmanager
async def there_and_back(
    maker: WeekendMaker,
) -> AsyncIterator[tuple[PitwrightApp, TimelineScreen, Pilot[None]]]:
    """On Build, after the Timeline was shown once."""
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            timeline = app.screen
            assert isinstance(timeline, TimelineScreen)
            await pilot.press("2")
            await pilot.pause()
            assert len(SHOWN) == 1
            yield app, timeline, pilot


async def back(pilot: Pilot[None]) -> None:
    await pilot.press("escape", "1")
    await pilot.pause()


async def test_nothing_is_worked_out_twice(maker: WeekendMaker) -> None:
    async with there_and_back(maker) as (app, timeline, pilot):
        maker.at += timedelta(seconds=1)
        await back(pilot)
        assert app.screen is timeline
        assert len(SHOWN) == 1


async def test_a_record_kept_elsewhere_is_there(maker: WeekendMaker) -> None:
    async with there_and_back(maker) as (app, timeline, pilot):
        app.keep(NoteRecord(happened_at=maker.at, text="Rain is coming"))
        await back(pilot)
        assert len(SHOWN) == 2
        rows = timeline.query_one("#rows", OptionList)
        assert any("Rain is coming" in str(option.prompt) for option in rows.options)


async def test_another_clutch_or_minute_is_looked_at_afresh(maker: WeekendMaker) -> None:
    async with there_and_back(maker) as (app, _timeline, pilot):
        maker.at += timedelta(minutes=1)
        await back(pilot)
        assert len(SHOWN) == 2
        await pilot.press("2")
        app.clutch = "A"
        await back(pilot)
        assert len(SHOWN) == 3


async def test_another_window_is_laid_out_afresh(maker: WeekendMaker) -> None:
    async with there_and_back(maker) as (_app, timeline, pilot):
        await pilot.resize_terminal(140, 40)
        await back(pilot)
        assert len(SHOWN) == 2
        assert timeline.query_one("#beside").display
        assert timeline.query_one("#beside").region.width > 40


async def test_colours_chosen_elsewhere_hold_here(maker: WeekendMaker) -> None:
    async with there_and_back(maker) as (app, timeline, pilot):
        before = timeline.query_one("KeyLine").styles.background
        app.theme = "daylight"
        await pilot.pause()
        elsewhere = app.screen.query_one("KeyLine").styles.background
        assert elsewhere != before
        await back(pilot)
        assert timeline.query_one("KeyLine").styles.background == elsewhere
        assert timeline.styles.background == app.get_screen("build").styles.background
