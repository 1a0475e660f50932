"""Disks that fail: full, pulled out, read-only, gone; nothing is lost and nothing traces back."""

from __future__ import annotations

import errno
import io
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from pitwright.cli import main
from pitwright.store.create import backup, new_weekend
from pitwright.store.files import StoreError
from pitwright.store.reader import read_folder
from pitwright.store.session import ReadOnlyError, Session
from pitwright.weekend.open_work import OpenBuild, OpenHeat, Timer
from pitwright.weekend.records import HeatRun, NoteRecord

NOW = datetime(2026, 5, 15, 8, tzinfo=UTC)
HEAT = HeatRun(happened_at=NOW, heat="Q1", heat_kind="qualifier")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return make(tmp_path / "weekend")


def make(place: Path) -> Path:
    new_weekend(place, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    with Session(place, laptop="tent1") as session:
        session.append(note("before"))
        session.keep_laps("P1", [20.0, 21.0], b"20 21")
        session.keep_timers([Timer(name="t", label="before", due_at=NOW)])
        session.keep_draft("measure", {"free_length": "10.1"})
    return place


def note(text: str) -> NoteRecord:
    return NoteRecord(happened_at=NOW, text=text)


class Disk:
    """Fails the n-th call of a kind on a path under ``root``, and all after it when ``on``."""

    CALLS = ("open", "stat", "lstat", "scandir", "mkdir", "link", "rename", "replace", "unlink",
             "fsync")  # fmt: skip

    def __init__(self, root: Path, code: int, at: int, *, on: bool, kinds: tuple[str, ...]) -> None:
        self.root, self.code, self.at, self.on, self.kinds = str(root), code, at, on, kinds
        self.count = 0
        self.failed = False

    def touch(self, kind: str, path: object) -> None:
        # fsync is given a number; only this test writes, so it is ours.
        mine = isinstance(path, int) or str(path).startswith(self.root)
        if not mine or kind not in self.kinds:
            return
        self.count += 1
        if self.count - 1 == self.at or (self.on and self.count - 1 > self.at):
            self.failed = True
            raise OSError(self.code, os.strerror(self.code), str(path))


@contextmanager
def failing(disk: Disk) -> Iterator[Disk]:
    with pytest.MonkeyPatch.context() as patch:
        for kind in Disk.CALLS:
            real: Callable[..., Any] = getattr(os, kind)

            def call(
                path: Any, *args: Any, _real: Any = real, _kind: str = kind, **more: Any
            ) -> Any:
                disk.touch(_kind, path)
                return _real(path, *args, **more)

            patch.setattr(os, kind, call)
        real_open = io.open

        def open_(path: Any, *args: Any, **more: Any) -> Any:
            disk.touch("open", path)
            return real_open(path, *args, **more)

        patch.setattr(io, "open", open_)
        yield disk


def writes(session: Session) -> list[tuple[str, Callable[[], object]]]:
    steps = session.weekend.procedure.on_route("recess only")
    build = OpenBuild(route="recess only", started_at=NOW, steps=steps)
    return [
        ("append", lambda: session.append(note("after"))),
        ("build", lambda: session.keep_build(build)),
        ("heat", lambda: session.keep_heat(OpenHeat(heat=HEAT))),
        ("timers", lambda: session.keep_timers([Timer(name="t", label="after", due_at=NOW)])),
        ("draft", lambda: session.keep_draft("measure", {"free_length": "10.2"})),
        ("laps", lambda: session.keep_laps("Q1", [20.0], b"20")),
        ("forget", lambda: session.keep_draft("measure", {})),
    ]


def tried_to(write: Callable[[], object]) -> StoreError | None:
    try:
        write()
    except StoreError as error:
        return error
    return None


def until_full(write: Callable[[int], object], most: int) -> int:
    """Write on and on until the disk is full; return how often it went well."""
    for number in range(most):
        error = tried_to(lambda number=number: write(number))  # type: ignore[misc]
        if error is not None:
            assert "space" in str(error)
            return number
    raise AssertionError("never full")


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EROFS, errno.EDQUOT])
@pytest.mark.parametrize("on", [False, True], ids=["once", "from then on"])
def test_a_disk_that_fails_at_any_call_of_any_write(tmp_path: Path, code: int, on: bool) -> None:
    every = ("open", "mkdir", "link", "rename", "replace", "unlink", "fsync")
    spare = make(tmp_path / "spare")
    tried = 0
    for which in range(7):
        for at in range(40):
            place = tmp_path / f"{which}-{at}"
            shutil.copytree(spare, place)
            with Session(place, laptop="tent1") as session:
                before = session.weekend
                name, write = writes(session)[which]
                with failing(Disk(place, code, at, on=on, kinds=every)) as disk:
                    error = tried_to(write)
                kept = error is None
                if error is not None:
                    assert error.strerror
                    assert name == "forget" or (error.path is not None and error.data)
                    if name in ("draft", "forget", "heat"):  # held, to be written when it may
                        session.write_draft("measure")
                        session.write_waiting()
                        kept = True
                    else:
                        assert session.weekend == before, "what failed must not be shown as kept"
            opened = read_folder(place, "tent1")
            assert opened.problems == ()
            assert opened.weekend is not None
            texts = sorted(r.text for r in opened.records if isinstance(r, NoteRecord))[::-1]
            if name == "append":
                if not (on and not kept):
                    assert texts == ["before", *(["after"] if kept else [])]
            else:
                assert texts == ["before"]
                if kept:
                    assert opened.weekend == session.weekend
            tried += 1
            if not disk.failed:
                break
        else:
            raise AssertionError("never got through")
    assert tried > 40


@pytest.mark.parametrize("on", [False, True], ids=["once", "from then on"])
def test_a_stick_that_fails_at_any_read_is_reported(folder: Path, on: bool) -> None:
    healthy = read_folder(folder, "tent1")
    for at in range(400):
        with failing(Disk(folder, errno.EIO, at, on=on, kinds=Disk.CALLS)) as disk:
            opened = read_folder(folder, "tent1")
        if not disk.failed:
            assert opened.problems == ()
            break
        if opened == healthy:
            continue
        said = " ".join(str(p) for p in opened.problems)
        assert "Input/output error" in said or "cannot be read" in said, said
    else:
        raise AssertionError("never got through")
    assert at > 20


def test_a_stick_that_fails_while_a_session_looks_outside(folder: Path) -> None:
    with Session(folder, laptop="tent1") as session:
        for at in range(60):
            with failing(Disk(folder, errno.EIO, at, on=True, kinds=Disk.CALLS)):
                if session.changed_outside():
                    session.reload()
            assert session.weekend.event.name == "W"
            if session.changed_outside():
                assert session.reload()
            assert len(session.weekend.log) == 1
        assert session.problems == ()
        session.append(note("after"))


def test_every_command_says_so_when_the_stick_fails(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(folder)
    for command in (
        ["verify", place], ["timeline", place], ["note", place, "x"], ["state", place],
        ["backup", place, str(folder.parent / "kept")], ["heat", place, "Q1", "--kind", "main"],
    ):  # fmt: skip
        for at in (0, 1, 3, 8, 20, 40):
            with failing(Disk(folder, errno.EIO, at, on=True, kinds=Disk.CALLS)) as disk:
                status = main(command)
            out, err = capsys.readouterr()
            if disk.failed and status:
                assert out or err.startswith("pitwright: "), (command, at)
                assert "Traceback" not in err


def test_a_folder_that_went_away_is_not_made_afresh(folder: Path) -> None:
    with Session(folder, laptop="tent1") as session:
        folder.rename(folder.with_name("elsewhere"))
        for name, write in writes(session):
            with pytest.raises(StoreError, match="is gone"):
                write()
            assert not folder.exists(), name
        assert session.changed_outside()
        assert not session.reload()
        assert "is not there" in str(session.problems[0])
        # Put back, it goes on; the lock is taken anew where it now is.
        folder.with_name("elsewhere").rename(folder)
        assert session.reload()
        session.append(note("after"))
        with Session(folder, laptop="tent1") as second:
            assert not second.writable


def test_a_mount_point_left_empty_is_not_taken_for_the_weekend(folder: Path) -> None:
    with Session(folder, laptop="tent1") as session:
        folder.rename(folder.with_name("elsewhere"))
        folder.mkdir()
        with pytest.raises(StoreError, match="is gone"):
            session.append(note("after"))
        assert list(folder.iterdir()) == []


def test_a_copy_that_came_in_its_place_is_locked_before_it_is_written(folder: Path) -> None:
    with Session(folder, laptop="tent1") as session:
        shutil.copytree(folder, folder.with_name("copy"))
        shutil.rmtree(folder)
        folder.with_name("copy").rename(folder)
        with Session(folder, laptop="tent1") as quicker:
            assert quicker.writable
            with pytest.raises(ReadOnlyError, match="reading only"):
                session.append(note("after"))


@contextmanager
def small_disk(place: Path, options: str) -> Iterator[Path]:
    """Mount a small disk in memory; skip, saying why, where that is not allowed."""
    place.mkdir()
    call = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
    try:
        done = subprocess.run(call, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        pytest.skip("there is no mount command here")
    if done.returncode:
        print(f"no small disk: {done.stderr.strip()}")
        pytest.skip(f"a small disk cannot be mounted here: {done.stderr.strip()}")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def test_a_really_full_disk(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", "size=512k") as disk:
        place = make(disk / "w")
        with Session(place, laptop="tent1") as session:
            long = "x" * 3000
            kept = until_full(lambda n: session.append(note(f"{n} {long}")), 100_000)
        assert kept > 10
        opened = read_folder(place, "tent1")
        assert opened.problems == ()
        assert len(opened.records) == kept + 1
        with Session(place, laptop="tent1") as session:
            until_full(lambda n: session.keep_draft("d", {f"{n}-{i}": long for i in range(n)}), 99)
        # Room again: it goes on.
        next(iter((place / "log").glob("*.toml"))).unlink()
        with Session(place, laptop="tent1") as session:
            session.append(note("after"))
        until_full(lambda n: backup(place, disk / "kept", now=NOW.replace(minute=n)), 50)
        assert read_folder(place, "tent1").problems == ()
        assert not [p for p in (disk / "kept").iterdir() if p.name.startswith(".")]


def test_a_disk_that_may_only_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with small_disk(tmp_path / "disk", "size=2m") as disk:
        place = make(disk / "w")
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with Session(place, laptop="tent1") as session:
            assert not session.writable
            assert session.holder is None
            assert session.why_reading_only == "the folder cannot be written to"
            assert len(session.weekend.log) == 1
            with pytest.raises(ReadOnlyError, match="cannot be written to") as caught:
                session.append(note("typed"))
            assert b"typed" in caught.value.data
            assert not session.take_over()
        assert main(["note", str(place), "x"]) == 2
        assert "cannot be written to" in capsys.readouterr().err
        assert main(["verify", str(place)]) == 0
