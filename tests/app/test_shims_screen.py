"""The Shims screen, worked by keys."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from factory import WeekendMaker
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, Static

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.shims import ShimsScreen
from pitwright.app.widgets.dialogs import AskLine, Confirm
from pitwright.desk.stock.stock import shims_now
from pitwright.store.files import StoreError
from pitwright.store.session import Session
from pitwright.weekend.records import Check, Fit, StockChange


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("height shims", shims_mm=[0.2, 0.1])
    made.fit("end play shims", shims_mm=[0.1])
    made.later(5).check(end_play=0.40)
    return made.later(5)


@asynccontextmanager
async def shown(maker, size=(80, 24)) -> AsyncIterator[tuple[Pilot[None], ShimsScreen, Session]]:
    with maker.session() as session:
        app = PitwrightApp(session, first="shims", clock=lambda: maker.at)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            screen = app.screen
            assert isinstance(screen, ShimsScreen)
            yield pilot, screen, session


def text(screen, which) -> str:
    return str(screen.query_one(which, Static).content).replace("\u00a0", " ")


def tin(session):
    return {t.micrometres: t.in_tin for t in shims_now(session.weekend)}


async def test_it_shows_tin_play_and_stacks(maker):
    async with shown(maker) as (_pilot, screen, _session):
        assert "in the tin" in text(screen, "#tin")
        assert "0.20 + 0.10 = 0.30" in text(screen, "#fitted")
        assert "Measured 0.40 mm" in text(screen, "#play")
        assert "Hot about" in text(screen, "#play")
        assert "bearings, dirt" in text(screen, "#play")
        assert screen.query_one("#stacks", OptionList).option_count == 5
        assert screen.chosen.end_play_mm == pytest.approx(0.25)


async def test_the_figure_of_the_play_is_not_cut(maker):
    async with shown(maker) as (pilot, screen, _session):
        await pilot.press("m", *"0,35")
        await pilot.pause(0.1)
        lines = [strip.text for strip in screen._compositor.render_strips()]
        entry = next(line for line in lines if "0,35" in line)
        assert entry.rstrip().endswith(" mm"), entry


async def test_one_key_records_the_stack_and_takes_it_from_the_tin(maker):
    async with shown(maker) as (pilot, screen, session):
        before, best = tin(session), screen.chosen
        await pilot.press("f")
        await pilot.pause()
        assert isinstance(pilot.app.screen, Confirm)
        await pilot.press("y")
        await pilot.pause()
        fits = [r for r in session.weekend.log.records if isinstance(r, Fit)]
        assert len(fits) == 3  # the height shims add up already and stay as they are
        assert fits[-1].place == "end play shims"
        assert sorted(fits[-1].shims_mm) == sorted(best.end_play_shims_mm)
        after = tin(session)
        for shim in best.put_in["end play shims"]:
            assert after[round(shim * 1000)] < before[round(shim * 1000)]
        assert sum(after.values()) == sum(before.values()) + 1 - len(best.end_play_shims_mm)
        assert screen.chosen.as_fitted
        assert "now about 0.25 mm" in text(screen, "#play")


async def test_fitting_asks_first(maker):
    async with shown(maker) as (pilot, _screen, session):
        count = len(session.weekend.log)
        await pilot.press("down", "f")
        await pilot.pause()
        await pilot.press("n")
        await pilot.pause()
        assert len(session.weekend.log) == count


async def test_what_is_in_already_is_not_recorded_again(maker):
    maker.fit("end play shims", shims_mm=[0.15, 0.1])
    maker.later(1).check(end_play=0.25)
    async with shown(maker) as (pilot, screen, session):
        assert screen.chosen.as_fitted
        count = len(session.weekend.log)
        await pilot.press("f")
        await pilot.pause()
        assert pilot.app.screen is screen
        assert len(session.weekend.log) == count


async def test_typing_moves_the_stacks_and_enter_keeps_the_reading(maker):
    async with shown(maker) as (pilot, screen, session):
        await pilot.press("m", *"0,31")
        await pilot.pause()
        assert screen.found.measured.value_mm == pytest.approx(0.31)
        assert screen.found.measured.bare_mm == pytest.approx(0.71)
        assert not [r for r in session.weekend.log.records[3:] if isinstance(r, Check)]
        await pilot.press("enter")
        await pilot.pause()
        kept = session.weekend.log.records[-1]
        assert isinstance(kept, Check)
        assert kept.readings[0].value_mm == pytest.approx(0.31)
        assert kept.readings[0].typed == "0,31"
        assert screen.entry.typed == ""
        await pilot.press("f")  # the list has the keys again
        await pilot.pause()
        assert isinstance(pilot.app.screen, Confirm)


async def test_what_is_typed_survives_leaving_and_a_full_disk(maker, monkeypatch):
    async with shown(maker) as (pilot, screen, session):

        def full(_record):
            raise StoreError(28, "No space left on device")

        await pilot.press("m", *"0.31")
        monkeypatch.setattr(session, "append", full)
        await pilot.press("enter")
        await pilot.pause()
        assert screen.entry.typed == "0.31"
    async with shown(maker) as (pilot, screen, _session):
        assert screen.entry.typed == "0.31"


async def test_bought_counted_and_lost(maker):
    async with shown(maker) as (pilot, screen, session):
        for key, typed in (("b", "0.05 x 6"), ("n", "0,30 2"), ("x", "0.15 x 1")):
            await pilot.press(key)
            await pilot.pause()
            assert isinstance(pilot.app.screen, AskLine)
            pilot.app.screen.query_one(Input).value = typed
            await pilot.press("enter")
            await pilot.pause()
        assert tin(session) == {50: 10, 100: 4, 150: 3, 200: 3, 300: 2}
        changes = [r.change for r in session.weekend.log.records if isinstance(r, StockChange)]
        assert changes == ["bought", "counted", "lost"]
        assert "10" in text(screen, "#tin")


async def test_a_slip_in_a_count_is_said_and_kept_in_the_entry(maker):
    async with shown(maker) as (pilot, _screen, session):
        await pilot.press("b", *"much")
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(pilot.app.screen, AskLine)
        assert pilot.app.screen.query_one(Input).value == "much"
        assert not [r for r in session.weekend.log.records if isinstance(r, StockChange)]


async def test_letters_are_letters_while_typing(maker):
    async with shown(maker) as (pilot, screen, session):
        await pilot.press("m", *"0.3", "b", "f")
        await pilot.pause()
        assert pilot.app.screen is screen
        assert screen.entry.typed == "0.3bf"
        await pilot.press("escape", "b")
        await pilot.pause()
        assert isinstance(pilot.app.screen, AskLine)
        assert len(session.weekend.log) == 3


async def test_nothing_measured_yet(tmp_path):
    async with shown(WeekendMaker(tmp_path / "w")) as (pilot, screen, _session):
        assert "measure" in text(screen, "#play")
        assert screen.chosen is None
        await pilot.press("f")
        await pilot.pause()
        assert pilot.app.screen is screen


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_rows_fit(maker, size):
    async with shown(maker, size) as (_pilot, screen, _session):
        room = screen.query_one("#shims").content_size.width
        for which in ("#tin", "#fitted", "#play", "#head"):
            assert all(len(row) <= room for row in text(screen, which).splitlines())
        notes = screen.query_one("#notes")
        assert notes.region.bottom <= size[1] - 1


@pytest.mark.parametrize("size", [(80, 24), (100, 30), (140, 40), (190, 50)])
async def test_the_advice_is_whole(maker, size):
    async with shown(maker, size) as (pilot, screen, _session):
        await pilot.press("m", *"0.35")
        await pilot.pause()
        lines = [strip.text for strip in screen._compositor.render_strips()]
        at = screen.entry.query_one(".told").region
        told = " ".join(line[at.x : at.right].strip() for line in lines[at.y : at.bottom])
        assert told.endswith("Add shims behind the retaining screw")


async def test_reading_only_leaves_the_draft_of_the_one_who_writes(maker):
    with maker.session() as writer:
        writer.keep_draft("shims", {"end_play": "0.3"})
        with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as reader:
            assert not reader.writable
            app = PitwrightApp(reader, first="shims", clock=lambda: maker.at)
            async with app.run_test(size=(80, 24)) as pilot:
                await pilot.pause()
                assert app.screen.entry.typed == ""
                await pilot.press("m", *"0.25")
                await pilot.pause()
                assert app.screen.found.measured.value_mm == pytest.approx(0.25)
        with Session(maker.folder, laptop="tent1", write=False) as again:
            assert again.weekend.open.drafts["shims"].fields == {"end_play": "0.3"}
