"""The wear screen and the lines about wear, played with a pilot over a copy of the demo."""

from __future__ import annotations

import re
import shutil
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest
from factory import WeekendMaker, blank_weekend
from textual.widgets import Footer, Input, OptionList, Static

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.wear import WearScreen
from pitwright.app.widgets.wear_line import WearLine
from pitwright.app.widgets.wear_plot import WearPlot, legend
from pitwright.desk.wear.forecast import part_forecast
from pitwright.desk.wording import fixed
from pitwright.store.session import Session

DEMO = Path(__file__).parents[2] / "demo_weekend"
BEFORE_M2 = datetime(2026, 5, 17, 11, 10, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    """Return the demo as it stood before the last main, on a fresh third spring."""
    shutil.copytree(DEMO, tmp_path / "demo")
    for path in (tmp_path / "demo" / "log").glob("*.toml"):
        if path.name[:16] > f"{BEFORE_M2:%Y%m%dT%H%M%SZ}":
            path.unlink()
    return tmp_path / "demo"


@asynccontextmanager
async def opened(folder, *, first="measure", size=(80, 24), now=BEFORE_M2):
    with Session(folder, laptop="tent1", clock=lambda: now) as session:
        app = PitwrightApp(session, first=first, clock=lambda: now)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            yield app, pilot


async def wear(app, pilot):
    """Open the wear screen from outside an entry and wait for its answer."""
    await pilot.press("escape", "w")
    await pilot.pause()
    assert isinstance(app.screen, WearScreen)
    await app.workers.wait_for_complete()
    await pilot.pause()
    await pilot.pause()


def told(app):
    return str(app.screen.query_one("#told", Static).content)


def rows(app):
    options = app.screen.query_one("#parts", OptionList)
    return [str(options.get_option_at_index(i).prompt) for i in range(options.option_count)]


def picture(app):
    """Return the lines of the picture as they stand on the screen."""
    plot = app.screen.query_one(WearPlot)
    lines = []
    for y in range(plot.region.y, plot.region.bottom):
        strip = app.screen._compositor.render_strips()[y]
        lines.append(strip.text[plot.region.x : plot.region.right])
    return lines


@pytest.mark.parametrize("first", ["measure", "timeline", "build"])
async def test_w_opens_it_from_the_bench_and_escape_goes_back(folder, first):
    async with opened(folder, first=first) as (app, pilot):
        below = app.screen
        await wear(app, pilot)
        assert rows(app)[0].startswith("Spring 3")
        await pilot.press("escape")
        assert app.screen is below


async def test_w_in_an_entry_is_a_letter(folder):
    async with opened(folder) as (app, pilot):
        entry = app.screen.query(Input).first()
        entry.focus()
        await pilot.press("w")
        assert not isinstance(app.screen, WearScreen)
        assert entry.value == "w"


async def test_parts_are_listed_and_the_words_follow_the_arrows(folder):
    async with opened(folder) as (app, pilot):
        await wear(app, pilot)
        names = [re.split(r" +(?:fitted|spare|used|thrown)", row)[0] for row in rows(app)]
        assert names == [
            "Spring 3", "Shoe set 2", "Bearing pair 2", "Spring 2", "Shoe set 1", "Shoe set 3",
            "Spring 1", "Bearing pair 1",
        ]  # fmt: skip
        assert "M2 " in rows(app)[0]
        assert "change before" not in rows(app)[0], "that is for the race's answer to say"
        sizes = {row.index(".") for row in rows(app) if " mm" in row}
        assert len(sizes) == 1, "sizes stand in a column on their point"
        found = part_forecast(app.weekend, "free_length", BEFORE_M2)
        assert told(app).splitlines()[: len(found.sentences)] == list(found.sentences)
        await pilot.press("right")
        assert told(app).startswith("Shoe set 2, fitted")
        await pilot.press("down")
        assert told(app).startswith("Bearing pair 2, fitted: 41 min.")
        assert "139 min left" in told(app)
        await pilot.press("down")
        assert told(app).startswith("Spring 2, a spare")
        await pilot.press("left", "left", "left", "left")
        assert told(app).startswith("Bearing pair 1, thrown away")
        await pilot.press("left")
        assert told(app).startswith("Spring 1, thrown away")


async def test_the_picture_has_a_sign_for_each_thing(folder):
    async with opened(folder, size=(140, 40)) as (app, pilot):
        await wear(app, pilot)
        *canvas, legend = [line for line in picture(app) if line.strip()]
        drawn = "\n".join(canvas)
        for sign, meaning in (
            ("●", "read"),
            ("○", "unsqueezed"),
            ("•", "wear"),
            ("░", "9 in 10"),
            ("═", "limit 9.8"),
            ("┊", "end of M2"),
        ):
            assert sign in drawn
            assert f"{sign} {meaning}" in legend
        limit_row = next(i for i, line in enumerate(canvas) if "═" * 10 in line)
        reading_row = next(i for i, line in enumerate(canvas) if "●" in line)
        assert reading_row < limit_row
        assert "min" in canvas[-1]


async def test_a_part_never_read_leaves_the_picture_empty_and_the_next_draws_again(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    maker.fit("spring", "S1")
    maker.check(free_length=10.18)
    async with opened(maker.folder, now=maker.at) as (app, pilot):
        await wear(app, pilot)
        assert not app.screen.query_one(WearPlot).has_class("empty")
        await pilot.press("right")
        assert app.screen.query_one(WearPlot).has_class("empty")
        await pilot.press("left")
        await pilot.pause()
        assert not app.screen.query_one(WearPlot).has_class("empty")
        assert any("●" in line for line in picture(app))


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_nothing_is_cut_off(folder, size):
    async with opened(folder, size=size) as (app, pilot):
        await wear(app, pilot)
        plot = app.screen.query_one(WearPlot)
        footer = app.screen.query_one(Footer)
        assert plot.region.bottom <= footer.region.y
        assert plot.region.right <= size[0]
        assert plot.query_one(".legend").size.height == 1
        parts = app.screen.query_one("#parts", OptionList)
        assert max(len(row) for row in rows(app)) <= parts.size.width


async def test_it_draws_in_every_theme(folder):
    async with opened(folder) as (app, pilot):
        await wear(app, pilot)
        for name in ("daylight", "plain", "high-contrast", "night"):
            app.theme = name
            await pilot.pause()
            assert any("═" in line for line in picture(app))


async def test_without_any_part_it_says_so(tmp_path):
    folder = blank_weekend(tmp_path / "w")
    (folder / "stock.toml").write_text("format = 1\n")
    async with opened(folder) as (app, pilot):
        await wear(app, pilot)
        assert "Nothing that wears is known yet" in told(app)


async def until_told(pilot, line):
    for _ in range(100):
        if line.display:
            return str(line.content)
        await pilot.pause(0.05)
    raise AssertionError("nothing was said about wear")


async def test_measure_says_under_the_quantity_how_long_it_lasts(folder):
    async with opened(folder) as (app, pilot):
        line = app.screen.query_one(WearLine)
        said = await until_told(pilot, line)
        short = part_forecast(app.weekend, "free_length", BEFORE_M2).short
        assert said == short[0].upper() + short[1:]
        await pilot.press("down")  # the recess does not wear
        await pilot.pause()
        assert not line.display
        await pilot.press("down")
        assert "left" in await until_told(pilot, line)


async def test_timeline_says_it_of_both_fitted_parts_where_there_is_room(folder):
    async with opened(folder, first="timeline", size=(140, 40)) as (app, pilot):
        said = await until_told(pilot, app.screen.query_one(WearLine))
        assert [line.partition(" now: ")[0] for line in said.splitlines()] == [
            "Spring 3",
            "Shoe set 2",
        ]


def test_the_limit_is_told_in_the_same_digits_under_the_picture_as_beside_it():
    """Coil bind at 10.025 mm was 10.02 in the sentence and 10.03 in the legend."""
    found = SimpleNamespace(
        points=(), curve=(), goal="", decimals=2, limit=SimpleNamespace(value_mm=10.0251)
    )
    assert legend(found).endswith(f"limit {fixed(10.0251)}")
    found.limit.value_mm = 0.025
    assert legend(found).endswith("limit 0.02")
