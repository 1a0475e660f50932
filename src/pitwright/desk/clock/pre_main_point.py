"""One point of the list before a main."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitwright.desk.wording import running_words

__all__ = ["PointWord", "PreMainPoint", "since_words"]

PointWord = Literal["good", "too close to call", "out", "no record"]


@dataclass(frozen=True)
class PreMainPoint:
    """One point: ``word`` where it stands, ``found`` what is on record, ``age`` of that in words.

    ``why`` says what keeps it from being good and ``todo`` what to do about it; both are empty
    when it is good. ``record`` is the record it rests on; ``note`` is what else to know.
    """

    key: str
    label: str
    word: PointWord
    found: str = ""
    age: str = ""
    why: str = ""
    todo: str = ""
    record: str = ""
    note: str = ""

    @property
    def trouble(self) -> str:
        """What keeps it from being good and what to do, in a line; empty when it is good."""
        why = f"{self.why[:1].upper()}{self.why[1:]}"
        return ". ".join(x for x in (why, self.todo) if x)

    @property
    def under(self) -> tuple[str, ...]:
        """What stands under the point, a line each: what to do, and what else to know."""
        return tuple(x for x in (self.trouble, self.note) if x)

    @property
    def told(self) -> str:
        """What is on record and how old it is, in a line."""
        return ", ".join(x for x in (self.found, self.age) if x)


def since_words(minutes: float, unknown_runs: int) -> str:
    """Return how much something was run since it was read: ``run 7 min since``."""
    if not minutes and not unknown_runs:
        return "not run since"
    words = running_words(minutes, unknown_runs)
    return f"run {words} since" if minutes else f"{words} since"
