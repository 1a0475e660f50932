"""The app over a folder that fails, is shared, is changed from outside, and over its own faults."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import pty
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from factory import WeekendMaker
from textual.pilot import Pilot
from textual.widgets import Input

from pitwright.app.app import PitwrightApp
from pitwright.app.widgets.dialogs import AskLine, Confirm
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.app.widgets.status_bar import StatusBar
from pitwright.desk.heats.heats import start_heat
from pitwright.store import log_writer
from pitwright.store import session as store_session
from pitwright.store.files import StoreError
from pitwright.store.merge import merge
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.records import Check, Correction, NoteRecord, Setting
from pitwright.weekend.weekend import Weekend


@pytest.fixture
def maker(tmp_path: Path) -> WeekendMaker:
    made = WeekendMaker(tmp_path / "w")
    made.fit("spring", "S1")
    made.fit("shoes", "H1")
    made.check(free_length=10.18, recess=1.30)
    made.later(30)
    return made


@asynccontextmanager
async def running(
    maker: WeekendMaker, first: str = "timeline", **more: Any
) -> AsyncIterator[tuple[PitwrightApp, Pilot[None]]]:
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at, **more) as session:
        app = PitwrightApp(session, first=first, clock=lambda: maker.at)
        async with app.run_test(size=(80, 24), notifications=True) as pilot:
            await pilot.pause()
            yield app, pilot


def said(app: PitwrightApp) -> str:
    return " | ".join(f"{n.title}: {n.message}" for n in app._notifications)


async def press(pilot: Pilot[None], *keys: str) -> None:
    for key in keys:
        await pilot.press(key)
    await pilot.pause()


def no_space(*_args: object, **_more: object) -> None:
    error = StoreError(errno.ENOSPC, "the record could not be written: No space left on device")
    raise error


async def test_what_was_typed_stays_and_can_be_saved_elsewhere(
    maker: WeekendMaker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spare = tmp_path / "stick 2"
    spare.mkdir()
    async with running(maker, "measure") as (app, pilot):
        await press(pilot, *"10.15")
        with monkeypatch.context() as patch:
            patch.setattr(log_writer, "create_file", no_space)
            await press(pilot, "ctrl+s")
            await asyncio.sleep(0.1)
            await pilot.pause()
            assert isinstance(app.screen, AskLine)
            assert "No space left on device. What you typed is still here" in said(app)
            entry = app.screen.query_one(Input)
            entry.value = str(maker.folder / "log")
            await press(pilot, "enter")
            assert isinstance(app.screen, AskLine), "not into the weekend itself"
            entry.value = str(tmp_path / "nowhere")
            await press(pilot, "enter")
            assert isinstance(app.screen, AskLine)
            entry.value = str(spare)
            await press(pilot, "enter")
            assert not isinstance(app.screen, AskLine)
        form = next(e for e in app.screen.query(ReadingEntry) if e.quantity == "free_length")
        assert form.query_one(Input).value == "10.15"
        (place,) = spare.iterdir()
        assert str(place) in said(app)
        assert app.rescue.unsaved == {}
    assert not any(p.name.startswith("2026") and "10.15" in p.read_text()
                   for p in (maker.folder / "log").iterdir())  # fmt: skip
    done = merge(maker.folder, place)
    assert len(done.copied) == 1
    opened = read_folder(maker.folder, "tent1")
    assert any(isinstance(r, Check) and r.readings[0].typed == "10.15" for r in opened.records)


async def test_a_second_try_that_goes_well_leaves_nothing_to_save(
    maker: WeekendMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(maker) as (app, pilot):
        note = NoteRecord(happened_at=maker.at, text="typed")
        with monkeypatch.context() as patch:
            patch.setattr(log_writer, "create_file", no_space)
            for _ in range(3):
                maker.later(1)
                assert app.keep(note.model_copy(update={"happened_at": maker.at})) is None
            assert len(app.rescue.unsaved) == 1
            await asyncio.sleep(0.1)
            await press(pilot, "escape")
        assert app.keep(note) is not None
        assert app.rescue.unsaved == {}


async def test_a_pulled_stick_is_said_once_and_survived(maker: WeekendMaker) -> None:
    away = maker.folder.with_name("away")
    async with running(maker, "measure") as (app, pilot):
        await press(pilot, *"10.1")
        maker.folder.rename(away)
        for _ in range(3):
            app.outside.look()
            await pilot.pause()
        assert said(app).count("The folder is gone") == 1
        await press(pilot, "5")
        await asyncio.sleep(0.7)  # the draft is written half a second after the last key
        await pilot.pause()
        assert not maker.folder.exists(), "must not come to life again on the disk below"
        form = next(e for e in app.screen.query(ReadingEntry) if e.quantity == "free_length")
        assert form.query_one(Input).value == "10.15"
        away.rename(maker.folder)
        app.outside.look()
        await press(pilot, "ctrl+s")
    records = read_folder(maker.folder, "tent1").records
    assert any(isinstance(r, Check) and r.readings[0].typed == "10.15" for r in records)


def taps(weekend: Weekend | None) -> int:
    assert weekend is not None
    assert weekend.open.heat is not None
    return len(weekend.open.heat.taps)


async def test_laps_tapped_while_the_folder_is_away_are_kept_once_it_is_back(
    maker: WeekendMaker,
) -> None:
    away = maker.folder.with_name("away")
    async with running(maker) as (app, pilot):
        started = start_heat(app.weekend, maker.at, name="Z9")
        assert app.guard(lambda: app.session.keep_heat(started))
        app.announce()
        await pilot.pause()
        maker.folder.rename(away)
        for _ in range(3):
            maker.later(1 / 3)
            await press(pilot, "space")
        assert taps(app.weekend) == 3
        assert "is gone" in said(app)
        app.outside.look()
        await asyncio.sleep(1.1)  # the top line is written each second
        assert "! laps not on" in str(app.screen.query_one(StatusBar).render())
        away.rename(maker.folder)
        app.outside.look()
        await pilot.pause()
        assert "The disk takes it again" in said(app)
        assert taps(app.weekend) == 3
    assert taps(read_folder(maker.folder, "tent1").weekend) == 3


async def test_a_clock_set_back_while_the_app_is_open_is_said(maker: WeekendMaker) -> None:
    async with running(maker) as (app, pilot):
        app.outside.look()
        maker.later(-0.5)
        app.outside.look()
        await pilot.pause()
        assert "The clock went back" not in said(app)
        maker.later(-90)
        app.outside.look()
        app.outside.look()
        await pilot.pause()
        assert said(app).count("was just set back by 1 h 30 min") == 1


async def test_changes_from_outside_are_shown_and_a_half_typed_number_stays(
    maker: WeekendMaker,
) -> None:
    async with running(maker, "measure") as (app, pilot):
        await press(pilot, *"10.1")
        stock = maker.folder / "stock.toml"
        stock.write_text(stock.read_text().replace('"Spring 1"', '"The old spring"'))
        maker.check(free_length=10.02)
        app.outside.look()
        await pilot.pause()
        assert "changed from outside" in said(app)
        assert app.weekend.stock.spring[0].label == "The old spring"
        assert len([r for r in app.weekend.log.records if isinstance(r, Check)]) == 2
        form = next(e for e in app.screen.query(ReadingEntry) if e.quantity == "free_length")
        assert form.query_one(Input).value == "10.1"
        assert form.query_one(Input).has_focus
        await press(pilot, "5")
        assert form.query_one(Input).value == "10.15"
        assert "10.02" in " ".join(str(w.render()) for w in form.query(".last"))


async def test_a_card_broken_from_outside_is_said_once_and_mended(maker: WeekendMaker) -> None:
    async with running(maker) as (app, pilot):
        stock = maker.folder / "stock.toml"
        good = stock.read_bytes()
        stock.write_text("format = ")
        for _ in range(2):
            app.outside.look()
            await pilot.pause()
        assert said(app).count("A card cannot be read") == 1
        stock.write_bytes(good)
        app.outside.look()
        assert app.session.problems == ()


async def test_the_second_picks_up_writing_once_the_first_has_left(maker: WeekendMaker) -> None:
    first = Session(maker.folder, laptop="tent1", clock=lambda: maker.at)
    async with running(maker) as (app, pilot):
        assert f"process {os.getpid()}" in said(app)
        await press(pilot, "f6")
        assert "Still for reading only" in said(app)
        app.outside.look()
        await pilot.pause()
        assert "F6 picks up" not in said(app)
        first.append(NoteRecord(happened_at=maker.at, text="theirs"))
        first.close()
        app.outside.look()
        app.outside.look()
        await pilot.pause()
        assert said(app).count("F6 picks up writing") == 1
        await press(pilot, "f6")
        assert app.session.writable
        assert any(getattr(r, "text", "") == "theirs" for r in app.weekend.log.records)
        assert app.keep(NoteRecord(happened_at=maker.at, text="mine")) is not None


async def test_two_corrections_of_one_record_are_shown(maker: WeekendMaker) -> None:
    wrong = maker.set_recess(1.5)
    maker.correct(wrong, "misread", recess_mm=1.4)
    async with running(maker) as (app, pilot):
        assert "corrected twice" not in said(app)
        other = Setting(happened_at=maker.at, recess_mm=1.3)
        text = log_writer.append_record(
            maker.folder,
            Correction(happened_at=maker.at, replaces=wrong.id, reason="r", replacement=other),
            laptop="van2",
            sequence=1,
            now=maker.at,
        )
        app.outside.look()
        await pilot.pause()
        assert "Two corrections of one record" in said(app)
        assert said(app).count("corrected twice") == 1
        taken = Correction(happened_at=maker.at, replaces=text.id, reason="no")
        assert app.keep(taken) is not None
        assert app.session.problems == ()


async def test_a_clock_that_went_back_is_said_at_the_start_and_at_the_record(
    maker: WeekendMaker,
) -> None:
    maker.later(300)
    maker.note("late")
    maker.later(-280)
    async with running(maker) as (app, pilot):
        assert "The clock went back" in said(app)
        assert "4 h 40 min" in said(app)
        assert app.keep(NoteRecord(happened_at=maker.at, text="x")) is not None
        await pilot.pause()
        assert "Worth a look" in said(app)
        app.outside.shift_clock()
        await pilot.pause()
        for field, value in (("first", "4"), ("last", "4"), ("minutes", "-280")):
            app.screen.query_one(f"#field-{field}", Input).value = value
        await press(pilot, "f2")
        assert app.session.problems == ()
        assert "shifted by -280 min" in said(app)


async def test_a_mistake_of_ours_ends_in_a_report_not_in_a_trace(maker: WeekendMaker) -> None:
    with contextlib.suppress(ZeroDivisionError):
        async with running(maker) as (app, pilot):
            app.call_later(lambda: 1 / 0)
            await pilot.pause()
    (report,) = (maker.folder / "crash-reports").iterdir()
    text = report.read_text()
    assert "ZeroDivisionError" in text
    assert "TimelineScreen" in text
    assert app.return_code == 3
    assert read_folder(maker.folder, "tent1").problems == ()


async def test_where_the_weekend_is_gone_the_report_goes_home(
    maker: WeekendMaker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    with contextlib.suppress(ZeroDivisionError):
        async with running(maker) as (app, pilot):
            shutil.rmtree(maker.folder)
            app.call_later(lambda: 1 / 0)
            await pilot.pause()
    assert not maker.folder.exists()
    assert len(list((tmp_path / "state" / "pitwright" / "crash-reports").iterdir())) == 1


CRASHING = """
import sys
from pitwright.app.screens.timeline import TimelineScreen
def broken(self):
    raise RuntimeError("a mistake of ours")
TimelineScreen.show_weekend = broken
from pitwright.cli import main
sys.exit(main(["open", sys.argv[1]]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals on Windows")
def test_the_terminal_shows_where_the_report_is_and_no_trace(maker: WeekendMaker) -> None:
    master, slave = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", CRASHING, str(maker.folder)],
        stdin=slave, stdout=slave, stderr=slave, env={**os.environ, "TERM": "xterm-256color"},
    ) as process:  # fmt: skip
        os.close(slave)
        shown = b""
        end = time.monotonic() + 60
        with contextlib.suppress(OSError):
            while time.monotonic() < end:
                piece = os.read(master, 65536)
                if not piece:
                    break
                shown += piece
        assert process.wait(30) == 3
    os.close(master)
    text = shown.decode(errors="replace").replace("\r\n", "").replace("\n", "")
    (report,) = (maker.folder / "crash-reports").iterdir()
    assert report.name in text
    assert "What was kept before is safe" in text
    assert "Traceback" not in text
    assert "a mistake of ours" not in text
    assert "a mistake of ours" in report.read_text()


def test_a_mistake_of_ours_in_a_command_is_reported_too(
    maker: WeekendMaker, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from pitwright.cli import main
    from pitwright.desk.heats import timeline

    def broken(*_args: object, **_more: object) -> None:
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(timeline, "timeline", broken)
    assert main(["timeline", str(maker.folder)]) == 3
    err = capsys.readouterr().err
    assert "Traceback" not in err
    assert str(maker.folder / "crash-reports") in err


async def begin_heat(app: PitwrightApp, pilot: Pilot[None], at: Any) -> None:
    assert app.guard(lambda: app.session.keep_heat(start_heat(app.weekend, at, name="Z9")))
    app.announce()
    await pilot.pause()


async def lap(maker: WeekendMaker, pilot: Pilot[None], times: int = 1) -> None:
    for _ in range(times):
        maker.later(1 / 3)
        await press(pilot, "space")


async def test_laps_held_stay_while_another_has_the_folder(maker: WeekendMaker) -> None:
    away = maker.folder.with_name("away")
    async with running(maker) as (app, pilot):
        await begin_heat(app, pilot, maker.at)
        maker.folder.rename(away)
        await lap(maker, pilot, 2)
        shutil.copytree(away, maker.folder)  # a stick that comes back has a lock file of its own
        with Session(maker.folder, laptop="van2"):
            await lap(maker, pilot, 2)
            assert not app.session.writable
            assert taps(app.weekend) == 4
            app.outside.look()
            await pilot.pause()
            assert app.session.heat_waits
            assert taps(app.weekend) == 4
        await press(pilot, "f6")
        app.outside.look()
        assert not app.session.heat_waits
    assert taps(read_folder(maker.folder, "tent1").weekend) == 4


async def test_a_lap_that_is_not_held_is_not_counted(maker: WeekendMaker) -> None:
    with Session(maker.folder, laptop="tent1", clock=lambda: maker.at) as session:
        session.keep_heat(start_heat(session.weekend, maker.at, name="Z9"))
    async with running(maker, write=False) as (app, pilot):
        await lap(maker, pilot, 2)
        assert taps(app.weekend) == 0
        assert not app.session.heat_waits


@pytest.mark.parametrize("end", ["q", "told", "closed"])
async def test_laps_held_are_on_the_disk_after_any_end(maker: WeekendMaker, end: str) -> None:
    away = maker.folder.with_name("away")
    async with running(maker) as (app, pilot):
        await begin_heat(app, pilot, maker.at)
        maker.folder.rename(away)
        await lap(maker, pilot, 3)
        away.rename(maker.folder)
        if end == "q":
            await press(pilot, "q")
            assert not app.is_running
        elif end == "told":
            assert app._told_to_end is not None
            app._told_to_end._end(signal.SIGTERM)
        else:
            app.close_weekend()
        assert taps(read_folder(maker.folder, "tent1").weekend) == 3


async def test_leaving_asks_first_when_the_disk_will_not_have_the_laps(
    maker: WeekendMaker,
) -> None:
    away = maker.folder.with_name("away")
    async with running(maker) as (app, pilot):
        await begin_heat(app, pilot, maker.at)
        maker.folder.rename(away)
        await lap(maker, pilot, 2)
        await press(pilot, "q")
        assert isinstance(app.screen, Confirm)
        await press(pilot, "enter")
        assert not isinstance(app.screen, Confirm), "a careless enter stays"
        assert taps(app.weekend) == 2
        await press(pilot, "ctrl+q")
        assert isinstance(app.screen, Confirm)
        await press(pilot, "ctrl+q")
        assert not app.is_running, "asked once, it can always be left"
    app.close_weekend()
    assert app.return_code == 0


async def test_a_small_write_does_not_make_the_laps_kept(
    maker: WeekendMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(maker) as (app, pilot):
        await begin_heat(app, pilot, maker.at)
        real = store_session.replace_file

        def full_for_heats(path: Path, data: bytes, **more: Any) -> None:
            if path.name == "heat.toml":
                no_space()
            real(path, data, **more)

        with monkeypatch.context() as patch:
            patch.setattr(store_session, "replace_file", full_for_heats)
            await lap(maker, pilot, 2)
            app.drafts.typed("note", {"text": "typed"})
            assert app.drafts.flush()
            assert app.guard(lambda: app.session.keep_timers([]))
            assert app.keep(NoteRecord(happened_at=maker.at, text="x")) is not None
            await pilot.pause()
            assert [path.name for path in app.rescue.unsaved] == ["heat.toml"]
            assert "takes it again" not in said(app)
            app.rescue.unsaved.clear()  # as once it has been saved elsewhere
            await press(pilot, "f9")
            assert "nothing to save" not in said(app)
            assert isinstance(app.screen, AskLine)
            await press(pilot, "escape")
        app.outside.look()
        await pilot.pause()
        assert "takes it again" in said(app)
        assert app.rescue.unsaved == {}


@pytest.mark.parametrize("laps", [0, 3])
async def test_what_is_in_progress_is_saved_as_what_can_be_brought_in(
    maker: WeekendMaker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, laps: int
) -> None:
    spare = tmp_path / "stick 2"
    spare.mkdir()
    async with running(maker) as (app, pilot):
        await begin_heat(app, pilot, maker.at)
        monkeypatch.setattr(store_session, "replace_file", no_space)
        if laps:
            await lap(maker, pilot, laps)
        else:
            app.drafts.typed("note", {"text": "typed"})
            assert not app.drafts.flush()
        await press(pilot, "f9")
        app.screen.query_one(Input).value = str(spare)
        await press(pilot, "enter")
        (place,) = spare.iterdir()
        assert ("pitwright merge" in said(app)) == bool(laps)
        assert f"Saved in {place}" in said(app)
    if laps:
        assert merge(maker.folder, place).copied == ("laps/Z9.csv",)
        weekend = read_folder(maker.folder, "tent1").weekend
        assert weekend is not None
        assert weekend.laps["Z9"] == (20.0, 20.0)
    else:
        assert "typed" in next(place.rglob("note.toml")).read_text()


async def test_a_draft_that_is_written_leaves_the_laps_said_to_wait(
    maker: WeekendMaker, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with running(maker) as (app, pilot):
        await begin_heat(app, pilot, maker.at)
        bar = app.screen.query_one(StatusBar)
        with monkeypatch.context() as patch:
            patch.setattr(store_session, "replace_file", no_space)
            await lap(maker, pilot, 2)
            app.drafts.typed("note", {"text": "typed"})
            assert not app.drafts.flush()
            assert "! typed text not on" in str(bar.render())
        assert app.drafts.flush()
        assert "! laps not on" in str(bar.render())
