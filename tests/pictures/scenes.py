"""The screens of pitwright as a mechanic meets them, each at a moment that never moves.

A *scene* is a way to a screen: where to start and which keys to press. A *weekend* is what it
looks at: the demo on Sunday before the last main, a new and empty one, or one of sixty heats.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from unittest.mock import patch

from factory import LAPTOP, race_weekend
from textual.app import App
from textual.pilot import Pilot
from textual.widgets import Input

from pitwright.app.app import PitwrightApp
from pitwright.app.home import HomeApp
from pitwright.app.screens.base import OverScreen
from pitwright.store.create import new_weekend
from pitwright.store.session import Session
from pitwright.store.user import UserFiles

__all__ = [
    "SCENES",
    "SIZES",
    "WEEKENDS",
    "Place",
    "Scene",
    "make_weekend",
    "opened",
    "play",
    "shown",
    "text_of",
]

DEMO = Path(__file__).resolve().parents[2] / "demo_weekend"
SIZES = ((80, 24), (100, 30), (140, 40), (200, 60))
WEEKENDS = ("demo", "empty", "full")
BEFORE_LAST_MAIN = datetime(2026, 5, 17, 12, 20, tzinfo=UTC)
FIRST_MORNING = datetime(2026, 5, 15, 7, 30, tzinfo=UTC)
LAPS = "lap;time\n1;22,86\n2;21,41\n3;21,36\n4;21,52\n5;oops\n6;21,29\n7;43,10\n8;21,33\n"


@dataclass(frozen=True)
class Place:
    """A weekend's folder and the moment it is looked at."""

    folder: Path
    now: datetime


@dataclass(frozen=True)
class Scene:
    """A way to a screen: where to start, and the keys that lead on (``=text`` types a text)."""

    name: str
    first: str = "timeline"
    keys: tuple[str, ...] = ()


SCENES = (
    Scene("home", first="home"),
    Scene("home-new", first="home", keys=("n",)),
    Scene("timeline"),
    Scene("timeline-find", keys=("slash",)),
    Scene("heat-detail", keys=(*("up",) * 6, "enter")),
    Scene("heat-form", keys=("h", "h")),
    Scene("return", keys=("r",)),
    Scene("lap-import", keys=("l", "enter", "=main-1.csv", "enter")),
    Scene("build", first="build"),
    Scene("build-step", first="build", keys=("enter", "enter")),
    Scene("build-on", first="build", keys=("enter", "enter", "down", "down", "down", "down")),
    Scene("build-big", first="build", keys=("enter", "enter", "b")),
    Scene("measure", first="measure"),
    Scene("measure-typed", first="measure", keys=("=10.15 10.18 10.16",)),
    Scene("bite", first="bite"),
    Scene("bite-seen", first="bite", keys=("o",)),
    Scene("bite-hold", first="bite", keys=("h",)),
    Scene("bite-launch", first="bite", keys=("l",)),
    Scene("ear", first="ear"),
    Scene("ear-read", first="ear", keys=("enter", "up", "enter")),
    Scene("shims", first="shims"),
    Scene("pace", first="pace"),
    Scene("pace-2", first="pace", keys=("v",)),
    Scene("pace-3", first="pace", keys=("v", "v")),
    Scene("pace-4", first="pace", keys=("v", "v", "v")),
    Scene("daysheet", first="daysheet"),
    Scene("clock", keys=("k",)),
    Scene("clock-list", keys=("k", "p")),
    Scene("wear", keys=("w",)),
    Scene("race", keys=("w", "r")),
    Scene("help", keys=("question_mark",)),
    Scene("palette", keys=("colon",)),
)


def make_weekend(kind: str, folder: Path) -> Place:
    """Make one of the weekends in ``folder`` and say when it is looked at."""
    if kind == "empty":
        new_weekend(
            folder, name="Pine Valley Open", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15)
        )
        return Place(folder, FIRST_MORNING)
    if kind == "full":
        return Place(folder, race_weekend(folder).at)
    shutil.copytree(DEMO, folder)
    for path in (folder / "log").glob("*.toml"):
        if path.name[:16] > f"{BEFORE_LAST_MAIN:%Y%m%dT%H%M%SZ}":
            path.unlink()
    (folder / "laps" / "M2.csv").unlink()
    return Place(folder, BEFORE_LAST_MAIN)


@contextmanager
def opened(scene: Scene, place: Place, theme: str = "night") -> Iterator[App[Any]]:
    """Give the app a scene begins in, over the folder as it stands, for a user of its own."""
    with _someone(place) as user:
        if scene.first == "home":
            yield HomeApp(user=user, theme=theme, ascii_only=False, clock=lambda: place.now)
            return
        with Session(place.folder, laptop=LAPTOP, clock=lambda: place.now) as session:
            yield PitwrightApp(
                session, first=scene.first, clock=lambda: place.now, theme=theme, ascii_only=False
            )


async def play(scene: Scene, pilot: Pilot[Any]) -> None:
    """Press a scene's keys and wait until the screen is as quiet as a picture."""
    for key in scene.keys:
        await _settled(pilot, least_s=0.05)
        for each in _typed(key[1:]) if key.startswith("=") else [key]:
            await pilot.press(each)
    await _settled(pilot, least_s=0.6)
    for line in pilot.app.screen.query(Input):
        line.cursor_blink = False
    await pilot.pause()


@asynccontextmanager
async def shown(
    scene: Scene, place: Place, size: tuple[int, int], theme: str = "night"
) -> AsyncIterator[Pilot[Any]]:
    """Play the way to a scene's screen and hold it there.

    The folder is played in as it stands; give each scene a copy of its own.
    """
    with opened(scene, place, theme) as app:
        async with app.run_test(size=size, notifications=True) as pilot:
            await play(scene, pilot)
            yield pilot


def text_of(app: App[Any]) -> str:
    """Return what stands on the screen, cell by cell."""
    return "\n".join(s.text.rstrip() for s in app.screen._compositor.render_strips()) + "\n"


def _typed(text: str) -> list[str]:
    return ["space" if sign == " " else sign for sign in text]


async def _settled(pilot: Pilot[Any], *, least_s: float) -> None:
    """Wait until what was started in the background is on the screen.

    ``least_s`` is longer than what waits for the keys to be quiet before it begins.
    """
    await pilot.pause(least_s)
    for _ in range(3):
        # A question's own worker ends with the question, so nothing is waited for behind one.
        screen = pilot.app.screen
        if not screen.is_modal or isinstance(screen, OverScreen):
            await pilot.app.workers.wait_for_complete()
        await pilot.pause()


@contextmanager
def _someone(place: Place) -> Iterator[UserFiles]:
    """Be a user whose home holds two weekends of earlier days, and nothing else."""
    home = place.folder.parent / "home"
    home.mkdir(exist_ok=True)
    user = UserFiles(home / "config", home / "state")
    for name in ("Alder Park Opener", "Reedmere Spring Cup"):
        folder = home / "races" / name.lower().replace(" ", "-")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "weekend.toml").touch()
        user.remember(folder, name, place.now)
    (home / "main-1.csv").write_text(LAPS, encoding="utf-8")
    os.utime(home / "main-1.csv", (place.now.timestamp(), place.now.timestamp()))
    here = Path.cwd()
    with patch.dict(os.environ, {"HOME": str(home), "COLORTERM": "truecolor", "TZ": "UTC"}):
        os.environ.pop("NO_COLOR", None)
        os.chdir(home)
        time.tzset()
        try:
            yield user
        finally:
            os.chdir(here)
            os.environ.pop("TZ")
            time.tzset()
