"""The Pace screen, played with a pilot over a copy of the demo and an empty weekend."""

from __future__ import annotations

import asyncio
import shutil
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import WeekendMaker, blank_weekend, race_weekend
from textual.widgets import Input, OptionList, Static

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.lap_import import LapImportScreen
from pitwright.app.screens.pace import PaceScreen
from pitwright.app.widgets.dialogs import FormDialog, Pick
from pitwright.app.widgets.pace_plots import SpreadPlot, TracePlot
from pitwright.app.widgets.show_text import ShowText
from pitwright.desk.pace.pace import heat_pace, pace_heats
from pitwright.store.session import Session

DEMO = Path(__file__).parents[2] / "demo_weekend"
NOW = datetime(2026, 5, 17, 14, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo")
    return tmp_path / "demo"


async def settle(app, pilot):
    """Wait until figures, pictures and answer stand there."""
    await pilot.pause()
    screen = next(s for s in app.screen_stack if isinstance(s, PaceScreen))
    await app.workers.wait_for_complete([w for w in app.workers if w.group in ("pace", "draw")])
    await pilot.pause()
    await asyncio.sleep(0.08)
    await app.workers.wait_for_complete([w for w in app.workers if w.group in ("pace", "draw")])
    await pilot.pause()
    return screen


@asynccontextmanager
async def opened(folder, *, size=(80, 24), write=True):
    with Session(folder, laptop="tent1", clock=lambda: NOW, write=write) as session:
        app = PitwrightApp(session, first="pace", clock=lambda: NOW)
        async with app.run_test(size=size, notifications=True) as pilot:
            await settle(app, pilot)
            yield app, pilot


def text(app, name):
    return str(app.screen.query_one(f"#{name}", Static).content)


def rows(app):
    heats = app.screen.query_one("#heats", OptionList)
    return [str(heats.get_option_at_index(i).prompt) for i in range(heats.option_count)]


def screen_lines(app):
    return [strip.text for strip in app.screen._compositor.render_strips()]


async def test_the_table_the_changes_and_the_answer_stand_there(folder):
    async with opened(folder) as (app, _pilot):
        heats = [row for row in rows(app) if "┊" not in row]
        assert [row.split()[1] for row in heats if row.startswith("✓")] == [
            "P1", "P2", "P3", "P4", "Q1", "Q3", "Q4", "M1", "M2"
        ]  # fmt: skip
        for heat in pace_heats(app.weekend):
            row = next(row for row in heats if row[2:].startswith(f"{heat.name} "))
            pace = heat_pace(heat.laps)
            assert f"{pace.best:.2f}" in row
            assert f"{round(pace.median, 6):.2f}" in row
        assert any(row.strip().startswith("┊ Spring 2, recess 1.34 mm (-0.") for row in rows(app))
        assert "Q2 stopped early, W1 warm-up" in text(app, "chosen")
        assert "cannot be told from the track changing" in text(app, "told")
        assert "Set aside: laps over 1.5 times" in text(app, "rest")
        assert text(app, "head").split()[:3] == ["heat", "laps", "best"]


async def test_space_and_a_choose_heats_and_the_answer_follows(folder):
    async with opened(folder) as (app, pilot):
        before = app.screen.found
        await pilot.press("space")  # M2, under the cursor
        await settle(app, pilot)
        assert [h.name for h in app.screen.chosen][-1] == "M1"
        assert app.screen.found is not before
        assert all("M2" not in s.heats for s in app.screen.found.states)
        await pilot.press("a")
        await settle(app, pilot)
        assert len(app.screen.chosen) == 11
        await pilot.press("a")
        assert len(app.screen.chosen) == 9
        await pilot.press("a")
        await settle(app, pilot)
        assert app.screen.chosen == ()
        assert "No chosen heat has laps" in text(app, "told")


async def test_views_take_turns_on_a_narrow_screen(folder):
    async with opened(folder) as (app, pilot):
        assert not app.screen.query_one("#pictures").display
        await pilot.press("v")
        await settle(app, pilot)
        assert app.screen.query_one(TracePlot).display
        drawn = "\n".join(screen_lines(app))
        assert "● M2" in drawn
        assert "× mistake, set aside" in drawn
        assert drawn.count("●") > 20
        await pilot.press("v")
        await settle(app, pilot)
        assert app.screen.query_one(SpreadPlot).display
        drawn = "\n".join(screen_lines(app))
        assert "◇" in drawn
        assert "┊ changed" in drawn
        await pilot.press("v")
        await settle(app, pilot)
        assert not app.screen.query_one("#pace").display
        assert "At the spread seen" in "\n".join(screen_lines(app))
        await pilot.press("v")
        await settle(app, pilot)
        assert app.screen.query_one("#pace").display


async def test_a_wide_screen_shows_all_at_once(folder):
    async with opened(folder, size=(140, 40)) as (app, _pilot):
        drawn = "\n".join(screen_lines(app))
        for part in ("settled", "● M2", "◆ median", "go back and forth", "never called mistakes"):
            assert part in drawn


async def test_pictures_are_drawn_once_a_screen_grows_wide(folder):
    async with opened(folder) as (app, pilot):
        await pilot.resize_terminal(140, 40)
        await settle(app, pilot)
        assert not [line for line in screen_lines(app) if "No laps to draw" in line]
        assert any("others" in line for line in screen_lines(app))


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (140, 40)])
async def test_nothing_in_the_table_is_cut(folder, size):
    async with opened(folder, size=size) as (app, _pilot):
        heats = app.screen.query_one("#heats", OptionList)
        room = heats.scrollable_content_region.width
        assert all(len(row) <= room for row in rows(app))


async def test_grouping_by_recess_asks_for_a_slope_and_a_pair_can_be_chosen(folder):
    async with opened(folder) as (app, pilot):
        await pilot.press("g")
        assert isinstance(app.screen, Pick)
        await pilot.press("down", "enter")
        screen = await settle(app, pilot)
        assert screen.found.slope is not None
        assert "follow the nut recess" in text(app, "asked")
        await pilot.press("c")
        await pilot.pause()
        await pilot.press("down", "down", "enter")  # the first band
        await pilot.pause()
        await pilot.press("down", "enter")
        await settle(app, pilot)
        await pilot.pause(0.2)
        (comparison,) = screen.found.comparisons
        assert comparison.a == "recess 1.34 to 1.35 mm"
        assert comparison.b == "recess 1.44 to 1.46 mm"
        assert "only question asked" in text(app, "rest")
        await pilot.press("f", "down", "enter")
        await settle(app, pilot)
        assert screen.found.asked.figure == "opening"
        assert screen.found.asked.pair is not None


async def test_a_pair_whose_state_lost_its_heats_is_dropped(folder):
    async with opened(folder) as (app, pilot):
        await pilot.press("c")
        await pilot.pause()
        await pilot.press("down", "enter")
        await pilot.pause()
        await pilot.press("down", "enter")  # Spring 3 against Spring 1
        await pilot.pause(0.2)
        screen = await settle(app, pilot)
        assert screen.found.asked.pair == ("Spring 1", "Spring 3")
        await pilot.press("space")  # M2 is the only heat on Spring 3
        await settle(app, pilot)
        assert screen.found.asked.pair is None


async def test_the_rule_can_be_changed_and_is_stated(folder):
    async with opened(folder) as (app, pilot):
        await pilot.press("r")
        await pilot.pause()
        assert isinstance(app.screen, FormDialog)
        field = app.screen.query_one("#field-percent", Input)
        field.value = "60"
        await pilot.press("f2")
        assert "a stop is longer than a mistake" in str(
            app.screen.query_one(".trouble", Static).content
        )
        field.value = "1"
        await pilot.press("f2")
        await pilot.pause(0.2)
        await settle(app, pilot)
        assert "1 % over it" in text(app, "rest")
        m2 = next(row for row in rows(app) if row.startswith("✓ M2"))
        assert int(m2.split()[-2]) > 4, "a stricter rule sets more laps aside"


async def test_enter_names_the_laps_that_were_set_aside(folder):
    async with opened(folder) as (app, pilot):
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, ShowText)
        mark = heat_pace(app.weekend.heat("M2").laps).set_aside[0]
        words = f"lap {mark.lap} ({mark.seconds:.2f}, {mark.reason})"
        assert words in " ".join("\n".join(screen_lines(app)).replace("│", " ").split())
        await pilot.press("escape")
        await pilot.press("l")
        await pilot.pause()
        assert isinstance(app.screen, LapImportScreen)


async def test_an_empty_weekend_says_what_to_do(tmp_path):
    async with opened(blank_weekend(tmp_path / "w")) as (app, pilot):
        assert "No heat has been run yet" in text(app, "chosen")
        await pilot.press("space", "a", "v", "v", "v", "v", "c", "l", "enter")
        await pilot.pause()
        assert isinstance(app.screen, PaceScreen)


async def test_a_heat_without_laps_is_listed_and_not_chosen(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    maker.heat("P1", "practice", 8)
    async with opened(maker.folder) as (app, pilot):
        assert rows(app) == ["  P1   no laps kept"]
        await pilot.press("space")
        assert app.screen.chosen == ()


async def test_sixty_heats_fit_and_the_cursor_stands_on_the_last(tmp_path):
    maker = race_weekend(tmp_path / "w", 60)
    async with opened(maker.folder) as (app, pilot):
        assert app.screen.heat_in_hand().name == "Main"
        assert any("Main" in line for line in screen_lines(app))
        await pilot.press("home", "v", "v")
        await settle(app, pilot)
        assert app.screen.heat_in_hand().name == "P1"
        assert any("P1" in line for line in screen_lines(app))


async def test_user_text_is_never_markup(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    stock = maker.folder / "stock.toml"
    stock.write_text(stock.read_text().replace('"Spring 3"', '"[bold]3[/bold]"'))
    for n in range(4):
        maker.later(5).fit("spring", ("S1", "S3")[n % 2])
        maker.heat(f"P{n}", "practice", 2, [20.0, 19.0, 19.1, 19.2, 19.05])
    async with opened(maker.folder) as (app, _pilot):
        drawn = "\n".join(screen_lines(app))
        assert "[bold]3[/bold]" in drawn
