"""What was put right by hand in a recording and is not kept yet, as text that outlives the app."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import isfinite
from typing import TYPE_CHECKING

from pitwright.desk.ear.ear import Take, take_ups

if TYPE_CHECKING:
    from pydantic import TypeAdapter

    from pitwright.desk.ear.bench import EarBench

__all__ = ["brought_back", "left_by_hand", "names_left"]


def left_by_hand(bench: EarBench, before: Mapping[str, str]) -> dict[str, str]:
    """Return the takes put right by hand, those of other recordings left as they were ``before``.

    A text for each take, by its recording and its name; none of a recording of which nothing waits
    to be kept any more.
    """
    heard = {take.name for take in take_ups(bench.hearing)}
    touched = [t for t in bench.takes if t.by_hand or t.discarded or t.name not in heard]
    kept = any(t.kept for t in bench.takes) and all(t.kept or t.discarded for t in touched)
    own = {} if kept else {_key(bench, t.name): _as_text().dump_json(t).decode() for t in touched}
    others = {key: text for key, text in before.items() if not key.startswith(_key(bench))}
    return others | own


def brought_back(bench: EarBench, left: Mapping[str, str]) -> EarBench:
    """Return the bench of a recording heard again with what was left by hand in it."""
    for key, text in left.items():
        take = _take(text) if key.startswith(_key(bench)) else None
        if take is not None:
            bench = bench.put(take)
    return bench


def names_left(file: str, left: Mapping[str, str]) -> list[str]:
    """Return the names of the takes left by hand in a recording."""
    return [key.rpartition(": ")[2] for key in left if key.startswith(f"{file}, ")]


def _key(bench: EarBench, take: str = "") -> str:
    # Another recording may have come under the same name since.
    return f"{bench.file}, {bench.hearing.duration_s:.2f} s: {take}"


def _take(text: str) -> Take | None:
    """Return the take of a text, None for one that was spoilt."""
    try:
        take = _as_text().validate_json(text)
    except ValueError:
        return None
    speed = take.speed
    numbers = [take.start_s, take.end_s]
    if speed is not None:
        numbers += [speed.rpm, speed.u_rpm, speed.start_s, speed.end_s, speed.confidence]
    return take if take.count == 1 and all(map(isfinite, numbers)) else None


@cache
def _as_text() -> TypeAdapter[Take]:
    from pydantic import TypeAdapter

    from pitwright.sound.takeup import Speed

    # What a take is made of is looked up where this is called from.
    assert Speed is not None
    return TypeAdapter(Take)
