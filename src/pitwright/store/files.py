"""Writing so that a crash, a full disk or a pulled stick never leaves half a file."""

from __future__ import annotations

import contextlib
import errno
import os
from pathlib import Path

from pitwright.store.inside import leads_out
from pitwright.store.leftovers import TEMPORARY_SUFFIX, temporary_name

__all__ = [
    "TEMPORARY_SUFFIX",
    "StoreError",
    "create_file",
    "make_folder",
    "remove_file",
    "replace_file",
    "sync_folder",
]


class StoreError(OSError):
    """The folder could not be written; the message says what and why, for the user to read.

    ``path`` and ``data`` are what was to be written, so that it can be saved somewhere else.
    """

    path: Path | None = None
    data: bytes = b""

    def __str__(self) -> str:
        """Return the message alone; it names the reason already."""
        return self.strerror or super().__str__()


def _said(path: Path, data: bytes, error: OSError) -> StoreError:
    said = StoreError(
        error.errno or 0,
        f"{path.name} could not be written in {path.parent}: {error.strerror or error}",
    )
    said.path, said.data = path, data
    return said


def sync_folder(folder: Path) -> None:
    """Make the folder's entries durable. Windows has no such call and is left out."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path, *, within: Path | None = None) -> None:
    """Make a folder and those above it, each durable in the one that holds it.

    Nothing is made unless ``within`` is there: a weekend on a stick that was pulled must not
    come to life again on the disk below it. Nor may ``folder`` be a link that leads out of
    ``within``. Raises OSError.
    """
    missing: list[Path] = []
    at = folder
    while not at.is_dir():
        if at == within:
            raise FileNotFoundError(errno.ENOENT, f"the folder {at} is gone")
        if at.exists() or at == at.parent:
            raise NotADirectoryError(errno.ENOTDIR, f"{at} is not a folder")
        missing.append(at)
        at = at.parent
    for made in reversed(missing):
        # Another instance may be quicker.
        made.mkdir(exist_ok=True)
        sync_folder(made.parent)
    if within is not None and leads_out(folder, within):
        raise PermissionError(errno.EPERM, f"it leads out of the folder {within.name}")


def _write_temporary(path: Path, data: bytes) -> Path:
    temporary = path.with_name(temporary_name(path.name))
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


def replace_file(path: Path, data: bytes, *, within: Path | None = None) -> None:
    """Write ``path`` whole or not at all: temporary file, fsync, rename, fsync of the folder.

    Raises StoreError when the disk will not have it; ``path`` then holds the old content or,
    when only the last fsync failed, the new one.
    """
    try:
        make_folder(path.parent, within=within)
        temporary = _write_temporary(path, data)
        try:
            temporary.replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise
        sync_folder(path.parent)
    except OSError as error:
        raise _said(path, data, error) from error


def create_file(path: Path, data: bytes, *, within: Path | None = None) -> None:
    """Write a file that must not exist yet, whole or not at all.

    Raises FileExistsError when it is there already, StoreError when the disk will not have it;
    then there is no such file, so that a second try cannot leave it twice.
    """
    try:
        try:
            make_folder(path.parent, within=within)
            temporary = _write_temporary(path, data)
        except FileExistsError as error:
            raise NotADirectoryError(errno.ENOTDIR, str(error)) from error
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
                with contextlib.suppress(OSError):
                    temporary.unlink()
        except BaseException:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise
        try:
            sync_folder(path.parent)
        except OSError:
            with contextlib.suppress(OSError):
                path.unlink()
            raise
    except FileExistsError:
        raise
    except OSError as error:
        raise _said(path, data, error) from error


def remove_file(path: Path) -> None:
    """Remove a file that may be gone already. Raises StoreError when the disk will not have it."""
    try:
        if path.exists():
            path.unlink()
            sync_folder(path.parent)
    except FileNotFoundError:
        return
    except OSError as error:
        raise StoreError(
            error.errno or 0,
            f"{path.name} could not be removed from {path.parent}: {error.strerror or error}",
        ) from error
