"""The screens of pitwright as a mechanic meets them, each at a moment that never moves.

A *scene* is a way to a screen: where to start and which keys to press. A *weekend* is what it
looks at: the demo on Sunday before the last main, a new and empty one, or one of sixty heats.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from factory import LAPTOP, race_weekend
from textual.app import App
from textual.pilot import Pilot
from textual.widgets import Input

from pitwright.app.app import PitwrightApp
from pitwright.app.home import HomeApp
from pitwright.store.create import new_weekend
from pitwright.store.session import Session
from pitwright.store.user import UserFiles

__all__ = ["SCENES", "SIZES", "WEEKENDS", "Place", "Scene", "make_weekend", "shown", "text_of"]

DEMO = Path(__file__).resolve().parents[2] / "demo_weekend"
SIZES = ((80, 24), (100, 30), (140, 40), (200, 60))
WEEKENDS = ("demo", "empty", "full")
BEFORE_LAST_MAIN = datetime(2026, 5, 17, 12, 20, tzinfo=UTC)
FIRST_MORNING = datetime(2026, 5, 15, 7, 30, tzinfo=UTC)


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
    Scene("heat-detail", keys=("enter",)),
    Scene("heat-form", keys=("h", "h")),
    Scene("return", keys=("r",)),
    Scene("lap-import", keys=("l",)),
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
    Scene("shims", first="shims"),
    Scene("pace", first="pace"),
    Scene("pace-2", first="pace", keys=("v",)),
    Scene("pace-3", first="pace", keys=("v", "v")),
    Scene("pace-4", first="pace", keys=("v", "v", "v")),
    Scene("daysheet", first="daysheet"),
    Scene("clock", keys=("k",)),
    Scene("clock-list", keys=("k", "p")),
    Scene("wear", keys=("w",)),
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


@asynccontextmanager
async def shown(
    scene: Scene, place: Place, size: tuple[int, int], theme: str = "night"
) -> AsyncIterator[Pilot[object]]:
    """Play the way to a scene's screen and hold it there, as quiet as a picture.

    The folder is played in as it stands; give each scene a copy of its own.
    """
    async with AsyncExitStack() as stack:
        user = stack.enter_context(_someone(place))
        app: App[object]
        if scene.first == "home":
            app = HomeApp(user=user, theme=theme, ascii_only=False, clock=lambda: place.now)
        else:
            session = stack.enter_context(
                Session(place.folder, laptop=LAPTOP, clock=lambda: place.now)
            )
            app = PitwrightApp(
                session, first=scene.first, clock=lambda: place.now, theme=theme, ascii_only=False
            )
        pilot = await stack.enter_async_context(app.run_test(size=size, notifications=True))
        await _settled(pilot)
        for key in scene.keys:
            for each in _typed(key[1:]) if key.startswith("=") else [key]:
                await pilot.press(each)
            await _settled(pilot)
        for line in app.screen.query(Input):
            line.cursor_blink = False
        await _settled(pilot)
        yield pilot


def text_of(app: App[object]) -> str:
    """Return what stands on the screen, cell by cell."""
    return "\n".join(s.text.rstrip() for s in app.screen._compositor.render_strips()) + "\n"


def _typed(text: str) -> list[str]:
    return ["space" if sign == " " else sign for sign in text]


async def _settled(pilot: Pilot[object]) -> None:
    """Wait until what was started in the background is on the screen."""
    for _ in range(2):
        await pilot.pause(0.05)
        waiting = [w for w in pilot.app.workers if not w.is_finished and w.group != "default"]
        if waiting and not pilot.app.screen.is_modal:
            await pilot.app.workers.wait_for_complete(waiting)
    await pilot.pause()


@contextmanager
def _someone(place: Place):
    """Be a user whose home holds two weekends of earlier days, and nothing else."""
    home = place.folder.parent / "home"
    home.mkdir(exist_ok=True)
    user = UserFiles(home / "config", home / "state")
    for name in ("Alder Park Opener", "Reedmere Spring Cup"):
        folder = home / "races" / name.lower().replace(" ", "-")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "weekend.toml").touch()
        user.remember(folder, name, place.now)
    before, here = os.environ.get("HOME"), Path.cwd()
    os.environ["HOME"] = str(home)
    os.chdir(home)
    try:
        yield user
    finally:
        os.chdir(here)
        if before is None:
            del os.environ["HOME"]
        else:
            os.environ["HOME"] = before
