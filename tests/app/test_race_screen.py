"""The race screen, played with a pilot over a copy of the demo."""

from __future__ import annotations

import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import blank_weekend
from textual.pilot import Pilot
from textual.widgets import OptionList, Static

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.pit_clock import PitClockScreen
from pitwright.app.screens.race import RaceScreen
from pitwright.app.screens.wear import WearScreen
from pitwright.app.widgets.race_plot import RacePlot
from pitwright.store.session import Session

DEMO = Path(__file__).parents[2] / "demo_weekend"
BEFORE_M2 = datetime(2026, 5, 17, 11, 10, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the demo as it stood before the last main, on a fresh third spring."""
    shutil.copytree(DEMO, tmp_path / "demo")
    for path in (tmp_path / "demo" / "log").glob("*.toml"):
        if path.name[:16] > f"{BEFORE_M2:%Y%m%dT%H%M%SZ}":
            path.unlink()
    return tmp_path / "demo"


@asynccontextmanager
async def opened(folder: Path, size: tuple[int, int] = (80, 24)) -> AsyncIterator[Pilot[None]]:
    with Session(folder, laptop="tent1", clock=lambda: BEFORE_M2) as session:
        app = PitwrightApp(session, first="measure", clock=lambda: BEFORE_M2)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            yield pilot


async def race(pilot: Pilot[None], *keys: str) -> None:
    """Open the screen from outside an entry and wait for its answer."""
    await pilot.press("escape", *keys)
    await pilot.pause()
    assert isinstance(pilot.app.screen, RaceScreen)
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()
    await pilot.pause()


def told(pilot: Pilot[None]) -> str:
    return str(pilot.app.screen.query_one("#told", Static).content)


def rows(pilot: Pilot[None]) -> list[str]:
    ways = pilot.app.screen.query_one("#ways", OptionList)
    return [str(ways.get_option_at_index(i).prompt) for i in range(ways.option_count)]


@pytest.mark.parametrize(("key", "below"), [("w", WearScreen), ("k", PitClockScreen)])
async def test_r_opens_it_from_wear_and_the_clock_and_goes_back(
    folder: Path, key: str, below: type
) -> None:
    async with opened(folder) as pilot:
        await race(pilot, key, "r")
        assert rows(pilot)[0].startswith("Spring 2  Shoe set 2  1.49")
        assert told(pilot).startswith("Fit Spring 2, set the recess to 1.49")
        await pilot.press("r")
        assert isinstance(pilot.app.screen, below)


async def test_the_words_follow_the_arrows(folder: Path) -> None:
    async with opened(folder) as pilot:
        await race(pilot, "w", "r")
        leave = next(i for i, row in enumerate(rows(pilot)) if "leave it" in row)
        await pilot.press(*["right"] * leave)
        assert told(pilot).startswith("Leave parts and nut as they are.")
        await pilot.press("left")
        assert not told(pilot).startswith("Leave")


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_every_row_stands_on_one_line_and_the_picture_has_its_signs(
    folder: Path, size: tuple[int, int]
) -> None:
    async with opened(folder, size) as pilot:
        await race(pilot, "w", "r")
        ways = pilot.app.screen.query_one("#ways", OptionList)
        assert max(map(len, rows(pilot))) <= ways.scrollable_content_region.width
        plot = pilot.app.screen.query_one(RacePlot)
        strips = pilot.app.screen._compositor.render_strips()
        drawn = "\n".join(
            strips[y].text[plot.region.x : plot.region.right]
            for y in range(plot.region.y, plot.region.bottom)
        )
        for sign in ("•", "░", "═", "30 min"):
            assert sign in drawn


async def test_wear_says_the_races_answer_on_top(folder: Path) -> None:
    async with opened(folder) as pilot:
        await pilot.press("escape", "w")
        await pilot.pause()
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        line = str(pilot.app.screen.query_one("#race-line", Static).content)
        assert line.startswith("M2: fit Spring 2, set the recess to 1.49")
        assert "leave it" in line


async def test_with_nothing_at_hand_it_says_so(tmp_path: Path) -> None:
    bare = blank_weekend(tmp_path / "w")
    (bare / "stock.toml").write_text("format = 1\n")
    async with opened(bare) as pilot:
        await race(pilot, "w", "r")
        assert told(pilot).startswith("Cannot say: ")
        assert pilot.app.screen.query_one(RacePlot).has_class("empty")
