"""A mechanic at the keys: answers whatever the app asks, as a person would.

Run as a program it works a full rebuild and stops half-way, waiting to be killed:

    python mechanic.py FOLDER STEP
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from textual.pilot import Pilot

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.build import BuildScreen
from pitwright.app.widgets.dialogs import AskLine, Confirm, Pick
from pitwright.app.widgets.read_dialog import ReadDialog
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.desk.build.facts import step_in_hand
from pitwright.store.session import Session

LAPTOP = "tent1"
T0 = datetime(2026, 5, 15, 7, 0, tzinfo=UTC)

READINGS: Mapping[str, str] = {
    "shoe_thickness": "5,00 5,00",
    "free_length": "10,15 10.16",
    "recess": "1.35 1.35",
    "end_play": "0.25",
    "gear_mesh": "0.09",
}

KEYS = {" ": "space", ".": "full_stop", ",": "comma", "-": "minus", "/": "slash", ":": "colon"}


class Clock:
    """A clock that is set by hand."""

    def __init__(self, now: datetime = T0) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def on(self, minutes: float) -> None:
        self.now += timedelta(minutes=minutes)


class Mechanic:
    """Works the app by keys."""

    def __init__(self, pilot: Pilot[Any], clock: Clock) -> None:
        self.pilot = pilot
        self.clock = clock

    @property
    def app(self) -> PitwrightApp:
        app = self.pilot.app
        assert isinstance(app, PitwrightApp)
        return app

    async def press(self, *keys: str) -> None:
        for key in keys:
            await self.pilot.press(key)
            await self.pilot.pause()

    async def type(self, text: str) -> None:
        await self.press(*(KEYS.get(sign, sign) for sign in text))

    async def settle(self) -> None:
        for _ in range(3):
            await self.pilot.pause()

    async def answer(self, readings: Mapping[str, str]) -> None:
        """Answer the question in front."""
        screen = self.app.screen
        if isinstance(screen, ReadDialog):
            await self.type(readings[screen.query_one(ReadingEntry).quantity])
            await self.press("enter")
        elif isinstance(screen, AskLine):
            await self.type("0.20 0.10")
            await self.press("enter")
        elif isinstance(screen, Pick):
            await self.press("enter")
        elif isinstance(screen, Confirm):
            await self.press("y")
        else:
            await self.press("enter")
        await self.settle()

    async def build_until(self, step: str, readings: Mapping[str, str] = READINGS) -> None:
        """Work the open build up to a step; ``end`` works it through to the sign-off."""
        for _ in range(200):
            screen = self.app.screen
            if isinstance(screen, BuildScreen):
                build = screen.build
                if build is None:
                    assert step == "end"
                    return
                done = [r for r in build.results if r.done_at is not None]
                if step != "end" and step_in_hand(build).id == step:
                    return
                if len(done) == len(build.steps):
                    await self.press("o")
                    await self.settle()
                    continue
                self.clock.on(0.5)
            await self.answer(readings)
        raise AssertionError(f"never came to '{step}'; in front: {self.app.screen}")


async def half_a_build(folder: Path, step: str) -> None:
    clock = Clock()
    with Session(folder, laptop=LAPTOP, clock=clock) as session:
        app = PitwrightApp(session, first="build", clock=clock)
        async with app.run_test(size=(80, 24)) as pilot:
            mechanic = Mechanic(pilot, clock)
            await mechanic.settle()
            await mechanic.press("enter")  # full rebuild
            await mechanic.settle()
            await mechanic.build_until(step)
            print("half-way", flush=True)
            await asyncio.sleep(600)


if __name__ == "__main__":
    asyncio.run(half_a_build(Path(sys.argv[1]), sys.argv[2]))
