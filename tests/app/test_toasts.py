"""What is said in passing covers no entry, and not the dialog that asks where to save."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from factory import WeekendMaker, scheduled
from textual.geometry import Region
from textual.pilot import Pilot
from textual.widget import Widget
from textual.widgets._toast import Toast

from pitwright.app.app import PitwrightApp
from pitwright.app.toasts import ENTRIES
from pitwright.app.widgets.dialogs import AskLine, FormDialog
from pitwright.store.files import StoreError
from pitwright.store.session import Session
from pitwright.weekend.records import NoteRecord

SIZES = ((80, 24), (140, 40))
SHORT = "Kept"
LONG = "The disk is full: nothing of it was written, and what you typed stands where it stood. " * 2


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w", schedule=[scheduled("P1", "practice", 0, "9:00", 8, 1)])
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.set_recess(1.35)
    made.check(free_length=10.15, shoe_thickness=5.0, end_play=0.25)
    made.go(0, "9:00").heat("P1", "practice")
    return made


def toasts_seen(app: Any) -> list[Region]:
    """Return where toasts are seen on the screen in front."""
    return [
        seen
        for widget, (region, clip) in app.screen._compositor.visible_widgets.items()
        if isinstance(widget, Toast) and (seen := region.intersection(clip))
    ]


def parts(app: Any, kinds: str) -> list[Widget]:
    found = app.screen.query(kinds).results(Widget)
    return [
        w
        for w in found
        if w.region and all(n.display for n in w.ancestors_with_self if isinstance(n, Widget))
    ]


async def settled(pilot: Pilot[Any], until: Callable[[], object] = lambda: True) -> None:
    """Let the app do what it has to do, on a busy machine until something is so."""
    for _ in range(4):
        await pilot.pause()
    for _ in range(100):
        if until():
            return
        await pilot.pause(0.05)


async def check_covers_nothing(pilot: Pilot[Any], kinds: str = ", ".join(ENTRIES)) -> None:
    """Say one long thing and three things at once, and look what they cover."""
    app = pilot.app
    for texts in ((LONG,), (SHORT, LONG, LONG)):
        app.clear_notifications()
        await settled(pilot, lambda: not toasts_seen(app))
        for text in texts:
            app.notify(text, title="A title", severity="error", timeout=60)
        await settled(pilot, lambda: toasts_seen(app))
        seen = toasts_seen(app)
        assert seen, f"nothing is seen of {len(texts)} toasts"
        entries = parts(app, kinds)
        assert entries, "no entry here: this proves nothing"
        for region in seen:
            assert app.screen.region.contains_region(region)
            for entry in entries:
                assert not region.overlaps(entry.region), (texts, entry, region)


# Where something is typed, by the keys that lead there.
ENTRY_SCREENS = {
    "note": ("n",),
    "nut": ("c",),
    "heat by hand": ("a",),
    "find": ("slash",),
    "laps from a file": ("l",),
    "laps typed": ("l", "f5"),
    "measure": ("3",),
    "bite": ("4", "enter"),
    "everything": ("colon",),
}


@pytest.mark.parametrize(
    ("where", "size"),
    [(where, SIZES[0]) for where in ENTRY_SCREENS]
    + [(where, SIZES[1]) for where in ("note", "measure", "laps typed")],
)
async def test_no_entry_is_covered(maker: WeekendMaker, where: str, size: tuple[int, int]) -> None:
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=size, notifications=True) as pilot:
            await settled(pilot)
            for key in ENTRY_SCREENS[where]:
                await pilot.press(key)
                await settled(pilot)
            await check_covers_nothing(pilot)


@pytest.mark.parametrize("size", SIZES)
async def test_the_dialog_that_asks_where_to_save_is_not_covered(
    maker: WeekendMaker, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any, **__: Any) -> None:
        error = StoreError(28, "No space left on device")
        error.path, error.data = maker.folder / "log" / "x.toml", b"x"
        raise error

    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=size, notifications=True) as pilot:
            await settled(pilot)
            monkeypatch.setattr(Session, "append", full)
            assert app.keep(NoteRecord(happened_at=maker.at, text="hello")) is None
            await settled(pilot)
            assert isinstance(app.screen, AskLine)
            await check_covers_nothing(pilot, ".dialog")


@pytest.mark.parametrize("size", SIZES)
async def test_a_toast_that_stands_already_gives_way_to_a_form(
    maker: WeekendMaker, size: tuple[int, int]
) -> None:
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=size, notifications=True) as pilot:
            app.notify(LONG, timeout=60)
            await settled(pilot)
            before = toasts_seen(app)
            await pilot.press("n")
            await settled(pilot)
            assert isinstance(app.screen, FormDialog)
            for region in toasts_seen(app):
                assert not region.overlaps(app.screen.query_one(".dialog").region)
            assert before
