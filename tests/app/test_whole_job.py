"""The main job from an empty folder to the day's look back, by keys, with a death on the way."""

from __future__ import annotations

import signal
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from mechanic import LAPTOP, Clock, Mechanic
from textual.widgets import OptionList

from pitwright.app.app import PitwrightApp
from pitwright.app.screens.measure import MeasureScreen
from pitwright.app.screens.timeline import TimelineScreen
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.cli import main
from pitwright.desk.build.facts import step_in_hand
from pitwright.desk.nut.nut import nut_advice
from pitwright.store.create import CARDS
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.records import Build, Check, HeatRun

HALF_WAY = "adjuster-nut"
MECHANIC = Path(__file__).with_name("mechanic.py")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "cup"
    called = main(["new", str(place), "--time-zone", "Europe/Lisbon", "--starts-on", "2026-05-15"])
    assert called == 0
    return place


def die_half_way(folder: Path) -> None:
    with subprocess.Popen(
        [sys.executable, str(MECHANIC), str(folder), HALF_WAY], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        try:
            assert process.stdout.readline().strip() == "half-way"
        finally:
            process.send_signal(signal.SIGKILL)
        assert process.wait(30) == -signal.SIGKILL


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL on Windows")
async def test_a_race_day_from_rebuild_to_look_back(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cards = {card: (folder / card).read_bytes() for card in CARDS}
    die_half_way(folder)

    clock = Clock(datetime(2026, 5, 15, 9, 0, tzinfo=UTC))
    with Session(folder, laptop=LAPTOP, clock=clock) as session:
        assert session.writable
        app = PitwrightApp(session, first="build", clock=clock)
        async with app.run_test(size=(80, 24), notifications=True) as pilot:
            hand = Mechanic(pilot, clock)
            await hand.settle()

            # The build goes on at the step it was killed at, and is signed off.
            build = session.weekend.open.build
            assert build is not None
            assert step_in_hand(build).id == HALF_WAY
            await hand.build_until("end")
            state = session.weekend.state()
            assert state.build is not None
            assert state.build.route == "full rebuild"
            assert state.spring is not None
            assert state.spring.part == "S1"
            first_spring = state.figure("free_length")
            assert first_spring is not None
            assert first_spring.value_mm == pytest.approx(10.155)

            # A heat, with laps tapped at the line.
            clock.on(30)
            await hand.press("1")
            await hand.settle()
            assert isinstance(app.screen, TimelineScreen)
            await hand.press("h")
            await hand.settle()
            await hand.type("Q1")
            await hand.press("f2")
            await hand.settle()
            assert session.weekend.open.heat is not None
            for _ in range(13):
                clock.on(0.35)
                await hand.press("space")
            await hand.press("h")
            await hand.settle()
            await hand.press("f2")  # the rest of the form is left as it stands
            await hand.settle()
            (heat,) = session.weekend.heats
            assert heat.run.run_minutes == pytest.approx(4.55, abs=0.1)
            assert len(heat.laps) == 12
            assert heat.laps == pytest.approx([21.0] * 12)

            # After it the spring measures out of its limit: said, kept, and not argued with.
            clock.on(30)
            await hand.press("3")
            await hand.settle()
            assert isinstance(app.screen, MeasureScreen)
            entry = next(e for e in app.screen.query(ReadingEntry) if e.quantity == "free_length")
            entry.query_one("Input").focus()
            await hand.settle()
            await hand.type("9,78")
            await hand.settle()
            assert entry.judged.word == "out"
            await hand.press("escape")
            await hand.press("s")
            await hand.settle()
            for _ in range(3):
                if app.screen.is_modal:
                    await hand.press("y")
                    await hand.settle()
            assert [c for c in session.weekend.log.records if isinstance(c, Check)][-1].readings[
                0
            ].verdict == "out"

            # So a new spring goes in.
            await hand.press("2")
            await hand.settle()
            await hand.press("down", "enter")
            await hand.settle()
            build = session.weekend.open.build
            assert build is not None
            assert build.route == "spring change"
            await hand.build_until("spring")
            await hand.press("f")
            await hand.settle()
            await hand.press("enter")  # the cursor is on spring 2: spring 1 is out
            await hand.settle()
            while app.screen.is_modal:  # what became of the old one
                await hand.answer({})
            await hand.build_until(
                "end",
                {"free_length": "10.20 10.20", "recess": "1.31", "end_play": "0.25",
                 "gear_mesh": "0.09"},
            )  # fmt: skip
            state = session.weekend.state()
            assert state.spring is not None
            assert (state.spring.part, state.spring.run_minutes) == ("S2", 0.0)

            # The nut's advice: the preload of the heat, one for one with the free length.
            advice = nut_advice(session.weekend, like="Q1")
            assert advice.wanted_mm == pytest.approx(1.35 + 10.155 - 10.20)
            assert not advice.refused

            # The look back.
            await hand.press("1")
            await hand.settle()
            assert isinstance(app.screen, TimelineScreen)
            rows = app.screen.query_one("#rows", OptionList)
            told = "\n".join(
                str(rows.get_option_at_index(n).prompt) for n in range(rows.option_count)
            )
            assert "Q1" in told
            assert "S1 10.16" in told or "S1 10.15" in told
            assert "Spring 2 fitted" in told
            assert "12" in told

    # The files on disk agree, and the hand-written ones kept every byte.
    assert {card: (folder / card).read_bytes() for card in CARDS} == cards
    opened = read_folder(folder, LAPTOP)
    assert opened.problems == ()
    assert opened.weekend is not None
    kinds = [r.kind for r in opened.records]
    assert kinds.count("build") == 2
    assert [r.heat for r in opened.records if isinstance(r, HeatRun)] == ["Q1"]
    routes = [r.route for r in opened.records if isinstance(r, Build)]
    assert sorted(routes) == ["full rebuild", "spring change"]
    assert opened.weekend.open.build is None
    capsys.readouterr()
    assert main(["verify", str(folder)]) == 0
    assert "All in order" in capsys.readouterr().out
