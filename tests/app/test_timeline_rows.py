"""A long Timeline makes the rows in sight, and knows how high the others are."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from factory import WeekendMaker, local, long_weekend
from textual.worker import Worker
from trust.hard_weekends import EMOJI, LONG, hostile_weekend

from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.later_text import LaterText
from pitwright.app.widgets.row_list import RowList
from pitwright.store.session import Session

SMALL, LARGE = (80, 24), (140, 40)


def rows_of(app: PitwrightApp) -> tuple[RowList, list[LaterText]]:
    found = app.screen.query_one("#rows", RowList)
    return found, [o.prompt for o in found.options if isinstance(o.prompt, LaterText)]


def make(kind: str, folder: Path) -> None:
    if kind == "long":
        long_weekend(folder, 120)
    else:
        hostile_weekend(folder, {"wide": f"{EMOJI} 漢字" * 3, "wordy": LONG}[kind])


@pytest.mark.parametrize(
    ("kind", "size"), [("long", SMALL), ("long", LARGE), ("wide", SMALL), ("wordy", LARGE)]
)
async def test_rows_are_as_high_as_was_told_before_they_were_made(
    tmp_path: Path, kind: str, size: tuple[int, int]
) -> None:
    make(kind, tmp_path / "w")
    with Session(tmp_path / "w", write=False) as session:
        app = PitwrightApp(session, clock=lambda: local(2, "20:00"))
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            listed, rows = rows_of(app)
            width = listed.scrollable_content_region.width
            assert len(rows) > 5
            for row in rows:
                told = row.get_height(listed.styles, width)
                assert told == row.content.get_height(listed.styles, width), str(row)


async def test_only_rows_in_sight_are_made(tmp_path: Path) -> None:
    long_weekend(tmp_path / "w", 400)
    with Session(tmp_path / "w", write=False) as session:
        app = PitwrightApp(session, clock=lambda: local(2, "20:00"))
        async with app.run_test(size=LARGE) as pilot:
            await pilot.pause()
            listed, rows = rows_of(app)
            told = [row for row in rows if row._size]
            made = [row for row in told if "content" in row.__dict__]
            assert len(told) > 0.5 * len(rows) > 75
            assert made
            assert len(made) <= listed.size.height
            await pilot.press("home", "end", "pageup")
            await pilot.pause()
            assert len([row for row in told if "content" in row.__dict__]) <= 4 * listed.size.height


async def test_a_question_about_wear_does_not_put_the_weekend_into_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Textual describes a worker by all that it was given, unless it is told a description."""
    described: list[str] = []
    real = Worker.__init__

    def watched(self: Any, *args: Any, **more: Any) -> None:
        described.append(more.get("description", ""))
        real(self, *args, **more)

    monkeypatch.setattr(Worker, "__init__", watched)
    maker = WeekendMaker(tmp_path / "w")
    maker.fit("spring", "S1")
    with maker.session() as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test(size=LARGE) as pilot:
            await pilot.pause(0.6)
            await app.workers.wait_for_complete()
    assert "wear" in described
    assert max(map(len, described)) < 100
