"""Measure, when the part is warm, the spring was squeezed, or the reading has dropped far."""

from __future__ import annotations

import tomllib
from contextlib import asynccontextmanager
from datetime import timedelta

import pytest
from factory import WeekendMaker
from textual.widgets import Static

from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.app.widgets.slip_dialog import AskSlip
from pitwright.desk.wear.history import wear_histories
from pitwright.store.session import Session
from pitwright.weekend.records import Check, ZeroCheck


@pytest.fixture
def maker(tmp_path):
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.fit("bell", "B1")
    made.check(free_length=10.15, recess=1.30)
    made.heat("P1", "practice", 8)
    made.later(30)
    return made


@asynccontextmanager
async def measuring(maker):
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, first="measure", clock=lambda: maker.at)
        async with app.run_test(size=(80, 24), notifications=True) as pilot:
            await pilot.pause()
            yield app, pilot


def entry(app, quantity):
    return next(e for e in app.screen_stack[1].query(ReadingEntry) if e.quantity == quantity)


def shown(app, quantity, where):
    return str(entry(app, quantity).query_one(where, Static).content)


def text(app, where):
    return str(app.screen.query_one(where, Static).content)


async def type_(pilot, typed):
    await pilot.press(*("space" if sign == " " else sign for sign in typed))
    await pilot.pause()


async def warm(pilot, typed):
    await pilot.press("escape", "t")
    await pilot.pause()
    await type_(pilot, typed)
    await pilot.press("enter")
    await pilot.pause()


def last_check(maker):
    paths = sorted((maker.folder / "log").glob("*-check-*.toml"))
    return tomllib.loads(paths[-1].read_text())["readings"]


async def measure_bore(pilot, typed):
    await pilot.press(*["down"] * 5)
    await type_(pilot, typed)


async def test_a_hot_bell_is_given_at_20(maker):
    async with measuring(maker) as (app, pilot):
        await measure_bore(pilot, "30.42")
        assert shown(app, "bell_bore", ".flag") == "✗ out"
        await warm(pilot, "120")
        assert shown(app, "bell_bore", ".flag") == "≈ too close to call"
        assert "Parts at 120 °C: sizes are given at 20 °C" in text(app, "#banner")
        assert "it matters" in text(app, "#about")
        await pilot.press("s")
        await pilot.pause()
        # the warmth stays for the next part, until it is long gone
        assert app.screen.query_one("#banner").has_class("shown")
        maker.later(16)
        app.screen._cool()
        await pilot.pause()
        assert not app.screen.query_one("#banner").has_class("shown")
        assert app.screen.part_c is None
    (kept,) = last_check(maker)
    assert kept["part_c"] == 120
    assert kept["values_mm"] == [30.42]
    assert kept["at_20_mm"] == pytest.approx(30.385, abs=1e-3)


async def test_warmth_outlives_the_app_with_what_was_typed(maker):
    async with measuring(maker) as (app, pilot):
        await measure_bore(pilot, "30.42")
        await warm(pilot, "120")
        await pilot.press("q")
        await pilot.pause()
    maker.later(60)
    async with measuring(maker) as (app, pilot):
        # the reading was taken warm, however long ago
        assert app.screen.part_c == 120
        assert shown(app, "bell_bore", ".flag") == "≈ too close to call"


@pytest.mark.parametrize(("minutes", "part_c"), [(5, 45), (20, None)])
async def test_warmth_alone_outlives_the_app_until_the_part_is_cold(maker, minutes, part_c):
    async with measuring(maker) as (app, pilot):
        await warm(pilot, "45")
        await pilot.press("q")
    maker.later(minutes)
    async with measuring(maker) as (app, pilot):
        assert app.screen.part_c == part_c
        assert app.screen.query_one("#banner").has_class("shown") == (part_c is not None)
        assert bool(app.drafts.fields("measure")) == (part_c is not None)


async def test_nonsense_is_no_temperature_and_empty_is_cold(maker):
    async with measuring(maker) as (app, pilot):
        await warm(pilot, "900")
        assert "between -20 and 300" in text(app, ".trouble")
        await pilot.press("escape")
        await warm(pilot, "60")
        assert app.screen.part_c == 60
        await pilot.press("t")
        await pilot.pause()
        await pilot.press("backspace", "backspace", "enter")
        await pilot.pause()
        assert app.screen.part_c is None


async def test_a_correction_is_judged_as_warm_as_it_was_read(maker):
    async with measuring(maker) as (app, pilot):
        await measure_bore(pilot, "30.42")
        await warm(pilot, "120")
        await pilot.press("s")
        await pilot.pause()
        maker.later(60)
        app.screen._cool()
        await pilot.press("escape", "e")
        await pilot.pause()
        assert "parts at 120 °C" in text(app, "#banner")
        await pilot.press("backspace", "0", "ctrl+s")
        await pilot.pause()
        await type_(pilot, "misread")
        await pilot.press("enter")
        await pilot.pause()
        reading = next(r for r in reversed(app.weekend.log.records) if isinstance(r, Check))
        assert reading.readings[0].part_c == 120
        assert reading.readings[0].value_mm == pytest.approx(30.365, abs=1e-3)
        assert app.screen.part_c is None


async def test_squeezes_set_the_run_in_drop_apart_from_wear(tmp_path):
    maker = WeekendMaker(tmp_path / "w")
    maker.fit("spring", "S1")
    async with measuring(maker) as (app, pilot):
        for squeezes, length in (("0", "10.20"), ("5", "10.15")):
            await type_(pilot, length)
            await pilot.press("escape", "n")
            await pilot.pause()
            await type_(pilot, squeezes)
            await pilot.press("enter")
            await pilot.pause()
            times = f"squeezed {squeezes} times"
            assert times in text(app, "#about")
            await pilot.press("s")
            await pilot.pause()
            maker.later(5)
            await pilot.press("enter")
        spring = next(h for h in wear_histories(app.weekend) if h.part == "S1")
        assert [(p.value_mm, p.run_in) for p in spring.points] == [(10.2, False), (10.15, True)]
    assert last_check(maker)[0]["squeezes"] == 5


async def test_squeezes_are_asked_of_a_spring_only_and_kept_in_the_draft(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.12")
        await pilot.press("escape", "n")
        await pilot.pause()
        await type_(pilot, "x")
        await pilot.press("enter")
        await pilot.pause()
        assert "from 0 to 50" in text(app, ".trouble")
        await pilot.press("backspace", "7", "enter")
        await pilot.pause()
        await pilot.press("q")
        await pilot.pause()
    async with measuring(maker) as (app, pilot):
        assert entry(app, "free_length").squeezes == 7
        await pilot.press("down", "escape", "n")
        await pilot.pause()
        assert app.screen is app.screen_stack[1]


async def test_a_correction_can_say_the_squeezes_that_were_forgotten(maker):
    async with measuring(maker) as (app, pilot):
        await pilot.press("escape", "e")
        await pilot.pause()
        await pilot.press("escape", "up", "up", "escape", "n")
        await pilot.pause()
        await type_(pilot, "5")
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("s")
        await pilot.pause()
        await type_(pilot, "forgot the squeezes")
        await pilot.press("enter")
        await pilot.pause()
        check = next(r for r in app.weekend.log.records if isinstance(r, Check))
        assert {r.quantity: r.squeezes for r in check.readings} == {
            "free_length": 5,
            "recess": None,
        }


async def test_the_question_about_a_far_drop_does_not_hide_the_verdict(maker):
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "9.78")
        assert shown(app, "free_length", ".flag") == "✗ out"
        assert "Fit a new spring" in shown(app, "free_length", ".told")
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert isinstance(app.screen, AskSlip)
        said = "\n".join(str(s.content) for s in app.screen.query(Static))
        assert "✗ out" in said
        assert "Fit a new spring" in said
        assert "read it again" in said
        await pilot.press("n")
        await pilot.pause()
        await type_(pilot, " 9.79")
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert not isinstance(app.screen, AskSlip)
    assert last_check(maker)[0]["values_mm"] == [9.78, 9.79]


async def test_the_essentials_fit_in_80_by_24(maker):
    maker.add(ZeroCheck(happened_at=maker.at, instrument="caliper", values_mm=[0.05]))
    maker.later(1)
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "9.82")
        await warm(pilot, "60")
        await pilot.press("n")
        await pilot.pause()
        await pilot.press("5", "enter")
        await pilot.pause(0.2)
        detail = app.screen.query_one("#detail")
        about, nut = text(app, "#about"), text(app, "#nut-advice")
        assert max(map(len, [*about.splitlines(), nut])) <= detail.content_size.width
        assert about.splitlines()[3].startswith("Part at 60 °C")
        assert detail.region.contains_region(app.screen.query_one("#nut-advice").region)
        form = app.screen.query_one("#form")
        assert form.max_scroll_y == 0
        keys = app.screen.query_one(KeyLine).keys
        assert {"Save", "Warm", "Squeezes", "Help"} <= {
            key.words.strip() for key in keys if key.end <= 80
        }


async def test_a_zero_that_is_off_is_said_at_each_reading(maker):
    maker.add(ZeroCheck(happened_at=maker.at, instrument="caliper", values_mm=[0.05]))
    maker.at += timedelta(minutes=1)
    async with measuring(maker) as (app, pilot):
        await type_(pilot, "10.12")
        await pilot.pause(0.2)
        assert "Caliper reads 0.05 mm long at zero: set it again, or take" in text(app, "#about")
        assert shown(app, "free_length", ".shown") == "10.12 ± 0.08 mm"
