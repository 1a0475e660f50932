"""Whole or not at all: the order of the calls, and every one of them failing in turn."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pitwright.store.files import StoreError, create_file, replace_file


class Recorder:
    """Stands between the store and the operating system, notes every call and fails one."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, fail_at: int | None = None) -> None:
        self.calls: list[str] = []
        self.fail_at = fail_at
        for name in ("open", "fsync", "link"):
            self._wrap(monkeypatch, os, name, name)
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


@pytest.mark.parametrize("fail_at", [0, 1, 2])
def test_a_full_disk_leaves_no_record_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail_at: int
) -> None:
    Recorder(monkeypatch, fail_at)
    with pytest.raises(StoreError):
        create_file(tmp_path / "a.toml", b"new")
    monkeypatch.undo()
    assert list(tmp_path.iterdir()) == []


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
