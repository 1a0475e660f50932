"""Whole or not at all: the order of the calls, and every one of them failing in turn."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from pitwright.store.create import backup, new_weekend
from pitwright.store.files import StoreError, create_file, make_folder, replace_file
from pitwright.store.session import Session
from pitwright.weekend.open_work import OpenBuild, OpenHeat, Timer
from pitwright.weekend.records import HeatRun, NoteRecord


class Recorder:
    """Stands between the store and the operating system, notes every call and fails one."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, fail_at: int | None = None) -> None:
        self.calls: list[str] = []
        self.fail_at = fail_at
        for name in ("open", "fsync", "link", "mkdir"):
            self._wrap(monkeypatch, os, name, name)
        self._wrap(monkeypatch, Path, "rename", "rename")
        self._wrap(monkeypatch, Path, "replace", "rename")
        real_fdopen = os.fdopen
        recorder = self

        def fdopen(*args: Any, **kwargs: Any) -> Any:
            file = real_fdopen(*args, **kwargs)
            real_write = file.write

            class Proxy:
                def __enter__(self) -> Any:
                    file.__enter__()
                    return self

                def __exit__(self, *error: object) -> None:
                    file.__exit__(*error)

                def write(self, data: bytes) -> int:
                    recorder.note("write")
                    count: int = real_write(data)
                    return count

                def __getattr__(self, name: str) -> Any:
                    return getattr(file, name)

            return Proxy()

        monkeypatch.setattr(os, "fdopen", fdopen)

    def _wrap(self, monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, called: str) -> None:
        real: Callable[..., Any] = getattr(owner, name)

        def call(*args: Any, **kwargs: Any) -> Any:
            self.note(called)
            return real(*args, **kwargs)

        monkeypatch.setattr(owner, name, call)

    def note(self, call: str) -> None:
        self.calls.append(call)
        if self.fail_at is not None and len(self.calls) - 1 == self.fail_at:
            raise OSError(errno.ENOSPC, "No space left on device")


def test_replace_writes_syncs_renames_and_syncs_the_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(monkeypatch)
    replace_file(tmp_path / "a.toml", b"new")
    assert recorder.calls == ["open", "write", "fsync", "rename", "open", "fsync"]


def test_create_writes_syncs_links_and_syncs_the_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(monkeypatch)
    create_file(tmp_path / "a.toml", b"new")
    assert recorder.calls == ["open", "write", "fsync", "link", "open", "fsync"]


@pytest.mark.parametrize("fail_at", range(6))
def test_a_full_disk_at_any_call_leaves_old_or_new_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail_at: int
) -> None:
    path = tmp_path / "a.toml"
    path.write_bytes(b"old")
    Recorder(monkeypatch, fail_at)
    with pytest.raises(StoreError, match=r"a\.toml could not be written"):
        replace_file(path, b"new")
    monkeypatch.undo()
    # Up to the rename the old content stands; after it the new one does, though the folder's
    # own entry may not have reached the disk, which is why the writer still says it failed.
    assert path.read_bytes() == (b"old" if fail_at < 4 else b"new")
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]


@pytest.mark.parametrize("fail_at", range(6))
def test_a_full_disk_leaves_no_record_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail_at: int
) -> None:
    Recorder(monkeypatch, fail_at)
    if fail_at == 3:
        # A disk that refuses the link is given a rename instead.
        create_file(tmp_path / "a.toml", b"new")
        return
    with pytest.raises(StoreError) as caught:
        create_file(tmp_path / "a.toml", b"new")
    monkeypatch.undo()
    # Not even when only the folder's last fsync failed: a second try would leave it twice.
    assert list(tmp_path.iterdir()) == []
    assert (caught.value.path, caught.value.data) == (tmp_path / "a.toml", b"new")


def test_where_links_are_unknown_a_rename_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_args: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    create_file(tmp_path / "a.toml", b"new")
    assert (tmp_path / "a.toml").read_bytes() == b"new"
    with pytest.raises(FileExistsError):
        create_file(tmp_path / "a.toml", b"other")
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]


def test_create_never_overwrites(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(b"old")
    with pytest.raises(FileExistsError):
        create_file(tmp_path / "a.toml", b"new")
    assert (tmp_path / "a.toml").read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"]


def test_a_new_folder_is_durable_in_the_one_above_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(monkeypatch)
    replace_file(tmp_path / "open" / "tent1" / "a.toml", b"new", within=tmp_path)
    made = ["mkdir", "open", "fsync"]
    assert recorder.calls == [*made, *made, "open", "write", "fsync", "rename", "open", "fsync"]


def test_nothing_is_made_where_the_weekend_is_gone(tmp_path: Path) -> None:
    gone = tmp_path / "stick" / "weekend"
    for write in (create_file, replace_file):
        with pytest.raises(StoreError, match="is gone"):
            write(gone / "log" / "a.toml", b"new", within=gone)
    assert list(tmp_path.iterdir()) == []


def test_a_file_where_a_folder_should_be_is_said(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("not a folder")
    with pytest.raises(StoreError, match="is not a folder"):
        create_file(tmp_path / "log" / "a.toml", b"new", within=tmp_path)
    with pytest.raises(NotADirectoryError):
        make_folder(tmp_path / "log" / "deep")


NOW = datetime(2026, 5, 15, 8, tzinfo=UTC)
FIRST = ["mkdir", "open", "fsync"]
REPLACED = ["open", "write", "fsync", "rename", "open", "fsync"]
CREATED = ["open", "write", "fsync", "link", "open", "fsync"]


@pytest.fixture
def weekend(tmp_path: Path) -> Path:
    place = tmp_path / "w"
    new_weekend(place, name="W", time_zone="Europe/Lisbon", starts_on=date(2026, 5, 15))
    return place


def test_each_thing_an_open_weekend_keeps_is_synced_in_order(
    weekend: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.rmtree(weekend / "log")
    shutil.rmtree(weekend / "laps")
    heat = OpenHeat(heat=HeatRun(happened_at=NOW, heat="Q1", heat_kind="qualifier"))
    with Session(weekend, laptop="tent1") as session:
        steps = session.weekend.procedure.on_route("recess only")
        build = OpenBuild(route="recess only", started_at=NOW, steps=steps)
        note = NoteRecord(happened_at=NOW, text="x")
        timer = Timer(name="t", label="T", due_at=NOW)
        for keep, wanted in (
            (lambda: session.append(note), [*FIRST, *CREATED]),
            (lambda: session.append(note), CREATED),
            (lambda: session.keep_build(build), [*FIRST, *REPLACED]),
            (lambda: session.keep_build(build), REPLACED),
            (lambda: session.keep_heat(heat), REPLACED),
            (lambda: session.keep_timers([timer]), REPLACED),
            (lambda: session.keep_draft("m", {"a": "1"}), [*FIRST, *REPLACED]),
            (lambda: session.keep_draft("m", {}), ["open", "fsync"]),
            (
                lambda: session.keep_laps("Q1", [20.0], b"20"),
                [*FIRST, *FIRST, *CREATED, *REPLACED],
            ),
            (session.clear_build, ["open", "fsync"]),
            (session.clear_heat, ["open", "fsync"]),
        ):
            with monkeypatch.context() as patch:
                recorder = Recorder(patch)
                keep()
            assert recorder.calls == wanted


def test_a_new_weekend_is_synced_in_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = Recorder(monkeypatch)
    new_weekend(tmp_path / "n", name="N", time_zone="UTC", starts_on=date(2026, 5, 15))
    assert recorder.calls == [*FIRST, *FIRST, *FIRST, *CREATED * 4]


def test_a_backup_takes_its_name_once_it_is_whole_and_synced(
    weekend: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recorder = Recorder(monkeypatch)
    done = backup(weekend, tmp_path / "kept", now=NOW)
    calls = [call for call in recorder.calls if call in ("fsync", "rename")]
    folders = 1 + len([p for p in done.target.rglob("*") if p.is_dir()])
    assert calls == ["fsync"] * (1 + done.files + folders) + ["rename", "fsync"]


def test_a_backup_cut_short_leaves_nothing_that_looks_like_one(
    weekend: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_args: object, **_more: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(shutil, "copytree", full)
    with pytest.raises(StoreError, match="No space left"):
        backup(weekend, tmp_path / "kept", now=NOW)
    assert list((tmp_path / "kept").iterdir()) == []


def test_a_weekend_cut_short_in_the_making_is_finished_by_the_same_call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "n"
    with monkeypatch.context() as patch:
        Recorder(patch, fail_at=3 * 3 + 8)
        with pytest.raises(StoreError):
            new_weekend(place, name="N", time_zone="UTC", starts_on=date(2026, 5, 15))
    assert [p.name for p in place.glob("*.toml")] == ["weekend.toml"]
    new_weekend(place, name="N", time_zone="UTC", starts_on=date(2026, 5, 15))
    with Session(place) as session:
        assert session.problems == ()


@pytest.mark.parametrize("name", ["{time_zone}", 'a "b" \\ {ends_on}'])
def test_a_name_that_looks_like_a_place_to_fill_in_is_a_name(tmp_path: Path, name: str) -> None:
    new_weekend(tmp_path / "n", name=name, time_zone="UTC", starts_on=date(2026, 5, 15))
    with Session(tmp_path / "n") as session:
        assert session.weekend.event.name == name


def test_a_name_no_card_can_hold_makes_no_weekend(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="control sign"):
        new_weekend(tmp_path / "n", name="a\x1b[2J", time_zone="UTC", starts_on=date(2026, 5, 15))
    assert not (tmp_path / "n").exists()
