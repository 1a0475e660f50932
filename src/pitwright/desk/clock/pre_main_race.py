"""The bite over the race as a point of the list before a main."""

from __future__ import annotations

from datetime import datetime

from pitwright.desk.clock.pre_main_point import PointWord, PreMainPoint
from pitwright.desk.race.race import Option, RaceDesk, race_desk
from pitwright.desk.race.words import against_words, turn_words
from pitwright.desk.wording import when_words
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = ["race_point"]

_KEY, _LABEL = "race", "Bite in the race"


def race_point(
    weekend: Weekend, card: ClutchCard, state: State, now: datetime, main: PlannedHeat | None
) -> PreMainPoint:
    """Return whether the clutch as it stands keeps its bite over the main, and what would."""
    if main is None:
        return PreMainPoint(_KEY, _LABEL, "no record", why="no main is planned",
                            todo="Put it on the schedule in weekend.toml")  # fmt: skip
    found = race_desk(weekend, now, main.name, card.id)
    length = state.figure("free_length")
    record = length.record if length is not None else ""
    age = "" if length is None else f"spring read {when_words(length.at, now, weekend.event.zone)}"
    if found.best is None:
        return PreMainPoint(_KEY, _LABEL, "no record", "", age, found.unknown,
                            "Measure spring and shoes after each heat", record)  # fmt: skip
    leave = found.leave
    if leave is None:
        return PreMainPoint(_KEY, _LABEL, "no record", "", age,
                            "no recess was read since the spring was fitted, or nothing is known "
                            "of what is fitted", _todo(found, found.best), record)  # fmt: skip
    told = against_words(found, leave)
    if found.best.leave:
        return PreMainPoint(_KEY, _LABEL, "good", told, age, record=record, note=_beaten(found))
    off = leave.outcome.mean_off_min if leave.outcome is not None else 0.0
    word: PointWord = "out" if leave.crosses or off > found.minutes / 2 else "too close to call"
    return PreMainPoint(_KEY, _LABEL, word, told, age, "another setting keeps it nearer",
                        _todo(found, found.best), record, _beaten(found))  # fmt: skip


def _todo(found: RaceDesk, option: Option) -> str:
    what = turn_words(found, option)
    return f"{what[:1].upper()}{what[1:]}: {against_words(found, option)}"


def _beaten(found: RaceDesk) -> str:
    """Return the best with another spring; leaving it is what the point itself tells."""
    assert found.best is not None
    others = [o for o in found.options[1:] if not o.leave and o.outcome is not None]
    mine = found.best.spring.part
    other = next((o for o in others if o.spring.part != mine), next(iter(others), None))
    if other is None:
        return ""
    what = turn_words(found, other)
    return f"Beats: {what}, {against_words(found, other)}"
