"""The app really dies half-way through a build, and goes on where it was."""

from __future__ import annotations

import select
import signal
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import IO

import pytest
from textual.widgets import Input

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.build import BuildScreen
from pitwright.app.widgets.read_dialog import ReadDialog
from pitwright.desk.build.facts import reading_at, step_in_hand
from pitwright.desk.build.worktime import worked_seconds
from pitwright.store.create import new_weekend
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.records import Check

T0 = datetime(2026, 5, 15, 8, 0, tzinfo=UTC)


def total_seconds(build: OpenBuild, now: datetime) -> float:
    in_hand = step_in_hand(build).id
    others = sum(r.seconds or 0.0 for r in build.results if r.step != in_hand)
    return others + worked_seconds(build, now)


# Works a build by keys on a clock of its own, says where it is, and waits to be killed.
WORKER = """
import asyncio, sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from pitwright.app.app import PitwrightApp
from pitwright.app.screens import build
from pitwright.store.session import Session

build._KEEP_EVERY_SECONDS = 0.1
now = datetime(2026, 5, 15, 8, 0, tzinfo=UTC)
work = sys.argv[2]

async def main():
    global now
    with Session(Path(sys.argv[1]), laptop="tent1", clock=lambda: now) as session:
        app = PitwrightApp(session, first="build", clock=lambda: now)
        async with app.run_test(size=(80, 24)) as pilot:
            async def press(*keys):
                for key in keys:
                    await pilot.press(key)
                    await pilot.pause()
                    await pilot.pause()
            await press("down", "down", "enter")      # recess only
            if work == "race":
                print("begun", flush=True)
                while True:
                    now += timedelta(seconds=20)
                    await pilot.press("down", "up", "p", "p", "down")
            for _ in range(2):
                now += timedelta(minutes=2)
                await press("enter")
            await press("enter", "enter")             # thread-lock applied, ticked
            await press("enter", *"1,40", "enter")    # the recess, measured and ticked
            now += timedelta(minutes=3)
            await press("up", "m", *"1,4")            # back at the recess, half-typed
            await asyncio.sleep(0.8)
            print("half-way", flush=True)
            await asyncio.sleep(600)

asyncio.run(main())
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "w"
    new_weekend(place, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return place


def wait_for(word: str, stream: IO[str], seconds: float) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        ready, _, _ = select.select([stream], [], [], 1.0)
        if ready:
            line = stream.readline()
            if word in line:
                return
            assert line, "the app ended by itself"
    raise AssertionError(f"never said '{word}'")


def work_and_kill(folder: Path, work: str, word: str, *, after: float = 0.0) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", WORKER, str(folder), work],
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        try:
            wait_for(word, process.stdout, 120)
            time.sleep(after)
        finally:
            process.send_signal(signal.SIGKILL)
        assert process.wait(30) == -signal.SIGKILL


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL on Windows")
class TestKilled:
    async def test_goes_on_at_the_same_step_with_the_same_time_and_readings(
        self, folder: Path
    ) -> None:
        work_and_kill(folder, "walk", "half-way")
        now = T0 + timedelta(hours=5)
        with Session(folder, laptop="tent1", clock=lambda: now) as session:
            assert session.writable, "the dead app's lock must not hold"
            assert session.problems == ()
            app = PitwrightApp(session, first="build", clock=lambda: now)
            async with app.run_test(size=(80, 24), notifications=True) as pilot:
                await pilot.pause()
                screen = app.screen
                assert isinstance(screen, BuildScreen)
                build = screen.build
                assert build is not None
                assert step_in_hand(build).id == "recess"
                done = [r.step for r in build.results if r.done_at is not None]
                assert done == ["make-safe", "strip", "thread-lock", "recess"]
                assert [r.seconds for r in build.results][:2] == [120, 120]
                # three minutes on the bearings, kept when they were left; five hours dead: none
                assert build.result("bearings").seconds == 180  # type: ignore[union-attr]
                assert total_seconds(build, now) == 420
                assert worked_seconds(build, now) == 0
                taken = reading_at(build, session.weekend, "recess", "recess")
                assert taken is not None
                assert taken.reading.values_mm == [1.40]
                assert [t.due_at for t in session.weekend.open.timers] == [
                    T0 + timedelta(minutes=24)
                ]
                await pilot.press("m")
                await pilot.pause()
                await pilot.pause()
                assert isinstance(app.screen, ReadDialog)
                assert app.screen.query_one(Input).value == "1,4"

    async def test_time_on_the_step_in_hand_outlives_it(self, folder: Path) -> None:
        work_and_kill(folder, "race", "begun", after=1.0)
        later = T0 + timedelta(days=1)
        opened = read_folder(folder, "tent1")
        assert opened.problems == ()
        assert opened.weekend is not None
        before = opened.weekend.open.build
        assert before is not None
        kept = total_seconds(before, before.worked_since or later)
        with Session(folder, laptop="tent1", clock=lambda: later) as session:
            app = PitwrightApp(session, first="build", clock=lambda: later)
            async with app.run_test(size=(80, 24)) as pilot:
                await pilot.pause()
                after = session.weekend.open.build
                assert after is not None
                assert (after.at, after.results) == (before.at, before.results)
                assert total_seconds(after, later) == pytest.approx(kept)

    @pytest.mark.parametrize("after", [0.05, 0.35, 0.7])
    def test_killed_at_any_moment_leaves_a_folder_that_reads(
        self, folder: Path, after: float
    ) -> None:
        work_and_kill(folder, "race", "begun", after=after)
        opened = read_folder(folder, "tent1")
        assert opened.problems == ()
        assert opened.weekend is not None
        assert opened.weekend.open.build is not None
        assert not any(isinstance(r, Check) for r in opened.records)
