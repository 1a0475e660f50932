"""The Day sheet screen, worked by keys."""

from __future__ import annotations

from contextlib import asynccontextmanager
from datetime import date

import pytest
from factory import WeekendMaker, local, scheduled
from textual.widgets import Static
from waiting import until

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.daysheet import DaySheetScreen, sheet_path
from pitwright.app.widgets.show_text import ShowText
from pitwright.desk.sheet.day_sheet import day_sheet
from pitwright.report.formats import formatted
from pitwright.store.session import Session

PLAN = (
    scheduled("P1", "practice", 0, "10:00", 8),
    scheduled("Q1", "qualifier", 1, "9:30", 7),
)


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w", schedule=PLAN)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.check(free_length=10.18, shoe_thickness=5.0, recess=1.30)
    made.go(0, "10:00").heat("P1", "practice", 8, [20.0, 19.5, 19.4, 19.6, 19.5, 19.7])
    made.note("[bold]not markup[/] \\[x", open_point=True)
    return made.go(0, "18:00")


@asynccontextmanager
async def reading(maker, *, size=(80, 24), write=True):
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at, write=write) as session:
        app = PitwrightApp(session, first="daysheet", clock=lambda: maker.at)
        async with app.run_test(size=size, notifications=True) as pilot:
            await settled(pilot)
            yield app, pilot


async def settled(pilot):
    await pilot.pause()
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


def days(app):
    return str(app.screen.query_one("#days", Static).content)


def said(app):
    return str(app.screen.query_one("#text", Static).content)


async def test_it_opens_on_today_and_says_what_the_desk_says(maker):
    async with reading(maker) as (app, _pilot):
        assert isinstance(app.screen, DaySheetScreen)
        assert "[Fri 15]" in days(app)
        shown = said(app)
        assert "1 heat run, 8 min of running, 6 laps" in shown
        assert "To prepare before Q1, Sat 09:30" in shown
        assert "- [bold]not markup[/] \\[x, Fri 10:08" in shown


async def test_left_and_right_and_d_go_round_the_days(maker):
    async with reading(maker) as (app, pilot):
        seen = []
        for key in ("right", "d", "right", "right", "left"):
            await pilot.press(key)
            await settled(pilot)
            seen.append(days(app).split("[")[1].split("]")[0])
        assert seen == ["Sat 16", "Sun 17", "Weekend", "Fri 15", "Weekend"]
        assert "Weekend sheet" in said(app)


async def test_a_record_kept_elsewhere_shows_at_once_and_the_place_is_held(maker):
    async with reading(maker) as (app, pilot):
        await pilot.press("pagedown")
        await settled(pilot)
        at = app.screen.query_one("#sheet").scroll_y
        assert at > 0
        from pitwright.weekend.records import NoteRecord

        app.keep(NoteRecord(happened_at=maker.at, text="Glue is low", open_point=True))
        await settled(pilot)
        assert "Glue is low" in said(app)
        assert app.screen.query_one("#sheet").scroll_y == at


@pytest.mark.parametrize(("key", "ending"), [("h", "html"), ("m", "md")])
async def test_the_file_is_written_whole_and_its_path_told(maker, key, ending):
    async with reading(maker) as (app, pilot):
        await pilot.press(key)
        path = sheet_path(maker.folder, date(2026, 5, 15), ending)
        await until(pilot, path.exists)
        await settled(pilot)
        sheet = day_sheet(app.weekend, maker.at, date(2026, 5, 15))
        assert path.read_text(encoding="utf-8") == formatted(sheet, ending)
        assert any(str(path) in n.message for n in app._notifications)
        assert [p.name for p in path.parent.iterdir()] == [path.name]


async def test_the_weekend_s_file_has_its_own_name(maker):
    async with reading(maker) as (app, pilot):
        await pilot.press("left")
        await settled(pilot)
        await pilot.press("m")
        path = maker.folder / "sheets" / "weekend.md"
        await until(pilot, path.exists)
        assert "Weekend sheet" in path.read_text(encoding="utf-8")
        del app


async def test_a_disk_that_refuses_is_said_and_nothing_breaks(maker):
    (maker.folder / "sheets").write_text("a file is in the way")
    async with reading(maker) as (app, pilot):
        await pilot.press("m")
        await settled(pilot)
        await until(pilot, lambda: any(n.title == "Not kept" for n in app._notifications))
        assert "heat run" in said(app)


async def test_the_stock_stands_over_it(maker):
    async with reading(maker) as (app, pilot):
        await pilot.press("s")
        await pilot.pause()
        assert isinstance(app.screen, ShowText)
        shown = " ".join(str(s.content) for s in app.screen.query(Static))
        assert "Springs: 1 fitted, 2 unused" in shown
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, DaySheetScreen)


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_nothing_runs_off_the_screen(maker, size):
    async with reading(maker, size=size) as (app, _pilot):
        room = app.screen.query_one("#sheet").scrollable_content_region.width
        lines = said(app).splitlines()
        assert max(map(len, lines)) <= room
        assert app.screen.query_one("#days").region.height == 1


async def test_it_fits_itself_to_a_new_width(maker):
    async with reading(maker, size=(140, 40)) as (app, pilot):
        await pilot.resize_terminal(80, 24)
        await settled(pilot)
        assert max(map(len, said(app).splitlines())) <= 78


async def test_an_empty_weekend_shows_a_sheet_too(tmp_path):
    made = WeekendMaker(tmp_path / "w").go(0, "9:00")
    async with reading(made) as (app, pilot):
        assert "No heat is planned or noted for this day." in said(app)
        for _ in range(4):
            await pilot.press("d")
            await settled(pilot)
        assert "[Fri 15]" in days(app)


async def test_it_only_reads_when_the_folder_is_open_elsewhere(maker):
    with maker.session():
        async with reading(maker) as (app, _pilot):
            assert not app.session.writable
            assert "heat run" in said(app)


async def test_seven_leads_here(maker):
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            await pilot.press("7")
            await settled(pilot)
            assert isinstance(app.screen, DaySheetScreen)
            assert local(0, "18:00") == maker.at
