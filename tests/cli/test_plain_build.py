"""A build in plain lines, through the real entry point: the records are the app's own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from pitwright.cli import main
from pitwright.cli.plain import PlainBuild
from pitwright.cli.plain_talk import Talk
from pitwright.paths import demo_folder
from pitwright.store.create import copy_demo, new_weekend
from pitwright.store.reader import read_folder
from pitwright.store.session import Session
from pitwright.weekend.records import Build, Check, Fit, NoteRecord
from pitwright.weekend.weekend import Weekend

T0 = datetime(2026, 5, 15, 8, 0, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "w"
    new_weekend(place, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return place


def worked(folder: Path, answers: str, **environ: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pitwright", "open", str(folder), "--plain"],
        input=answers,
        capture_output=True,
        text=True,
        env={**os.environ, **environ},
        timeout=120,
    )


def weekend_of(folder: Path, laptop: str | None = None) -> Weekend:
    with Session(folder, write=False, laptop=laptop) as session:
        return session.weekend


class Mechanic:
    """Answers each question as it is put; remembers what was said."""

    def __init__(self, choose: dict[str, str | list[str]]) -> None:
        self.choose = {k: list(v) if isinstance(v, list) else v for k, v in choose.items()}
        self.said: list[str] = []
        self.now = T0

    def say(self, text: str) -> None:
        self.said.append(text)

    def read(self) -> str:
        self.now += timedelta(seconds=40)
        recent = self.said[-12:]
        for key, answer in self.choose.items():
            at = next((line for line in reversed(recent) if key in line), None)
            if at is None or key in ("Done?",):
                continue
            if self._asked(key, recent):
                if isinstance(answer, list):
                    return answer.pop(0) if len(answer) > 1 else answer[0]
                return answer
        return "y" if self.said[-1].endswith("y or n:") else ""

    def _asked(self, key: str, recent: list[str]) -> bool:
        """Tell whether the question now open is the one that ``key`` names."""
        last = recent[-1]
        if key in last:
            return True
        heads = [line for line in recent if line.endswith("?") or line.startswith("Measure:")]
        pick = last.startswith("Number,")
        reading = last.startswith("Reading")
        return (pick or reading) and bool(heads) and key in heads[-1]


ANSWERS: dict[str, str | list[str]] = {
    "Which build?": "1",
    "Which spring goes on?": "1",
    "Which shoes goes on?": "1",
    "Measure: Shoe thickness": "5,00 5,00",
    "Measure: Spring free length": "10.15 10,16",
    "Measure: Nut recess": "1.35+1.35",
    "Measure: Bell end play": "0.25",
    "Measure: Gear mesh": "0.09",
    "Each shim in mm": "0.20 0.10",
}


def by(mechanic: Mechanic, folder: Path) -> int:
    with Session(folder, laptop="tent1", clock=lambda: mechanic.now) as session:
        return PlainBuild(session, Talk(mechanic.read, mechanic.say)).work()


def test_a_full_rebuild_in_lines_writes_what_the_app_would(folder: Path) -> None:
    mechanic = Mechanic(ANSWERS)
    assert by(mechanic, folder) == 0
    weekend = weekend_of(folder)
    builds = [r for r in weekend.log.records if isinstance(r, Build)]
    assert [b.route for b in builds] == ["full rebuild"]
    build = builds[0]
    assert all(r.done_at is not None for r in build.results)
    assert weekend.open.build is None
    readings = {
        reading.quantity: reading
        for record in weekend.log.records
        if isinstance(record, Check)
        for reading in record.readings
    }
    assert readings["recess"].value_mm == pytest.approx(1.35)
    assert readings["free_length"].verdict == "good"
    assert readings["free_length"].squeezes
    fits = {r.place for r in weekend.log.records if isinstance(r, Fit)}
    assert {"spring", "shoes", "end play shims", "height shims"} <= fits
    named = {name for result in build.results for name in result.checks}
    assert named == {r.id for r in weekend.log.records if isinstance(r, Check | Fit)}
    locked = [r for r in build.results if r.thread_lock_applied]
    assert locked
    assert all(r.thread_lock_at is not None for r in locked)
    assert sum(r.seconds or 0 for r in build.results) > 22 * 40
    words = "\n".join(mechanic.said)
    assert "Caution: Vapour burns" in words
    assert "good. " in words
    assert "Leave it until" in words
    assert "Signed off; the build is in the log." in words


def test_a_build_is_left_at_any_answer_and_goes_on_at_its_step(folder: Path) -> None:
    first = worked(folder, "1\n\n\nq\n")
    assert first.returncode == 0
    assert "Step 3 of 22" in first.stdout
    assert "Left. The build goes on here next time." in first.stdout
    second = worked(folder, "")
    assert second.returncode == 0
    assert "Going on with the full rebuild that was begun." in second.stdout
    assert "Step 3 of 22" in second.stdout
    build = weekend_of(folder).open.build
    assert build is not None
    assert [r.done_at is not None for r in build.results[:2]] == [True, True]


def test_skip_note_back_list_and_giving_up(folder: Path) -> None:
    done = worked(folder, "1\nn\nbell was blue\ns\nno time\nb\nl\n5\nx\nrain\n")
    assert done.returncode == 0
    assert "Skipped." in done.stdout
    assert "Noted." in done.stdout
    assert "Step 5 of 22" in done.stdout
    weekend = weekend_of(folder)
    assert weekend.open.build is None
    notes = [r.text for r in weekend.log.records if isinstance(r, NoteRecord)]
    assert len(notes) == 1
    assert "rain" in notes[0]
    assert "bell was blue" in notes[0]


def test_no_cursor_tricks_no_colour_and_no_sign_the_terminal_lacks(folder: Path) -> None:
    done = worked(folder, "1\nl\n13\n", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    assert "\r" not in done.stdout
    assert done.stdout.isascii()
    assert "\t" not in done.stdout


def step_asks(folder: Path, step: int, answers: list[str]) -> list[str]:
    """Return what is said when a fresh full rebuild is taken up at ``step``."""
    said: list[str] = []
    left = ["1", "l", str(step), *answers]

    def read() -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    clock = T0
    with Session(folder, laptop="tent1", clock=lambda: clock) as session:
        PlainBuild(session, Talk(read, said.append)).work()
    assert not left, said[-6:]
    return said


def spring_step(folder: Path) -> int:
    steps = weekend_of(folder).procedure.on_route("full rebuild")
    return next(i for i, s in enumerate(steps, 1) if "free_length" in s.measures)


def test_a_slip_is_asked_about_and_bad_input_again(folder: Path) -> None:
    said = step_asks(folder, spring_step(folder), ["1", "ten", "101.5", "1"])
    words = "\n".join(said)
    assert "That cannot be read" in words
    assert "Take 10.15" in words
    reading = next(
        reading
        for record in weekend_of(folder).log.records
        if isinstance(record, Check)
        for reading in record.readings
    )
    assert reading.value_mm == pytest.approx(10.15)


def test_one_far_repeat_is_asked_about_before_it_discards_a_spring(folder: Path) -> None:
    said = step_asks(folder, spring_step(folder), ["1", "9.94 9.60", "2", "9.94 9.95"])
    words = "\n".join(said)
    assert "Read it again: these two differ by 0.34 mm" in words
    assert "out. " not in words
    kept = [r for r in weekend_of(folder).log.records if isinstance(r, Check)]
    assert [reading.values_mm for check in kept for reading in check.readings] == [[9.94, 9.95]]


def test_out_of_limits_wants_a_reason_and_only_then_the_tick(folder: Path) -> None:
    said = step_asks(folder, spring_step(folder), ["1", "9.70", "2", "nothing else here", ""])
    words = "\n".join(said)
    assert "out. " in words
    assert "Why may it stay?" in words
    build = weekend_of(folder, "tent1").open.build
    assert build is not None
    result = next(r for r in build.results if r.out_because)
    assert result.out_because == "nothing else here"
    assert result.done_at is not None


def test_a_folder_that_another_holds_is_refused(folder: Path) -> None:
    with Session(folder) as session:
        assert session.writable
        done = worked(folder, "1\n")
    assert done.returncode == 2
    assert "has it open" in done.stderr


@pytest.mark.parametrize("answer", ["", "0", "99", "one"])
def test_a_wrong_choice_is_asked_again(folder: Path, answer: str) -> None:
    said: list[str] = []
    left = [answer, "3"]

    def read() -> str:
        if not left:
            raise EOFError
        return left.pop(0)

    reader: Callable[[], str] = read
    with Session(folder, laptop="tent1", clock=lambda: T0) as session:
        PlainBuild(session, Talk(reader, said.append)).work()
    assert "Please answer with a number from 1 to 3." in said
    build = read_folder(folder, "tent1").weekend
    assert build is not None
    assert build.open.build is not None
    assert build.open.build.route == "recess only"


def test_a_build_is_said_to_take_as_long_as_on_the_pit_clock(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Own times add up to 53 minutes and a bit: one place said 53, the other 54."""
    demo = copy_demo(demo_folder(), tmp_path / "demo")
    assert main(["clock", str(demo)]) == 0
    clock = next(line for line in capsys.readouterr().out.splitlines() if "Full rebuild" in line)
    needed = clock.split("Full rebuild")[1].split(" min")[0].strip()
    assert f"Full rebuild, 22 steps, {needed} min by your own times" in worked(demo, "").stdout
