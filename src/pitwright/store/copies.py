"""Files that tools which keep folders alike put beside a file: named, and never read in its place.

Two laptops that share a folder through such a tool, or a hand that copies and pastes, leave
``X (conflicted copy).toml``, ``X 2.toml``, ``X - Copy.toml``, ``X.sync-conflict-....toml`` and the
like beside ``X.toml``. The shapes are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Collection

from pitwright.weekend.problems import Problem

__all__ = ["copy_of", "copy_problem"]

_AHEAD = re.compile(r"^(?:copy|copie|kopie|copia) (?:of|de|von|di|van) ", re.IGNORECASE)
_BEHIND = re.compile(
    r"(?P<of>.+?)"
    r"(?: ?\([^()]*\)| - [^()]{1,40}| copy| \d{1,3}|[ ._-]+(?:sync-?)?conflict.*)",
    re.IGNORECASE,
)


def copy_of(stem: str, known: Collection[str]) -> str | None:
    """Return which of ``known`` a file of this name (without its ending) was copied from, if any.

    >>> copy_of("clutch (Ana's conflicted copy 2026-05-16)", {"clutch", "stock"})
    'clutch'
    >>> copy_of("Q1 - Copy (2)", {"Q1"}), copy_of("Q1.sync-conflict-20260516-101500-AB3", {"Q1"})
    ('Q1', 'Q1')
    >>> copy_of("Q1", {"Q1"}) is copy_of("Q12", {"Q1"}) is None
    True
    """
    at = _AHEAD.sub("", stem)
    while at not in known:
        match = _BEHIND.fullmatch(at)
        if match is None:
            return None
        at = match["of"]
    return at if at != stem else None


def copy_problem(file: str, original: str) -> Problem:
    """Return what to say of a copy that lies beside ``original`` and is not read."""
    return Problem(
        file,
        "",
        f"looks like a copy of {original} and is not used",
        "compare the two; keep what is right under the name without the addition",
        "warning",
    )
