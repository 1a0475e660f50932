"""The app opens its weekend once its frame is on the screen; what is pressed meanwhile counts."""

from __future__ import annotations

import os
import pty
import select
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest
from factory import race_weekend

from pitwright.app.app import Opening, PitwrightApp
from pitwright.app.screens.timeline import TimelineScreen
from pitwright.app.widgets.key_line import KeyLine
from pitwright.store.session import CannotOpenError, Session
from pitwright.store.user import UserFiles

NOW = datetime(2026, 5, 17, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return race_weekend(tmp_path_factory.mktemp("opening") / "w", 6).folder


async def test_the_frame_stands_before_anything_is_read(folder: Path) -> None:
    seen: list[str] = []

    def opened() -> Session:
        seen.extend(key.words.strip() for key in app.screen.query_one(KeyLine).keys)
        seen.append(type(app.screen).__name__)
        assert not app.check_action("show", ("build",))
        assert app.crash_folder == folder
        return Session(folder, clock=lambda: NOW)

    app = PitwrightApp(Opening(folder, opened), clock=lambda: NOW)
    async with app.run_test() as pilot:
        await pilot.pause()
        assert seen == ["Quit", "Help", "OpeningScreen"]
        assert isinstance(app.screen, TimelineScreen)
        assert app.check_action("show", ("build",))
        assert app.screen.query_one("#rows").has_focus
        await pilot.press("2")
        assert app.screen.TITLE == "Build"
    app.close_weekend()


async def test_a_key_pressed_while_it_is_read_is_for_the_timeline(folder: Path) -> None:
    def opened() -> Session:
        app.simulate_key("2")
        return Session(folder, clock=lambda: NOW)

    app = PitwrightApp(Opening(folder, opened), clock=lambda: NOW)
    async with app.run_test() as pilot:
        await pilot.pause()
        await pilot.pause()
        assert app.screen.TITLE == "Build"
    app.close_weekend()


@pytest.mark.parametrize("error", [CannotOpenError(()), OSError(5, "Input/output error")])
async def test_what_cannot_be_opened_ends_the_app_and_says_why(
    error: Exception, tmp_path: Path
) -> None:
    def opened() -> Session:
        raise error

    app = PitwrightApp(Opening(tmp_path, opened))
    async with app.run_test() as pilot:
        await pilot.pause()
    assert app.cannot_open is error
    assert app.return_code == 2
    app.close_weekend()


async def test_the_weekend_is_remembered_even_when_left_at_once(
    folder: Path, tmp_path: Path
) -> None:
    user = UserFiles(tmp_path / "config", tmp_path / "state")
    app = PitwrightApp(
        Opening(folder, lambda: Session(folder, clock=lambda: NOW)), clock=lambda: NOW, user=user
    )
    async with app.run_test() as pilot:
        await pilot.pause()
        assert user.recent() == []
        await pilot.press("q")
    app.close_weekend()
    assert [recent.folder for recent in user.recent()] == [folder.resolve()]
    with Session(folder) as again:
        assert again.writable


def test_a_card_that_cannot_be_read_is_told_after_the_app_has_left(
    folder: Path, tmp_path: Path
) -> None:
    broken = tmp_path / "broken"
    broken.mkdir()
    for card in folder.glob("*.toml"):
        (broken / card.name).write_bytes(card.read_bytes())
    (broken / "clutch.toml").write_text("format = 1\nname = 3\n")
    said, status = _in_a_terminal([sys.executable, "-m", "pitwright", "open", str(broken)])
    assert "\x1b[?1049l" in said
    after = said[said.rindex("\x1b[?1049l") :]
    assert "the weekend cannot be opened:" in after
    assert "clutch.toml: name" in after
    assert status == 2


def test_a_folder_that_is_no_weekend_starts_no_app(tmp_path: Path) -> None:
    said, status = _in_a_terminal([sys.executable, "-m", "pitwright", "open", str(tmp_path)])
    assert "weekend.toml" in said
    assert "\x1b[?1049h" not in said
    assert status == 2


def _in_a_terminal(command: list[str]) -> tuple[str, int]:
    """Return what a command writes to a terminal until it ends, and its exit status."""
    pid, handle = pty.fork()
    if pid == 0:
        os.execvpe(command[0], command, {**os.environ, "TERM": "xterm-256color"})
    said = bytearray()
    end = time.monotonic() + 60
    while time.monotonic() < end:
        if select.select([handle], [], [], 1.0)[0]:
            try:
                said += os.read(handle, 65536)
            except OSError:
                break
    _pid, status = os.waitpid(pid, 0)
    os.close(handle)
    return said.decode(errors="replace"), os.waitstatus_to_exitcode(status)
