"""What is wrong with a weekend's files, in the words of the app."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from pitwright.desk.wording import day_time
from pitwright.weekend.problems import Problem
from pitwright.weekend.records import RECORD_KINDS, AnyRecord

__all__ = ["problem_lines", "problem_words"]

_LOGGED: Final = re.compile(r"log/(?P<at>\d{8}T\d{6})Z-(?P<kind>[a-z-]+)-[^-]+-[^-]+\.toml")
_CALLED: Final = {
    "setting": "nut setting",
    "fit": "fitting",
    "heat": "heat",
    "bite observation": "speed seen",
    "bell temperature": "bell's temperature",
    "schedule": "schedule change",
    "stock": "stock change",
    "carry over": "carry-over",
}


_HEADS: Final = {
    "error": "Left out, so that any figure may be wrong:",
    "question": "Used as it stands, and probably not what was meant:",
    "warning": "Worth knowing:",
}


def problem_lines(problems: Iterable[Problem]) -> list[str]:
    """Return all faults under what each means for the figures: file, key, reason, what to do."""
    found = list(problems)
    lines: list[str] = []
    for weight, head in _HEADS.items():
        told = [str(p) for p in found if p.weight == weight]
        lines += [head, *told] if told else []
    return lines or ["All files could be read, and nothing in them is odd."]


def problem_words(problem: Problem, records: Iterable[AnyRecord], zone: ZoneInfo) -> str:
    """Return a fault as a sentence: of a record, which one it is and what is odd about it.

    A file that is no record of the log is named, with the key in it, as nothing else tells it.
    """
    record = next((r for r in records if problem.file == f"log/{r.id}.toml"), None)
    if record is not None:
        which = f"The {_called(record.kind)} of {day_time(record.happened_at, zone)}"
        return f"{which} {problem.plain or problem.reason}"
    logged = _LOGGED.fullmatch(problem.file)
    kinds = {kind.replace(" ", "-"): kind for kind in RECORD_KINDS}
    if logged is None or logged["kind"] not in kinds:
        return str(problem)
    try:
        at = datetime.strptime(logged["at"], "%Y%m%dT%H%M%S").replace(tzinfo=UTC)
    except ValueError:
        return str(problem)
    return f"The {_called(kinds[logged['kind']])} of {day_time(at, zone)} cannot be read"


def _called(kind: str) -> str:
    return _CALLED.get(kind, kind)
