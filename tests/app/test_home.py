"""Where to begin: by keys, and through the real entry point in a pseudo-terminal."""

from __future__ import annotations

import asyncio
import fcntl
import os
import pty
import select
import struct
import sys
import termios
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, OptionList

from pitwright.app.home import HomeApp
from pitwright.app.widgets.dialogs import FormDialog
from pitwright.app.widgets.show_text import ShowText
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.store.create import new_weekend
from pitwright.store.user import UserFiles

NOW = datetime(2026, 5, 14, 18, 0, tzinfo=UTC)
KEYS = {" ": "space", "/": "slash", "-": "minus", ".": "full_stop"}


@pytest.fixture
def user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> UserFiles:
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    return UserFiles(tmp_path / "config", tmp_path / "state")


def at_home(user: UserFiles, now: datetime = NOW) -> HomeApp:
    return HomeApp(user=user, clock=lambda: now)


def rows(pilot: Pilot[Any]) -> list[str]:
    found = pilot.app.screen.query_one("#home-list", OptionList)
    return [str(option.prompt) for option in found.options]


async def write(pilot: Pilot[Any], text: str) -> None:
    for sign in text:
        await pilot.press(KEYS.get(sign, sign))


def opened(app: HomeApp) -> Path:
    session = app.return_value
    assert session is not None
    with session:
        return session.folder


async def test_the_demo_is_one_key_away(user: UserFiles) -> None:
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert [row[0] for row in rows(pilot)] == ["d", "n", "o"]
        await pilot.press("d")
        await pilot.pause()
    assert opened(app) == Path.cwd() / "demo-weekend"


async def test_recent_weekends_come_first_and_open_by_their_number(
    user: UserFiles, tmp_path: Path
) -> None:
    for name in ("one", "two"):
        new_weekend(tmp_path / name, name=name, time_zone="UTC", starts_on=date(2026, 5, 15))
        user.remember(tmp_path / name, f"Cup {name}", NOW)
    user.remember(tmp_path / "pulled-stick", "Cup three", NOW)
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert [row[:12].strip() for row in rows(pilot)[:3]] == [
            "1  Cup three",
            "2  Cup two",
            "3  Cup one",
        ]
        assert "not there now" in rows(pilot)[0]
        await pilot.press("9")
        await pilot.press("1")
        await pilot.pause()
        assert isinstance(pilot.app.screen, ShowText)
        await pilot.press("escape")
        await pilot.press("3")
        await pilot.pause()
    assert opened(app) == tmp_path / "one"


async def test_what_cannot_be_opened_says_all_that_is_wrong(
    user: UserFiles, tmp_path: Path
) -> None:
    folder = tmp_path / "bad"
    new_weekend(folder, name="Bad", time_zone="UTC", starts_on=date(2026, 5, 15))
    (folder / "weekend.toml").write_text("time_zone = [", encoding="utf-8")
    (folder / "stock.toml").write_text("[[spring]]\nid = 3\n", encoding="utf-8")
    user.remember(folder, "Bad", NOW)
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("1")
        await pilot.pause()
        shown = "\n".join(s.text for s in pilot.app.screen._compositor.render_strips())
        assert "weekend.toml" in shown
        assert "stock.toml" in shown
        await pilot.press("escape", "q")
    assert app.return_value is None


async def test_a_new_weekend_is_asked_for_and_nothing_typed_is_lost(user: UserFiles) -> None:
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("n")
        await pilot.pause()
        await write(pilot, "Reedmere Cup")
        await pilot.press("escape")
        await pilot.press("n")
        await pilot.pause()
        form = pilot.app.screen
        assert isinstance(form, FormDialog)
        assert form.query_one("#field-name", Input).value == "Reedmere Cup"
        form.query_one("#field-zone", Input).value = "Mars/Olympus"
        await pilot.press("f2")
        await pilot.pause()
        assert pilot.app.screen is form
        assert pilot.app.focused is form.query_one("#field-zone", Input)
        form.query_one("#field-zone", Input).value = "Europe/Lisbon"
        form.query_one("#field-first", Input).value = "15.5.2026"
        await pilot.press("f2")
        await pilot.pause()
        assert pilot.app.focused is form.query_one("#field-first", Input)
        form.query_one("#field-first", Input).value = "2026-05-15"
        await pilot.press("f2")
        await pilot.pause()
    folder = opened(app)
    assert folder.resolve() == Path.cwd() / "reedmere-cup"
    text = (folder / "weekend.toml").read_text(encoding="utf-8")
    assert 'name = "Reedmere Cup"' in text
    assert "Europe/Lisbon" in text


def draft(user: UserFiles, form: str) -> str:
    path = user.drafts / f"{form}.toml"
    return path.read_text(encoding="utf-8") if path.exists() else ""


async def until(pilot: Pilot[Any], reached: Callable[[], bool]) -> None:
    async with asyncio.timeout(20):
        while not reached():
            await pilot.pause(0.02)


async def test_what_was_typed_of_a_new_weekend_is_back_at_the_next_start(user: UserFiles) -> None:
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("n")
        await pilot.pause()
        await write(pilot, "Reedmere Cup")
        # On the disk while the app runs, as a kill would find it.
        await until(pilot, lambda: "Reedmere Cup" in draft(user, "new weekend"))
        await pilot.press("escape", "q")
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("n")
        await pilot.pause()
        form = pilot.app.screen
        assert form.query_one("#field-name", Input).value == "Reedmere Cup"
        assert form.query_one("#field-days", Input).value == "3"
        await pilot.press("f2")
        await pilot.pause()
    assert opened(app).resolve() == Path.cwd() / "reedmere-cup"
    assert draft(user, "new weekend") == ""


async def test_what_was_only_offered_for_a_new_weekend_is_offered_afresh(user: UserFiles) -> None:
    for days, first in ((0, "2026-05-14"), (21, "2026-06-04")):
        app = at_home(user, NOW + timedelta(days=days))
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            await pilot.press("n")
            await pilot.pause()
            form = pilot.app.screen
            assert form.query_one("#field-first", Input).value == first
            if not days:
                await write(pilot, "Cup")
                form.query_one("#field-days", Input).value = "4"
                await pilot.pause()
            assert form.query_one("#field-name", Input).value == "Cup"
            assert form.query_one("#field-days", Input).value == "4"
            await pilot.press("escape", "q")


async def test_the_path_of_another_folder_is_back_until_it_opens(user: UserFiles) -> None:
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("o")
        await pilot.pause()
        await write(pilot, "cup")
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(pilot.app.screen, ShowText)
        await pilot.press("escape", "q")
    assert '"cup"' in draft(user, "other folder")
    new_weekend(Path("cup"), name="Cup", time_zone="UTC", starts_on=date(2026, 5, 15))
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("o")
        await pilot.pause()
        await pilot.press("enter")
        await pilot.pause()
    assert opened(app) == Path("cup")
    assert draft(user, "other folder") == ""


async def test_what_the_users_folder_will_not_have_is_said_on_top(user: UserFiles) -> None:
    user.state.write_text("not a folder", encoding="utf-8")
    app = at_home(user)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        await pilot.press("n")
        await pilot.pause()
        await write(pilot, "Cup")
        top = pilot.app.screen_stack[1].query_one(StatusBar)
        await until(pilot, lambda: "not on the disk" in str(top.content))
        user.state.unlink()
        await until(pilot, lambda: "not on the disk" not in str(top.content))
    assert '"Cup"' in draft(user, "new weekend")


async def test_keys_of_ones_own_hold_here_too_and_bad_ones_wait_for_the_weekend(
    user: UserFiles,
) -> None:
    user.config.mkdir(parents=True)
    user.keys.write_text('[keys]\n"home.demo" = "D"\n"show.build" = "f10"\n"no.such" = "x"\n')
    app = at_home(user)
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        await pilot.pause()
        assert list(app._notifications) == []
        await pilot.press("d")
        await pilot.press("D")
        await pilot.pause()
    assert opened(app) == Path.cwd() / "demo-weekend"


async def test_a_list_of_places_that_is_damaged_is_an_empty_one(user: UserFiles) -> None:
    user.state.mkdir(parents=True)
    for text in ("weekend = 3", "weekend = [1, 2]", "[[weekend]]\nfolder = 3", "no toml ["):
        (user.state / "remembered.toml").write_text(text, encoding="utf-8")
        assert user.recent() == []
        assert user.theme() is None


def test_a_state_folder_that_cannot_be_written_is_no_trouble(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("a file in the way", encoding="utf-8")
    user = UserFiles(tmp_path / "config", tmp_path / "state")
    user.remember(tmp_path, "W", NOW)
    user.keep_theme("night")
    assert user.recent() == []


class Terminal:
    """The real command in a pseudo-terminal."""

    def __init__(self, tmp_path: Path, *arguments: str, **environ: str) -> None:
        self.pid, self._end = pty.fork()
        if self.pid == 0:
            os.chdir(tmp_path)
            os.environ.update(
                TERM="xterm-256color",
                XDG_STATE_HOME=str(tmp_path / "state"),
                XDG_CONFIG_HOME=str(tmp_path / "config"),
                **environ,
            )
            os.execv(sys.executable, [sys.executable, "-m", "pitwright", *arguments])
        fcntl.ioctl(self._end, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.seen = b""

    def until(self, text: str) -> None:
        deadline = time.monotonic() + 60
        while text.encode() not in self.seen:
            assert time.monotonic() < deadline, self.seen[-3000:]
            ready, _, _ = select.select([self._end], [], [], 0.5)
            if ready:
                try:
                    self.seen += os.read(self._end, 65536)
                except OSError:
                    break

    def press(self, keys: str) -> None:
        os.write(self._end, keys.encode())

    def end(self) -> int:
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            done, status = os.waitpid(self.pid, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            ready, _, _ = select.select([self._end], [], [], 0.1)
            if ready:
                try:
                    self.seen += os.read(self._end, 65536)
                except OSError:
                    time.sleep(0.1)
        raise AssertionError("it never ended")


def test_from_nothing_to_an_open_demo_and_back_by_three_keys(tmp_path: Path) -> None:
    first = Terminal(tmp_path)
    first.until("Nothing was opened on this laptop yet")
    first.press("d")
    first.until("Reedmere Spring Cup")
    first.press("q")
    assert first.end() == 0
    again = Terminal(tmp_path)
    again.until("Opened before")
    again.until("Reedmere Spring Cup")
    again.press("q")
    assert again.end() == 0


def test_a_terminal_of_its_own_signs_gets_ascii_alone(tmp_path: Path) -> None:
    poor = Terminal(tmp_path, LANG="C", LC_ALL="C", NO_COLOR="1")
    poor.until("d  The demo")
    poor.press("d")
    poor.until("Reedmere Spring Cup")
    poor.until("Help")
    poor.press("q")
    assert poor.end() == 0
    assert poor.seen.isascii()
    assert b"\x1b[38;" not in poor.seen.split(b"\x1b[?1049h")[-1]


def test_without_a_terminal_it_says_so(tmp_path: Path) -> None:
    import subprocess

    for arguments in ([], ["open", str(tmp_path)]):
        done = subprocess.run(
            [sys.executable, "-m", "pitwright", *arguments],
            capture_output=True,
            text=True,
            timeout=60,
        )
        assert done.returncode == 2
        assert "needs a terminal" in done.stderr
