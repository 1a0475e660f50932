"""The bite by ear, played with a pilot over a copy of the demo."""

from __future__ import annotations

import os
import shutil
import sys
import threading
import wave
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import pytest
from synthesis import add_noise, engine_sound, wav_bytes
from textual.widgets import Footer, Input, OptionList, Static

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.ear import EarScreen
from pitwright.app.widgets.dialogs import AskLine, Confirm, FormDialog, Pick
from pitwright.app.widgets.ear_plot import EarPlot
from pitwright.desk.bite.words import rpm_words
from pitwright.desk.ear.bench import EarBench
from pitwright.desk.ear.by_hand import brought_back, left_by_hand
from pitwright.desk.ear.ear import Take, typed
from pitwright.sound.listen import listen as listen_to
from pitwright.sound.read_audio import open_recording
from pitwright.store.recordings import find_recording, recordings
from pitwright.store.session import Session

DEMO = Path(__file__).parents[2] / "demo_weekend"
NOW = datetime(2026, 5, 17, 15, 0, tzinfo=UTC)
RATE = 22_050
TIMES = [0, 0.8, 0.9, 1.3, 2.3, 2.5, 2.9, 3.3]
SPEEDS = [6_000, 6_000, 18_000, 18_000, 32_000, 32_000, 6_000, 6_000]


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo")
    return tmp_path / "demo"


def put(folder, name, times, speeds):
    """Put a recording in the place of the demo's own."""
    for path in recordings(folder):
        path.unlink()
    sound = add_noise(engine_sound(times, speeds, RATE, seed=2), 15.0, seed=2)
    (folder / "recordings").mkdir(exist_ok=True)
    (folder / "recordings" / name).write_bytes(wav_bytes(sound, RATE))


def several(levels):
    gap = TIMES[-1] + 0.01
    times = [k * gap + t for k in range(len(levels)) for t in TIMES]
    return times, [level if s == 18_000 else s for level in levels for s in SPEEDS]


@pytest.fixture(scope="module")
def demo_speed():
    """What the sound core hears in the demo's recording, in words and with its U."""
    heard = listen_to(open_recording(DEMO / "recordings" / "launch-Q4.wav"), place="abeam")
    speed = heard.launches[0].take_up
    return rpm_words(speed.rpm), rpm_words(speed.rpm, speed.u_rpm)


def plus_minus(row):
    return float(row.split("±")[1].split()[0])


@asynccontextmanager
async def opened(folder, *, first="ear", size=(80, 24)):
    with Session(folder, laptop="tent1", clock=lambda: NOW) as session:
        app = PitwrightApp(session, first=first, clock=lambda: NOW)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            yield app, pilot


async def settle(app, pilot):
    """Wait for the listening and what follows from it."""
    for _ in range(400):
        await pilot.pause(0.02)
        if isinstance(app.screen, EarScreen) and not app.screen.has_class("listening"):
            break
    await pilot.pause()
    await pilot.pause()


async def listen(app, pilot, *, place=("up", "up")):
    """Take the first recording listed; the car passed in front of the phone."""
    assert isinstance(app.screen, Pick)
    await pilot.press("enter")
    await pilot.pause()
    assert isinstance(app.screen, Pick)
    await pilot.press(*place, "enter")
    await pilot.pause()
    await settle(app, pilot)
    assert app.screen.bench is not None


def text(app, name):
    return str(app.screen.query_one(f"#{name}", Static).content)


def rows(app):
    options = app.screen.query_one("#takes", OptionList)
    return [str(options.get_option_at_index(i).prompt) for i in range(options.option_count)]


def kept(app):
    return [
        r
        for r in app.session.weekend.log.records
        if r.kind == "bite observation" and r.source == "recording"
    ]


def noted(app):
    return " ".join(str(n.message) for n in app._notifications)


def lines(app):
    return [strip.text.rstrip() for strip in app.screen._compositor.render_strips()]


async def test_e_on_bite_opens_it_and_escape_goes_back(folder):
    async with opened(folder, first="bite") as (app, pilot):
        await pilot.press("e")
        await pilot.pause()
        assert isinstance(app.screen, Pick), "the weekend's recordings are offered at once"
        await pilot.press("escape", "escape")
        await pilot.pause()
        assert app.screen.TITLE == "Bite"


async def test_the_palette_leads_to_it(folder):
    async with opened(folder, first="timeline") as (app, _pilot):
        commands = {c.title: c for c in app.get_system_commands(app.screen)}
        commands["Bite by ear"].callback()
        await _pilot.pause()
        assert any(isinstance(screen, EarScreen) for screen in app.screen_stack)


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_a_launch_is_heard_shown_and_kept(folder, size, demo_speed):
    async with opened(folder, size=size) as (app, pilot):
        await listen(app, pilot)
        assert text(app, "head") == "launch-Q4.wav  3.8 s  Q4  car passing in front"
        assert text(app, "message") == "Take-up heard in 1 of 1 launch."
        assert rows(app)[0].startswith("Launch 1")
        assert demo_speed[1] in rows(app)[0]
        assert "100 %" in rows(app)[0]
        assert "they agree" in text(app, "told")
        assert "20 to 60 ms" in text(app, "told")
        assert kept(app) == []
        await pilot.press("a")
        await settle(app, pilot)
        (record,) = kept(app)
        assert (record.how, record.heat) == ("plateau", "Q4")
        assert rows(app)[0].endswith("kept")
        await pilot.press("a")
        await settle(app, pilot)
        assert len(kept(app)) == 1
        assert "kept already" in noted(app)


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_the_trace_the_take_up_the_model_and_the_cursor_are_drawn(folder, size, demo_speed):
    async with opened(folder, size=size) as (app, pilot):
        await listen(app, pilot)
        await pilot.pause(0.2)
        plot = app.screen.query_one(EarPlot)
        drawn = [line[plot.region.x : plot.region.right] for line in lines(app)]
        drawn = "\n".join(drawn[plot.region.y : plot.region.bottom])
        cursor = f"{app.screen.cursor_s:.2f} s  {demo_speed[0][:3]}"
        for sign in ("━━━━━", "╌", "│", "take-up", "model", cursor):
            assert sign in drawn
        assert any(0x2800 < ord(c) < 0x2900 for c in drawn), "the trace"
        assert plot.region.height >= 7
        footer = app.screen.query_one(Footer).region
        assert plot.region.bottom <= footer.y


async def test_the_car_anywhere_asks_how_fast_and_place_changes_the_u(folder):
    async with opened(folder) as (app, pilot):
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, AskLine)
        await pilot.press("x", "enter")
        await pilot.pause()
        assert isinstance(app.screen, AskLine), "a speed that is none is refused"
        app.screen.query_one(Input).value = "12"
        await pilot.press("enter")
        await settle(app, pilot)
        assert plus_minus(rows(app)[0]) > 700
        assert "say where it was" in text(app, "told")
        await pilot.press("p")
        await pilot.pause()
        await pilot.press("up", "up", "enter")
        await settle(app, pilot)
        assert plus_minus(rows(app)[0]) < 100
        assert "passing in front" in text(app, "head")


async def test_several_launches_with_median_spread_and_discard(folder):
    put(folder, "Q3.wav", *several((17_800, 18_000, 18_400)))
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        assert [row[:12].strip() for row in rows(app)] == [
            "Launch 1", "Launch 2", "Launch 3", "All together",
        ]  # fmt: skip
        assert app.screen.bench.current.name == "All together"
        assert "Median of 3" in text(app, "told")
        await pilot.press("b")
        await pilot.pause()
        assert app.screen.bench.current.name == "Launch 3"
        await pilot.press("d")
        await pilot.pause()
        assert rows(app)[2].endswith("discarded")
        await pilot.press("n")
        await pilot.pause()
        assert "Median of 2" in text(app, "told")
        await pilot.press("a")
        await settle(app, pilot)
        (record,) = kept(app)
        assert record.heat == "Q3"
        assert record.rpm == pytest.approx(17_900, abs=60)
        assert [row.endswith("kept") for row in rows(app)] == [True, True, False, True]


async def test_the_mark_moves_with_the_cursor(folder):
    put(folder, "Q4.wav", [0, 0.5, 0.6, 3.0], [6_000, 6_000, 14_000, 14_000])
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        assert "Cannot hear a take-up" in text(app, "message")
        before = app.screen.cursor_s
        await pilot.press("right_square_bracket", "right", "left")
        await pilot.pause()
        assert app.screen.cursor_s == pytest.approx(before + 0.3, abs=0.02)
        await pilot.press("m")
        await pilot.pause()
        take = app.screen.bench.current
        assert take.speed.rpm == pytest.approx(14_000, rel=0.005)
        assert take.by_hand.startswith("marked at")
        assert "by hand" in rows(app)[-1]


async def test_a_mark_on_a_climb_is_refused(folder):
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        before = app.screen.bench
        await pilot.press("right_square_bracket", "right_square_bracket")
        await pilot.press("m")
        await pilot.pause()
        assert app.screen.bench == before
        assert "stands still" in noted(app)


async def test_a_speed_is_typed_and_doubled(folder):
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        await pilot.press("t")
        await pilot.pause()
        assert isinstance(app.screen, FormDialog)
        app.screen.query_one("#field-rpm", Input).value = "9400"
        app.screen.query_one("#field-u_rpm", Input).value = "200"
        await pilot.press("f2")
        await settle(app, pilot)
        assert "9 400 ± 200" in rows(app)[0]
        assert "×2" in text(app, "told")
        await pilot.press("x")
        await pilot.pause()
        assert "18 800 ± 400" in rows(app)[0]
        await pilot.press("a")
        await settle(app, pilot)
        (record,) = kept(app)
        assert (record.rpm, record.u_rpm) == (18_800, 200)
        assert "by hand: typed, doubled" in record.note


async def test_a_speed_far_from_the_last_of_its_kind_is_asked_about(folder):
    put(folder, "Q4.wav", *several((18_000,)))
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        for typed, question in (("19000", None), ("9400", "skips firings"), ("1900", "too few")):
            await pilot.press("t")
            await pilot.pause()
            app.screen.query_one("#field-rpm", Input).value = typed
            await pilot.press("f2")
            await settle(app, pilot)
            before = [record.rpm for record in kept(app)]
            await pilot.press("a")
            await settle(app, pilot)
            if question is None:
                assert [record.rpm for record in kept(app)] == [*before, 19_000]
                continue
            assert isinstance(app.screen, Confirm)
            asked = str(app.screen.query_one(".heading", Static).content)
            assert "is far from the last take-up seen, 19 000 rpm" in asked
            assert question in asked
            await pilot.press("enter")
            await settle(app, pilot)
            assert [record.rpm for record in kept(app)] == before, "a careless enter keeps nothing"
        await pilot.press("a")
        await settle(app, pilot)
        await pilot.press("y")
        await settle(app, pilot)
        assert [record.rpm for record in kept(app)] == [19_000, 1_900]


async def test_creep_is_marked_at_the_cursor_and_kept_as_creep(folder):
    put(folder, "Q4.wav", [0, 1, 7, 8], [9e3, 9e3, 15e3, 15e3])
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        await pilot.press("c")
        await pilot.pause()
        take = app.screen.bench.current
        assert take.how == "creep"
        assert abs(take.speed.rpm - 12_000) <= take.speed.expanded_rpm + 100
        assert "sets the bite" in text(app, "told")
        await pilot.press("a")
        await settle(app, pilot)
        (record,) = kept(app)
        assert record.how == "creep"


async def test_what_is_by_hand_and_not_kept_outlives_the_app(folder):
    put(folder, "Q4.wav", [0, 1, 2, 6, 7], [9e3, 9e3, 14e3, 14e3, 15e3])
    async with opened(folder) as (app, pilot):
        await listen(app, pilot, place=("up",))
        await pilot.press("m", "c")
        await pilot.pause()
        shown = rows(app)
        # On the disk by the time it is seen, as a kill would find it.
        (draft,) = folder.glob("open/*/drafts/ear by hand.toml")
        assert all(row.split()[0] in draft.read_text() for row in shown)
        takes = app.screen.bench.takes
    async with opened(folder) as (app, pilot):
        first = app.screen.query_one(OptionList).get_option_at_index(0)
        assert "not kept yet: By hand, Creep" in str(first.prompt)
        await listen(app, pilot, place=("up",))
        assert rows(app) == shown
        assert app.screen.bench.takes == takes
        await pilot.press("a")
        await settle(app, pilot)
        assert len(kept(app)) == 1
        # One is kept, the other still waits.
        assert draft.exists()
        await pilot.press("b", "a")
        await settle(app, pilot)
        assert len(kept(app)) == 2
        assert not draft.exists()


def test_what_is_by_hand_comes_back_to_its_own_recording_only():
    def bench(duration_s, *takes):
        return EarBench("Q4.wav", SimpleNamespace(duration_s=duration_s, launches=()), takes)

    take = typed(Take("By hand", "plateau", None, 1.0, 1.2), 18_000, 200)
    left = left_by_hand(bench(3.0, take), {"other.wav, 1.00 s: By hand": "{}"})
    assert brought_back(bench(3.0), left).takes == (take,)
    assert brought_back(bench(4.0), left).takes == ()
    spoilt = {
        key: text.replace("18000", "NaN").replace("plateau", "x") for key, text in left.items()
    }
    assert brought_back(bench(3.0), spoilt).takes == ()
    assert left_by_hand(bench(3.0, replace(take, kept=True)), left) == {
        "other.wav, 1.00 s: By hand": "{}"
    }


async def test_a_heat_that_was_guessed_is_asked_before_keeping(folder):
    put(folder, "monday.wav", *several((18_000,)))
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        await pilot.press("a")
        await pilot.pause()
        assert isinstance(app.screen, Pick)
        assert kept(app) == []
        await pilot.press("escape")
        await pilot.pause()
        assert kept(app) == []
        await pilot.press("h")
        await pilot.pause()
        await pilot.press("end", "enter")
        await settle(app, pilot)
        assert "the clutch now" in text(app, "head")
        await pilot.press("a")
        await settle(app, pilot)
        (record,) = kept(app)
        assert record.heat is None


async def test_what_cannot_be_heard_is_said(folder):
    for path in recordings(folder):
        path.unlink()
    with wave.open(str(folder / "recordings" / "silent.wav"), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(bytes(2 * RATE))
    async with opened(folder) as (app, pilot):
        await listen(app, pilot)
        assert text(app, "message") == "Cannot hear a take-up: the recording is silent."
        await pilot.press("a")
        await pilot.pause()
        assert kept(app) == []
        assert "nothing to keep" in noted(app).lower()


async def test_a_path_is_typed_and_a_wrong_one_refused(folder, tmp_path):
    shutil.move(folder / "recordings" / "launch-Q4.wav", tmp_path / "away.wav")
    words = tmp_path / "words.wav"
    words.write_text("these are words")
    async with opened(folder) as (app, pilot):
        assert "f chooses a recording" in text(app, "message")
        await pilot.press("f")
        await pilot.pause()
        assert isinstance(app.screen, AskLine), "nothing to choose from"
        entry = app.screen.query_one(Input)
        entry.value = "nowhere.wav"
        await pilot.press("enter")
        await pilot.pause()
        assert isinstance(app.screen, AskLine)
        assert "there is no file" in str(app.screen.query_one(".trouble", Static).content)
        entry.value = str(words)
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("up", "up", "enter")
        await settle(app, pilot)
        assert "words.wav: not a sound recording" in text(app, "message")
        await pilot.press("f")
        await pilot.pause()
        app.screen.query_one(Input).value = str(tmp_path / "away.wav")
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("enter")
        await settle(app, pilot)
        assert app.screen.bench.file == "away.wav"


async def test_without_the_library_it_starts_works_and_says_how_to_get_it(folder, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)
    (folder / "recordings" / "phone.m4a").write_bytes(b"\x00\x00\x00\x20ftypM4A " + bytes(200))
    async with opened(folder, first="bite") as (app, pilot):
        await pilot.press("e")
        await pilot.pause()
        await pilot.press("escape")
        await pilot.pause()
        assert 'pip install "pitwright[sound]"' in text(app, "message")
        await pilot.press("f")
        await pilot.pause()
        names = [str(o.prompt) for o in app.screen.query_one(OptionList).options]
        await pilot.press(*["down"] * names.index("phone.m4a"), "enter")
        await pilot.pause()
        await pilot.press("up", "up", "enter")
        await settle(app, pilot)
        assert 'pip install "pitwright[sound]"' in text(app, "message")


async def test_escape_stops_a_long_listening(folder, monkeypatch):
    from pitwright.sound import listen as core

    reached, go_on = threading.Event(), threading.Event()

    def slow(recording, *, progress, **_how):
        progress(10.0, 3600.0)
        reached.set()
        assert go_on.wait(20)
        progress(20.0, 3600.0)
        raise AssertionError("it was not stopped")

    monkeypatch.setattr(core, "listen", slow)
    async with opened(folder) as (app, pilot):
        await pilot.press("enter")
        await pilot.pause()
        await pilot.press("up", "up", "enter")
        await pilot.pause()
        for _ in range(200):
            if reached.is_set():
                break
            await pilot.pause(0.02)
        await pilot.pause()
        assert app.screen.has_class("listening")
        assert app.screen.query_one("ProgressBar").progress == 10.0
        assert "escape stops it" in text(app, "message")
        await pilot.press("escape")
        await pilot.pause()
        go_on.set()
        await settle(app, pilot)
        assert isinstance(app.screen, EarScreen)
        assert app.screen.bench is None
        assert "Stopped" in noted(app)


async def test_what_is_in_hand_survives_a_look_at_another_screen(folder):
    async with opened(folder, first="bite") as (app, pilot):
        await pilot.press("e")
        await pilot.pause()
        await listen(app, pilot)
        await pilot.press("x")
        await pilot.press("1")
        await pilot.pause()
        await pilot.press("4", "e")
        await settle(app, pilot)
        assert app.screen.bench.current.by_hand == "doubled"


def test_recordings_are_listed_newest_first_and_only_sound(folder):
    place = folder / "recordings"
    (place / "notes.txt").write_text("no sound")
    (place / ".hidden.wav").write_bytes(b"")
    (place / "late.M4A").write_bytes(b"x")
    os.utime(place / "launch-Q4.wav", (1, 1))
    assert [p.name for p in recordings(folder)] == ["late.M4A", "launch-Q4.wav"]
    assert recordings(folder / "nowhere") == []
    assert find_recording(folder, "launch-Q4.wav") == place / "launch-Q4.wav"
    assert find_recording(folder, str(place / "late.M4A")) == place / "late.M4A"
    assert "is a folder" in find_recording(folder, str(place))
    assert "there is no file" in find_recording(folder, "x.wav")
    assert "type the path" in find_recording(folder, "  ")
    assert "cannot be used" in find_recording(folder, "x" * 5000)
