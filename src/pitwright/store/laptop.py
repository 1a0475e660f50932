"""What this laptop is called in the records it writes: distinct from every other by construction.

The name is short letters of the host's name, for people, and a random tail, which tells two
laptops apart whatever their hosts are called. It is kept among the user's own files, one for each
host's full name, since a home folder may be copied to another laptop or shared by two.
"""

from __future__ import annotations

import re
import socket
import unicodedata
from pathlib import Path
from random import SystemRandom
from typing import Final
from urllib.parse import quote

from pitwright.store.files import StoreError, create_file
from pitwright.store.leftovers import host_name
from pitwright.store.toml_reader import parse_toml, read_text
from pitwright.store.user import UserFiles
from pitwright.weekend.problems import Problem

__all__ = ["TAIL_SIGNS", "adopt_open_work", "laptop_name"]

TAIL_SIGNS: Final = "abcdefghjkmnpqrstuvwxyz23456789"
"""What random tails are made of: no sign that is read as another."""

_TAIL: Final = 4
# No dash: a record's id has its parts between dashes.
_NAME: Final = re.compile(r"[a-z0-9][a-z0-9_]{0,39}")


def laptop_name(user: UserFiles | None = None) -> str:
    """Return this laptop's name, such as ``tent1_k3fx``; the first call makes it up and keeps it.

    Where the user's files cannot be used the tail comes from the host's full name instead, so that
    the name is the same again tomorrow. Two laptops could then only share it when their hosts have
    one full name.
    """
    host = socket.gethostname()
    path = (user or UserFiles.of_this_user()).laptops / f"{quote(host, safe='')[:200]}.toml"
    # Most often it is there. Another process may make it up at the same moment: the first one's
    # stands.
    return _kept(path) or _made_up(path, host) or _kept(path) or f"{_short(host)}_{_fixed(host)}"


def adopt_open_work(folder: Path, laptop: str) -> None:
    """Let work in progress that an earlier pitwright left on this laptop stand under ``laptop``.

    It went by letters of the host's name alone. Raises OSError when the disk will not have it.
    """
    old, new = folder / "open" / host_name(), folder / "open" / laptop
    if old != new and old.is_dir() and not old.is_symlink() and not new.exists():
        old.rename(new)


def _short(host: str) -> str:
    plain = unicodedata.normalize("NFKD", host.split(".")[0].casefold())
    return re.sub(r"[^a-z0-9]", "", plain)[:12] or "laptop"


def _kept(path: Path) -> str | None:
    text = read_text(path, path.name)
    table = parse_toml(text, path.name) if isinstance(text, str) else text
    name = None if isinstance(table, Problem) else table.get("name")
    return name if isinstance(name, str) and _NAME.fullmatch(name) else None


def _made_up(path: Path, host: str) -> str | None:
    name = f"{_short(host)}_{''.join(SystemRandom().choices(TAIL_SIGNS, k=_TAIL))}"
    text = f'# What this laptop is called in the records it writes.\nname = "{name}"\n'
    try:
        create_file(path, text.encode())
    except (FileExistsError, StoreError):
        return None
    return name


def _fixed(host: str) -> str:
    from hashlib import sha256

    digest = sha256(host.encode(errors="surrogateescape")).digest()
    return "".join(TAIL_SIGNS[byte % len(TAIL_SIGNS)] for byte in digest[:_TAIL])
