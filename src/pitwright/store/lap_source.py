"""Files of laps outside the weekend folder: found nearby, and read as they are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pitwright.timing.text import MOST_BYTES, LapFileError

__all__ = ["LapSource", "nearby_sources", "read_source", "sources_for"]

_ENDINGS = (".csv", ".txt", ".tsv")
_MOST_LISTED = 60


@dataclass(frozen=True)
class LapSource:
    """A file that may hold laps, or a folder to look into; ``changed`` in seconds since 1970."""

    path: Path
    folder: bool
    size: int
    changed: float


def read_source(path: Path) -> bytes:
    """Return a file's bytes.

    Raises LapFileError in words for the user when it cannot be read or is too large.
    """
    try:
        if path.is_dir():
            raise LapFileError(f"{path} is a folder")
        if path.exists() and not path.is_file():
            raise LapFileError(f"{path} is not a plain file")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise LapFileError(f"there is no file {path}") from None
    except OSError as error:
        raise LapFileError(f"{path} cannot be read: {error.strerror or error}") from None
    except ValueError as error:  # a name no file can have
        raise LapFileError(f"that is no file name: {error}") from None
    return data


def _look(folder: Path) -> list[LapSource]:
    found: list[LapSource] = []
    try:
        for path in folder.iterdir():
            if path.name.startswith("."):
                continue
            try:
                is_folder, about = path.is_dir(), path.stat()
            except OSError:
                continue
            if is_folder or path.suffix.lower() in _ENDINGS:
                found.append(LapSource(path, is_folder, about.st_size, about.st_mtime))
    except (OSError, ValueError):
        return []
    return found


def nearby_sources(weekend_folder: Path) -> list[LapSource]:
    """Return files that may hold laps where people put them, the newest first.

    Looked at: where the program was started, beside the weekend folder and in it, the downloads
    folder. The weekend's own laps are not offered.
    """
    places: Iterable[Path] = (
        Path.cwd(),
        weekend_folder.resolve().parent,
        weekend_folder.resolve(),
        Path.home() / "Downloads",
    )
    found = [s for place in dict.fromkeys(places) for s in _look(place) if not s.folder]
    return sorted(found, key=lambda s: -s.changed)[:_MOST_LISTED]


def sources_for(typed: str) -> list[LapSource]:
    """Return what a half-typed path may become: files by age, then folders by name."""
    try:
        path = Path(typed).expanduser()
    except (RuntimeError, ValueError):
        return []
    folder, start = (path, "") if typed.endswith(("/", "\\")) else (path.parent, path.name)
    found = [s for s in _look(folder) if s.path.name.lower().startswith(start.lower())]
    files = sorted((s for s in found if not s.folder), key=lambda s: -s.changed)
    folders = sorted((s for s in found if s.folder), key=lambda s: s.path.name.lower())
    return [*files, *folders][:_MOST_LISTED]
