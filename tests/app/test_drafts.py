"""Drafts: on the disk soon after the key, however long somebody types on, or said not to be."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest
from factory import race_weekend
from textual.pilot import Pilot
from textual.widgets import Input

from pitwright.app import drafts
from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.store import session as store
from pitwright.store.files import StoreError
from pitwright.store.session import Session


def _draft(folder: Path) -> str:
    return "".join(p.read_text() for p in folder.glob("open/*/drafts/*.toml"))


async def test_steady_typing_is_written_while_it_goes_on(tmp_path: Path) -> None:
    maker = race_weekend(tmp_path / "w", 1)
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test() as pilot:
            await pilot.pause()
            text, end = "", time.monotonic() + 4.0
            while time.monotonic() < end:
                text += "x"
                app.drafts.typed("note", {"text": text})
                await asyncio.sleep(0.02)
            # A wait that began anew at each key would have written nothing yet.
            assert "xxx" in _draft(maker.folder)
            assert app.drafts.flush()
            assert f'"{text}"' in _draft(maker.folder)


async def test_steady_typing_is_not_called_late_while_each_key_is_in_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drafts, "_LATE_S", 2.0)
    maker = race_weekend(tmp_path / "w", 1)
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        write = session.write_draft

        def slowly(form: str) -> None:
            time.sleep(0.1)
            write(form)

        monkeypatch.setattr(session, "write_draft", slowly)
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test() as pilot:
            await pilot.pause()
            text, said, end = "", "", time.monotonic() + 4.0
            while time.monotonic() < end:
                text += "x"
                app.drafts.typed("note", {"text": text})
                await asyncio.sleep(0.02)
                said = said or app.drafts.standing
            # There was always something that was not on the disk yet, but none of it for long.
            assert said == ""


async def test_the_top_line_says_what_the_disk_will_not_have_until_it_has_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    maker = race_weekend(tmp_path / "w", 1)
    real = store.replace_file

    def full(path: Path, data: bytes, *, within: Path | None = None) -> None:
        raise StoreError(28, "No space left on device")

    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test() as pilot:
            await pilot.pause()
            monkeypatch.setattr(store, "replace_file", full)
            app.drafts.typed("note", {"text": "half a word"})
            for _ in range(100):
                await pilot.pause(0.05)
                if app.drafts.standing:
                    break
            assert "not on the disk" in str(app.screen.query_one(StatusBar).content)
            # The form has it all the same.
            assert app.drafts.fields("note") == {"text": "half a word"}
            # Nor is it lost when the folder is read again.
            assert session.reload()
            assert app.drafts.fields("note") == {"text": "half a word"}
            monkeypatch.setattr(store, "replace_file", real)
            for _ in range(100):
                await pilot.pause(0.05)
                if not app.drafts.standing:
                    break
            assert "not on the disk" not in str(app.screen.query_one(StatusBar).content)
            assert "half a word" in _draft(maker.folder)


async def test_what_is_typed_last_is_written_when_the_app_is_left(tmp_path: Path) -> None:
    maker = race_weekend(tmp_path / "w", 1)
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test() as pilot:
            await pilot.pause()
            app.drafts.typed("note", {"text": "the last word"})
            app.exit()
        assert "the last word" in _draft(maker.folder)


@pytest.mark.parametrize(
    ("keys", "typed", "draft"),
    [
        ("4 a", "5", "air"),
        ("3 escape t", "35", "warm parts"),
        ("3 escape n", "12", "squeezes"),
        ("6 r", "7", "pace rule"),
        ("1 slash", "mud", "find"),
    ],
)
async def test_what_small_forms_are_given_outlives_the_app(
    tmp_path: Path, keys: str, typed: str, draft: str
) -> None:
    maker = race_weekend(tmp_path / "w", 3)

    async def asked(pilot: Pilot[None]) -> Input:
        await pilot.pause()
        for key in keys.split():
            await pilot.press(key)
            await pilot.pause(0.1)
        assert isinstance(pilot.app.focused, Input), keys
        return pilot.app.focused

    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test() as pilot:
            line = await asked(pilot)
            await pilot.press("end", *typed)
            shown = line.value
            assert typed in shown
            async with asyncio.timeout(20):
                while shown not in _draft(maker.folder):
                    await asyncio.sleep(0.02)
            app.drafts.flush()
            assert app.drafts.fields(draft)
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        app = PitwrightApp(session, clock=lambda: maker.at)
        async with app.run_test() as pilot:
            assert (await asked(pilot)).value == shown
            await pilot.press("enter", "f2")
            await pilot.pause(0.1)
            assert not app.drafts.fields(draft)
            assert not list(maker.folder.glob(f"open/*/drafts/{draft}.toml"))
