"""Sound recordings of a weekend: they lie in its folder ``recordings`` and are only ever read."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

__all__ = ["RECORDINGS", "find_recording", "recordings"]

RECORDINGS = "recordings"
_SUFFIXES = frozenset(
    (".wav", ".m4a", ".mp3", ".ogg", ".oga", ".opus", ".aac", ".flac", ".mp4", ".mov", ".3gp",
     ".amr", ".webm", ".aif", ".aiff", ".caf", ".wma", ".mkv")
)  # fmt: skip


def recordings(folder: Path) -> list[Path]:
    """Return the sound files in the weekend's recordings, newest first; none without a folder."""
    found: list[tuple[float, str, Path]] = []
    # A folder that is not there, or goes away meanwhile, has nothing to choose from.
    with suppress(OSError):
        for path in (folder / RECORDINGS).iterdir():
            named = path.suffix.lower() in _SUFFIXES and not path.name.startswith(".")
            if named and path.is_file():
                found.append((-path.stat().st_mtime, path.name, path))
    return [path for *_order, path in sorted(found)]


def find_recording(folder: Path, typed: str) -> Path | str:
    """Return the file a user means by a typed path, or what is wrong with it.

    A path that does not start at the root is looked for where the program was started, then in the
    weekend's folder and in its recordings.
    """
    text = typed.strip().strip("'\"")
    if not text:
        return "type the path of a sound file"
    try:
        path = Path(text).expanduser()
    except RuntimeError:
        return f"there is no home folder for {text}"
    for place in (Path(), folder, folder / RECORDINGS):
        candidate = place / path
        try:
            if candidate.is_file():
                return candidate
            if candidate.is_dir():
                return f"{candidate} is a folder; name the file in it"
        except OSError as error:
            return f"{text[:60]} cannot be used: {error.strerror or error}"
    return f"there is no file {text}"
