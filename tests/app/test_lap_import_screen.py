"""Bringing laps in: file, paste and typing, with the preview before anything is kept."""

from __future__ import annotations

import os
import time
from contextlib import asynccontextmanager

import pytest
from factory import ZONE, WeekendMaker
from textual import events
from textual.widgets import Input, OptionList, Static, TextArea

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.lap_import import LapImportScreen
from pitwright.app.widgets.dialogs import Confirm, Pick
from pitwright.store.session import Session

TWO_DRIVERS = "driver;lap;time\nAnn;1;21,9\nBen;1;22,4\nAnn;2;20,8\nBen;2;21,3\nAnn;3;oops\n"


@pytest.fixture
def maker(tmp_path, monkeypatch):
    place = tmp_path / "start"
    place.mkdir()
    monkeypatch.chdir(place)
    monkeypatch.setenv("HOME", str(place))
    made = WeekendMaker(tmp_path / "w")
    made.heat("P1", "practice", 2, [22.0, 21.0, 21.1])
    made.later(20).heat("Q1", "qualifier", 1)
    return made


@asynccontextmanager
async def opened(maker, *, first="timeline", write=True, size=(80, 24)):
    now = maker.at
    with Session(maker.folder, laptop="tent1", clock=lambda: now, write=write) as session:
        app = PitwrightApp(session, first=first, clock=lambda: now)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause(0.2)
            yield app, pilot


async def importing(app, pilot):
    await pilot.press("l")
    await pilot.pause()
    assert isinstance(app.screen, LapImportScreen)


async def done(pilot):
    await pilot.pause(0.45)  # typing is read a moment after the last key
    await pilot.pause()


def told(app, name="understood"):
    return str(app.screen.query_one(f"#{name}", Static).content)


def laps_of(maker, heat):
    path = maker.folder / "laps" / f"{heat}.csv"
    return path.read_text() if path.exists() else None


async def test_a_file_is_read_asked_about_previewed_and_kept(maker, tmp_path):
    path = tmp_path / "start" / "timing.csv"
    path.write_text(TWO_DRIVERS)
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        files = app.screen.query_one("#files", OptionList)
        assert str(files.get_option_at_index(0).prompt).startswith("timing.csv")
        await pilot.press("down", "enter")
        await done(pilot)
        assert isinstance(app.screen, Pick)
        await pilot.press("enter")
        await done(pilot)
        assert "Read as lap times, written as seconds, decimal comma" in told(app)
        assert "2 laps of Ann, total 42.70, best 20.80" in told(app)
        assert "First laps: 21.90  20.80" in told(app)
        assert "line 6: not a time: Ann;3;oops" in told(app, "refused")
        assert laps_of(maker, "Q1") is None, "nothing is kept before F2"
        await pilot.press("f7")
        await pilot.pause()
        await pilot.press("down", "enter")
        await done(pilot)
        assert "2 laps of Ben" in told(app)
        await pilot.press("f2")
        await done(pilot)
        assert not isinstance(app.screen, LapImportScreen)
        assert laps_of(maker, "Q1") == "lap,seconds\n1,22.4\n2,21.3\n"
        assert (maker.folder / "laps" / "as-it-came" / "Q1.txt").read_text() == TWO_DRIVERS
        assert app.weekend.heat("Q1").laps == (22.4, 21.3)


async def test_a_typed_path_lists_what_it_may_become(maker, tmp_path):
    (tmp_path / "exports").mkdir()
    (tmp_path / "exports" / "q1.txt").write_text("21.5\n21.6\n")
    (tmp_path / "exports" / "photo.png").write_bytes(b"\x89PNG")
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        path = app.screen.query_one("#path", Input)
        path.value = str(tmp_path / "exp")
        await pilot.pause()
        files = app.screen.query_one("#files", OptionList)
        assert [str(o.prompt) for o in files.options] == ["exports/"]
        await pilot.press("down", "enter")
        await pilot.pause()
        assert path.value.endswith("exports/")
        assert [str(o.prompt).split()[0] for o in files.options] == ["q1.txt"]
        path.value = str(tmp_path / "exports" / "q1.txt")
        await pilot.press("enter")
        await done(pilot)
        assert "2 laps, total 43.10" in told(app)
        path.value = str(tmp_path / "nowhere.csv")
        await pilot.press("enter")
        await done(pilot)
        assert "Cannot be read: there is no file" in told(app)
        await pilot.press("f2")
        await done(pilot)
        assert laps_of(maker, "Q1") is None


async def test_the_files_are_dated_by_the_venues_clock(maker, tmp_path, monkeypatch):
    laps = tmp_path / "start" / "q1.csv"
    laps.write_text("21.5\n")
    at = maker.at.timestamp()
    os.utime(laps, (at, at))
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    time.tzset()
    try:
        async with opened(maker) as (app, pilot):
            await importing(app, pilot)
            files = app.screen.query_one("#files", OptionList)
            listed = [str(files.get_option_at_index(n).prompt) for n in range(files.option_count)]
            when = maker.at.astimezone(ZONE).strftime("%a %d %b %H:%M")
            assert any("q1.csv" in line and when in line for line in listed), listed
    finally:
        monkeypatch.undo()
        time.tzset()


async def test_a_paste_is_read_as_passing_times_when_told(maker):
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        await pilot.press("f4")
        app.screen.query_one("#paste", TextArea).text = "10:00:10\n10:00:31\n10:00:52.5\n"
        await done(pilot)
        assert "passing times" in told(app)
        assert "2 laps, total 42.50" in told(app)
        app.screen.query_one("#paste", TextArea).text = "20.1\n41.3\n62.9\n"
        await done(pilot)
        first = told(app)
        await pilot.press("f6")
        await done(pilot)
        assert told(app) != first
        kinds = {("passing times" in words) for words in (first, told(app))}
        assert kinds == {True, False}


async def test_a_paste_as_terminals_send_it_keeps_its_lines(maker):
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        await pilot.press("f4")
        app.post_message(events.Paste("lap,time\r1,21.5\r2,21.75\rtotal 43.25"))
        await done(pilot)
        assert "2 laps, total 43.25" in told(app)
        assert "line 4: a summary, not a lap: total 43.25" in told(app, "refused")


async def test_typed_laps_are_kept(maker):
    async with opened(maker, size=(140, 40)) as (app, pilot):
        await importing(app, pilot)
        await pilot.press("f5")
        await pilot.press(*"21.3", "space", *"21,4", "space", "x", "space", *"22")
        await done(pilot)
        assert "3 laps, total 1:04.70" in told(app)
        assert "line 1: not a time: x" in told(app, "refused")
        await pilot.press("f2")
        await done(pilot)
        assert laps_of(maker, "Q1") == "lap,seconds\n1,21.3\n2,21.4\n3,22\n"


async def test_laps_kept_before_are_replaced_only_after_asking(maker):
    before = laps_of(maker, "P1")
    async with opened(maker, first="pace") as (app, pilot):
        assert app.screen.heat_in_hand().name == "P1"
        await importing(app, pilot)
        await pilot.press("f5", *"20.5", "space", *"20.6")
        await done(pilot)
        assert "Kept for P1 already: 3 laps" in told(app)
        await pilot.press("f2")
        await done(pilot)
        assert isinstance(app.screen, Confirm)
        await pilot.press("n")
        await done(pilot)
        assert laps_of(maker, "P1") == before
        assert isinstance(app.screen, LapImportScreen), "what was typed is still there"
        await pilot.press("f2")
        await done(pilot)
        await pilot.press("y")
        await done(pilot)
        assert laps_of(maker, "P1") == "lap,seconds\n1,20.5\n2,20.6\n"
        put_aside = maker.folder / "laps" / "as-it-came" / "P1 replaced.txt"
        assert put_aside.read_text() == before
        await pilot.pause(0.3)
        assert app.screen.heat_in_hand().laps == (20.5, 20.6), "Pace shows the new laps"


async def test_what_was_typed_is_there_again_after_escape(maker):
    long = "\n".join(f"{21 + n / 1000:.3f}" for n in range(900))
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        await pilot.press("f4")
        app.screen.query_one("#paste", TextArea).text = long
        await done(pilot)
        await pilot.press("escape")
        await pilot.pause()
        assert not isinstance(app.screen, LapImportScreen)
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        await done(pilot)
        assert app.screen.query_one("#paste", TextArea).text == long
        assert "900 laps" in told(app)
        await pilot.press("f2")
        await done(pilot)
        assert not app.weekend.open.drafts


async def test_escape_right_after_typing_loses_nothing(maker):
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        await pilot.press("f5", *"21.3")
        await pilot.press("escape")
        await importing(app, pilot)
        assert app.screen.query_one("#typed", TextArea).text == "21.3"


async def test_a_read_only_folder_takes_no_laps(maker):
    async with opened(maker, write=False) as (app, pilot):
        await pilot.press("l")
        await pilot.pause()
        assert not isinstance(app.screen, LapImportScreen)


async def test_off_a_heat_it_asks_which(maker):
    maker.later(5).note("Rain")
    async with opened(maker) as (app, pilot):
        await pilot.press("end")
        await pilot.press("l")
        await pilot.pause()
        assert isinstance(app.screen, Pick)
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, LapImportScreen)
        assert "Laps of Q1" in told(app, "title")


async def test_signs_that_steer_a_terminal_do_not_reach_it(maker, tmp_path):
    (tmp_path / "start" / "bad.csv").write_bytes(b"21.5\n\x1b[31mred\n21.6\n[bold]x[/bold]\n")
    async with opened(maker) as (app, pilot):
        await importing(app, pilot)
        await pilot.press("down", "enter")
        await done(pilot)
        shown = told(app, "refused")
        assert "\x1b" not in shown
        assert "[bold]x[/bold]" in shown
