"""The pit clock on screen, by keys, with a clock that is set by hand."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from factory import LAPTOP, WeekendMaker, local, scheduled
from textual.pilot import Pilot
from textual.widgets import Input, OptionList, Static

from pitwright.app.app import SCREENS_BY_KEY, PitwrightApp
from pitwright.app.screens.pit_clock import PitClockScreen, countdown
from pitwright.app.screens.timeline import TimelineScreen
from pitwright.app.widgets.dialogs import FormDialog
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.desk.clock.timers import COOLING
from pitwright.store.session import Session
from pitwright.weekend.open_work import Timer
from pitwright.weekend.records import Check, Reading, ScheduleChange

SCHEDULE = [
    scheduled("P1", "practice", 0, "9:00", 8, 1),
    scheduled("P2", "practice", 0, "10:30", 8, 2),
    scheduled("M1", "main", 2, "12:00", 20),
]


class Clock:
    """A clock that is set by hand."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def on(self, **more: float) -> None:
        self.now += timedelta(**more)


Work = Pilot[None]


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w", schedule=SCHEDULE)
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    return made


@asynccontextmanager
async def opened(
    maker: WeekendMaker, clock: Clock, size: tuple[int, int] = (80, 24), **more: str
) -> AsyncIterator[Work]:
    with Session(maker.folder, laptop=LAPTOP, clock=clock) as session:
        app = PitwrightApp(session, clock=clock, **more)  # type: ignore[arg-type]
        rung: list[datetime] = []
        app.bell = lambda: rung.append(clock.now)  # type: ignore[method-assign]
        app.rung = rung  # type: ignore[attr-defined]
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            yield pilot


async def press(pilot: Work, *keys: str) -> None:
    for key in keys:
        await pilot.press(key)
        await pilot.pause()
        await pilot.pause()


async def tick(pilot: Work) -> None:
    """Let everything tick once that ticks each second, however late its turn comes here."""
    await pilot.pause()
    for node in (pilot.app, pilot.app.screen):
        for timer in [each for each in node._timers if each._interval == 1.0]:
            with node._context():
                await timer._tick(next_timer=0.0, count=0)
    await pilot.pause()


def text_of(pilot: Work, name: str) -> str:
    return str(pilot.app.screen.query_one(f"#{name}", Static).content)


def timers_of(pilot: Work) -> list[str]:
    options = pilot.app.screen.query_one("#clock-timers", OptionList)
    return [str(o.prompt) for o in options.options] if options.display else []


def top_line(pilot: Work) -> str:
    return str(pilot.app.screen.query_one(StatusBar).content)


def bells(pilot: Work) -> int:
    return len(pilot.app.rung)  # type: ignore[attr-defined]


def rows_of(pilot: Work) -> list[str]:
    """Return the screen as it is drawn, row by row."""
    screen = pilot.app.screen
    strips = screen._compositor.render_strips()
    return ["".join(segment.text for segment in strip) for strip in strips]


class TestOpening:
    @pytest.mark.parametrize("name", [row[1] for row in SCREENS_BY_KEY])
    async def test_one_key_from_every_screen_and_back(self, maker: WeekendMaker, name: str) -> None:
        clock = Clock(local(0, "8:00"))
        async with opened(maker, clock, first=name) as pilot:
            pilot.app.screen.set_focus(None)
            behind = pilot.app.screen
            await press(pilot, "k")
            assert isinstance(pilot.app.screen, PitClockScreen)
            await press(pilot, "k")
            assert pilot.app.screen is behind
            await press(pilot, "k", "escape")
            assert pilot.app.screen is behind

    async def test_a_click_on_the_top_line_opens_it(self, maker: WeekendMaker) -> None:
        async with opened(maker, Clock(local(0, "8:00"))) as pilot:
            await pilot.click(StatusBar)
            await pilot.pause()
            assert isinstance(pilot.app.screen, PitClockScreen)

    async def test_digits_leave_it_for_another_screen(self, maker: WeekendMaker) -> None:
        async with opened(maker, Clock(local(0, "8:00")), first="build") as pilot:
            await press(pilot, "k", "1")
            assert isinstance(pilot.app.screen, TimelineScreen)
            assert not any(isinstance(s, PitClockScreen) for s in pilot.app.screen_stack)
            depth = len(pilot.app.screen_stack)
            await press(pilot, "k", "1", "k", "1")
            assert len(pilot.app.screen_stack) == depth


class TestShowing:
    async def test_what_fits_and_how_it_ticks(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:04"))
        async with opened(maker, clock) as pilot:
            await press(pilot, "k")
            assert text_of(pilot, "clock-head").splitlines() == [
                "P1, practice, at 09:00, in 56 min",
                "Fits at most: full rebuild",
            ]
            jobs = text_of(pilot, "clock-jobs").splitlines()
            assert [line.split("  ")[0] for line in jobs] == [
                "Full rebuild", "Spring change", "Recess only",
            ]  # fmt: skip
            assert jobs[0].endswith("start by 08:04")
            clock.on(seconds=1)
            await tick(pilot)
            assert "Fits at most: spring change" in text_of(pilot, "clock-head")
            clock.on(minutes=30)
            await tick(pilot)
            assert "Hands off" in text_of(pilot, "clock-head")
            assert pilot.app.screen.query_one("#clock-face").has_class("-tight")
            assert top_line(pilot).rstrip().endswith("P1 in 25 min · 08:34")

    async def test_nothing_is_drawn_again_that_did_not_change(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:00") + timedelta(seconds=10))
        async with opened(maker, clock) as pilot:
            await press(pilot, "k")
            await tick(pilot)
            jobs = pilot.app.screen.query_one("#clock-jobs", Static)
            before = jobs.visual
            clock.on(seconds=1)
            await tick(pilot)
            assert jobs.visual is before
            assert "▀" in text_of(pilot, "clock-digits")

    @pytest.mark.parametrize("size", [(80, 24), (140, 40)])
    async def test_the_list_before_a_main(self, maker: WeekendMaker, size: tuple[int, int]) -> None:
        maker.go(2, "10:00").check("out", free_length=9.75)
        clock = Clock(local(2, "11:00"))
        async with opened(maker, clock, size) as pilot:
            await press(pilot, "k")
            await pilot.app.workers.wait_for_complete()
            await pilot.pause()
            told = text_of(pilot, "clock-list")
            assert told.startswith("Before M1 at 12:00: 8 of 8 not good")
            assert "✗ out" in told
            assert "Fit a new spring" in told
            assert "- no record" in told
            assert all(len(line) <= size[0] - 3 for line in told.splitlines())
            assert text_of(pilot, "clock-stops").startswith("Cannot say: no heat has both")
            # a record turns a point green, and nothing else does
            reading = Reading(quantity="recess", values_mm=[1.4], verdict="good")
            app = pilot.app
            assert isinstance(app, PitwrightApp)
            app.keep(Check(happened_at=clock.now, readings=[reading]))
            await pilot.pause()
            await app.workers.wait_for_complete()
            await pilot.pause()
            told = text_of(pilot, "clock-list")
            assert told.startswith("Before M1 at 12:00: 7 of 8 not good")
            assert "✓ good Nut recess 1.40 mm, 11:00, not run since" in re.sub(r"\s+", " ", told)

    async def test_the_list_by_key_before_other_heats(self, maker: WeekendMaker) -> None:
        async with opened(maker, Clock(local(0, "8:00"))) as pilot:
            await press(pilot, "k")
            await pilot.app.workers.wait_for_complete()
            right = pilot.app.screen.query_one("#clock-right")
            assert not right.display
            await press(pilot, "p")
            assert right.display
            assert "Before M1 at Sun 12:00" in text_of(pilot, "clock-list")
            await press(pilot, "p")
            assert not right.display

    async def test_nothing_is_cut_off_at_80_columns(self, tmp_path: Path) -> None:
        long = "Semi final group B of the second class"
        maker = WeekendMaker(tmp_path / "w", schedule=[scheduled(long, "main", 0, "9:00", 20)])
        clock = Clock(local(0, "8:00"))
        with maker.session() as session:
            timers = [
                Timer(name=f"own {i}", label="Warm the tyres up", due_at=maker.at) for i in range(3)
            ]
            session.keep_timers(timers)
        async with opened(maker, clock) as pilot:
            await press(pilot, "k")
            assert "in 1 h 00 min · 08:00" in top_line(pilot)
            rows = rows_of(pilot)
            assert len(rows) == 24
            assert "in 1 h 00 min · 08:00" in rows[0]
            keys = ("Back", "Cooling", "Timer", "Seen", "Clear", "Delay", "List", "Help")
            assert all(key in rows[-1] for key in keys)

    async def test_a_delay_from_here(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:30"))
        async with opened(maker, clock) as pilot:
            await press(pilot, "k", "d")
            assert isinstance(pilot.app.screen, FormDialog)
            pilot.app.screen.query_one("#field-minutes", Input).value = "20"
            await press(pilot, "f2")
            assert "P1, practice, at 09:20, in 50 min" in text_of(pilot, "clock-head")
            weekend = pilot.app.weekend  # type: ignore[attr-defined]
            (change,) = [r for r in weekend.log.records if isinstance(r, ScheduleChange)]
            assert (change.heat, change.minutes) == ("P1", 20)
            starts = {h.name: h.starts_at for h in weekend.schedule}
            assert starts["P2"] == local(0, "10:50")
            assert starts["M1"] == local(2, "12:00")


class TestTimers:
    async def test_started_rung_once_seen_and_cleared(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:00"))
        async with opened(maker, clock) as pilot:
            await press(pilot, "k", "t")
            form = pilot.app.screen
            form.query_one("#field-minutes", Input).value = "10"
            form.query_one("#field-label", Input).value = "Tyres [b]on[/b]"
            await press(pilot, "f2")
            assert timers_of(pilot) == ["  Tyres [b]on[/b]: 10 min left, until 08:10"]
            clock.on(minutes=9, seconds=59)
            await tick(pilot)
            assert bells(pilot) == 0
            clock.on(seconds=1)
            await tick(pilot)
            assert bells(pilot) == 1
            assert timers_of(pilot) == ["! Tyres [b]on[/b]: due since 08:10"]
            assert "! Tyres [b]on[/b] is due" in top_line(pilot)
            clock.on(minutes=1)
            await tick(pilot)
            assert bells(pilot) == 1
            await press(pilot, "k")
            assert "! Tyres [b]on[/b] is due" in top_line(pilot)
            await press(pilot, "k", "s")
            assert "is due" not in top_line(pilot)
            assert timers_of(pilot) == ["  Tyres [b]on[/b]: due since 08:10, seen"]
            await press(pilot, "x")
            assert timers_of(pilot) == []
        with maker.session() as session:
            assert session.weekend.open.timers == []

    async def test_they_survive_closing_and_ring_on_every_screen(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:00"))
        async with opened(maker, clock) as pilot:
            await press(pilot, "k", "c")
            assert "until 08:12" in timers_of(pilot)[0]
        clock.on(minutes=5)
        async with opened(maker, clock, first="measure") as pilot:
            await tick(pilot)
            assert bells(pilot) == 0
            clock.on(minutes=7)
            await tick(pilot)
            assert bells(pilot) == 1
            assert "! Cooling down before measuring is due" in top_line(pilot)
        # due while the app was closed: it rings when it is opened again, once
        async with opened(maker, clock, first="build") as pilot:
            await tick(pilot)
            await tick(pilot)
            assert bells(pilot) == 1
            await press(pilot, "k", "s")
        async with opened(maker, clock) as pilot:
            await tick(pilot)
            assert bells(pilot) == 0

    async def test_two_due_at_once_ring_one_bell(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:00"))
        with maker.session() as session:
            session.keep_timers(
                [Timer(name=f"own {i}", label=f"T{i}", due_at=clock.now) for i in range(2)]
            )
        async with opened(maker, clock) as pilot:
            await tick(pilot)
            assert bells(pilot) == 1

    async def test_a_heats_end_starts_the_cooling(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "9:00"))
        async with opened(maker, clock) as pilot:
            session = pilot.app.session  # type: ignore[attr-defined]
            await press(pilot, "k", "c", "k")
            # a clutch that is run again does not cool down any longer
            await press(pilot, "h")
            assert session.weekend.open.heat is not None
            assert session.weekend.open.timers == []
            clock.on(minutes=8)
            await press(pilot, "h")
            (timer,) = session.weekend.open.timers
            assert (timer.name, timer.due_at) == (COOLING, local(0, "9:20"))
            await press(pilot, "escape", "g")
            assert session.weekend.open.timers == []

    async def test_a_second_instance_sees_them_and_loses_none(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:00"))
        with maker.session() as writer:
            async with opened(maker, clock) as pilot:
                reader = pilot.app.session  # type: ignore[attr-defined]
                assert not reader.writable
                writer.keep_timers(
                    [Timer(name="own 1", label="Tyres", due_at=clock.now + timedelta(minutes=5))]
                )
                pilot.app.outside.look()  # type: ignore[attr-defined]
                await press(pilot, "k")
                assert timers_of(pilot) == ["  Tyres: 5 min left, until 08:05"]
                await press(pilot, "x")
                assert timers_of(pilot) == ["  Tyres: 5 min left, until 08:05"]
                await press(pilot, "t")
                assert isinstance(pilot.app.screen, PitClockScreen)
        with maker.session() as session:
            assert [t.label for t in session.weekend.open.timers] == ["Tyres"]

    async def test_a_form_left_half_way_is_kept(self, maker: WeekendMaker) -> None:
        clock = Clock(local(0, "8:00"))
        async with opened(maker, clock) as pilot:
            await press(pilot, "k", "t", "1", "5", "escape", "t")
            assert pilot.app.screen.query_one("#field-minutes", Input).value == "15"


@pytest.mark.parametrize(
    ("minutes", "face"),
    [
        (None, "--:--"),
        (40.2, "40:12"),
        (62.05, "1:02:03"),
        (0.999, "00:59"),
        (0.0, "00:00"),
        (-0.005, "00:00"),
        (-3.2, "-03:12"),
        (60.0, "1:00:00"),
    ],
)
def test_the_clocks_face(minutes: float | None, face: str) -> None:
    assert countdown(minutes) == face
