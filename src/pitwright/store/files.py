"""Writing so that a crash, a full disk or a pulled stick never leaves half a file."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

__all__ = ["TEMPORARY_SUFFIX", "StoreError", "create_file", "replace_file", "sync_folder"]

TEMPORARY_SUFFIX = ".unfinished"


class StoreError(OSError):
    """The folder could not be written; the message says what and why, for the user to read."""


def _said(path: Path, error: OSError) -> StoreError:
    return StoreError(
        error.errno or 0,
        f"{path.name} could not be written in {path.parent}: {error.strerror or error}. "
        "Nothing was changed; what you typed is still here",
    )


def sync_folder(folder: Path) -> None:
    """Make the folder's entries durable. Windows has no such call and is left out."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_temporary(path: Path, data: bytes) -> Path:
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}{TEMPORARY_SUFFIX}")
    descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    return temporary


def replace_file(path: Path, data: bytes) -> None:
    """Write ``path`` whole or not at all: temporary file, fsync, rename, fsync of the folder.

    Raises StoreError when the disk will not have it; the old content then still stands.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = _write_temporary(path, data)
        try:
            temporary.replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise
        sync_folder(path.parent)
    except OSError as error:
        raise _said(path, error) from error


def create_file(path: Path, data: bytes) -> None:
    """Write a file that must not exist yet, whole or not at all.

    Raises FileExistsError when it is there already, StoreError when the disk will not have it.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = _write_temporary(path, data)
        try:
            # A hard link fails when the name is taken; a rename would overwrite it.
            try:
                os.link(temporary, path)
            except FileExistsError:
                raise
            except OSError:
                if path.exists():
                    raise FileExistsError(path) from None
                temporary.replace(path)
            else:
                temporary.unlink()
        except BaseException:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise
        sync_folder(path.parent)
    except FileExistsError:
        raise
    except OSError as error:
        raise _said(path, error) from error
