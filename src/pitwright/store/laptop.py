"""What this laptop is called in all it writes: distinct from every other by construction.

The name is short letters of the host's name, for people, and a random tail, which tells two
laptops apart whatever their hosts are called. It is kept among the user's own files, one for each
host, since a home folder may be copied to another laptop or shared by two. Of the host's name only
what stands before the first dot counts: the rest is the network's, another one at each place.
"""

from __future__ import annotations

import contextlib
import os
import re
import socket
import unicodedata
from hashlib import sha256
from pathlib import Path
from typing import Final

from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.weekend.problems import Problem

__all__ = ["TAIL_SIGNS", "adopt_open_work", "host_name", "laptop_name", "short_part"]

TAIL_SIGNS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
"""What random tails are made of: no sign that is read as another."""

_TAIL: Final = 4
# No dash: a record's id has its parts between dashes.
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9_]{0,39}")
# Where no name could be kept by this process: the one it gave instead is kept when it can be.
_gave_fixed: set[Path] = set()
# Every write asks, each draft among them: the file is read once.
_read: dict[Path, str] = {}


def laptop_name(place: Path | None = None) -> str:
    """Return this laptop's name, such as ``tent1_k3fx``; the first call makes it up and keeps it.

    ``place`` is where names are kept, the user's own folder unless given. Where nothing can be
    kept the tail comes from the host's name instead, so that the name is the same again tomorrow.
    Two laptops could then only share it when their hosts have one name.
    """
    host = _host()
    # Hosts of one beginning, or of other letters than ours, have files of their own.
    path = (place or _of_this_user()) / f"{_short(host)}-{_digest(host).hex()[:10]}.toml"
    kept = _kept(path)
    if kept is not None:
        return kept
    fixed = _fixed(host)
    _keep(path, fixed if path in _gave_fixed else f"{_short(host)}_{_tail(os.urandom(_TAIL))}")
    # Another process may make it up at the same moment: what stands there counts.
    kept = _kept(path)
    if kept is None:
        _gave_fixed.add(path)
    return kept or fixed


def adopt_open_work(folder: Path, laptop: str) -> None:
    """Let work in progress that this laptop left under another name stand under ``laptop``.

    An earlier pitwright went by letters of the host's name alone; and there is the name for a day
    when none can be kept. Raises OSError when the disk will not have it.
    """
    new = folder / "open" / laptop
    for name in (_fixed(_host()), host_name()):
        old = folder / "open" / name
        if old != new and old.is_dir() and not old.is_symlink() and not new.exists():
            old.rename(new)


def host_name() -> str:
    """Return letters and digits of the host's name, as an earlier pitwright called a laptop."""
    name = re.sub(r"[^a-z0-9]", "", socket.gethostname().split(".")[0].lower())[:12]
    return name or "laptop"


def short_part(laptop: str) -> str:
    """Return what of a laptop's name comes from its host.

    >>> short_part("tent1_k3fx"), short_part("tent1")
    ('tent1', 'tent1')
    """
    return laptop.partition("_")[0]


def _host() -> str:
    return socket.gethostname().split(".")[0].casefold()


def _of_this_user() -> Path:
    from platformdirs import user_state_path

    return user_state_path("pitwright", appauthor=False) / "laptops"


def _short(host: str) -> str:
    return re.sub(r"[^a-z0-9]", "", unicodedata.normalize("NFKD", host))[:12] or "laptop"


def _fixed(host: str) -> str:
    return f"{_short(host)}_{_tail(_digest(host))}"


def _digest(host: str) -> bytes:
    return sha256(host.encode(errors="surrogateescape")).digest()


def _tail(random: bytes) -> str:
    return "".join(TAIL_SIGNS[byte % len(TAIL_SIGNS)] for byte in random[:_TAIL])


def _kept(path: Path) -> str | None:
    if path in _read:
        return _read[path]
    text = read_text(path, path.name)
    table = parse_toml(text, path.name) if isinstance(text, str) else text
    name = None if isinstance(table, Problem) else table.get("name")
    if isinstance(name, str) and _NAME.fullmatch(name):
        return _read.setdefault(path, name)
    return None


def _keep(path: Path, name: str) -> None:
    """Keep a name where none is kept, whole or not at all; whether it could be, nobody is told.

    Temporary files carry the laptop's name, so this one cannot be written as all others are.
    """
    text = f'# What this laptop is called in the records it writes.\nname = "{name}"\n'
    half = path.with_name(f".{os.getpid()}-{os.urandom(4).hex()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with half.open("xb") as file:
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(half, path)
        except OSError:
            if not os.path.lexists(path):  # a disk without hard links
                half.replace(path)
    except OSError:
        return
    finally:
        with contextlib.suppress(OSError):
            half.unlink()
