"""What is known of the life left in one part, ready to be shown, printed or drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitwright.desk.wear.forecast_words import (
    WearCells,
    cells_of,
    sentences_of,
    short_of,
    table_lines,
)
from pitwright.desk.wear.history import Standing, WearPoint
from pitwright.desk.wear.limits import WearLimit
from pitwright.weekend.places import PartPlace

__all__ = ["CurvePoint", "HeatChance", "Pace", "PartForecast", "Span", "Trend", "WearCells"]

Trend = Literal["", "faster lately", "slower lately"]


@dataclass(frozen=True)
class Span:
    """A middle and the range that holds nine times in ten; None is longer than anyone waits."""

    middle: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class CurvePoint:
    """The middle of what may be and its band [mm] after ``minutes`` of running."""

    minutes: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class HeatChance:
    """A heat to come: the part's running at its end, and the chance that it is good for the heat:
    above its limits at the end, or at the start for those that count on the bench."""

    heat: str
    end_minutes: float
    chance: float


@dataclass(frozen=True)
class Pace:
    """How much of it [mm] a heat of so many minutes takes from now on, and how that has changed."""

    heat_minutes: float
    wear: Span
    trend: Trend


@dataclass(frozen=True)
class PartForecast:
    """What is known of the life left in one part; lengths in millimetres, running in minutes.

    Minutes count from new, or from the end of the heat ``since`` when an earlier run was not
    timed. ``unknown`` says why there is no forecast, empty when there is one; ``more_checks``
    after how many more readings there may be. ``limit`` is the one that governs of ``limits``.
    ``pace`` is what a heat takes; ``minutes_left`` until the limit; ``chance`` that it is good
    for ``goal`` (the last main to come, else the last heat), ``goal_minutes`` the part's running
    at its end; ``heats`` the same for every heat to come; ``change_before`` the
    latest heat before which to change it to keep every heat nine-in-ten sure. ``kind_count``
    earlier parts of the kind spoke, and gave ``kind_weight`` of what is known of its wear.
    ``curve`` is the middle of what may come, with its band.
    """

    part: str
    label: str
    place: PartPlace
    quantity: str
    decimals: int
    standing: Standing
    age_minutes: float
    points: tuple[WearPoint, ...]
    since: str = ""
    limit: WearLimit | None = None
    limits: tuple[WearLimit, ...] = ()
    unknown: str = ""
    more_checks: int = 0
    pace: Pace | None = None
    kind: str = ""
    kind_count: int = 0
    kind_weight: float = 0.0
    run_in_drop: float | None = None
    minutes_left: Span | None = None
    goal: str = ""
    goal_is_main: bool = False
    goal_minutes: float | None = None
    chance: float | None = None
    heats: tuple[HeatChance, ...] = ()
    change_before: str | None = None
    curve: tuple[CurvePoint, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """What it means, in sentences for the bench."""
        return sentences_of(self)

    @property
    def cells(self) -> WearCells:
        """The cells of its row in the list of what wears."""
        return cells_of(self)

    @property
    def table(self) -> tuple[str, ...]:
        """The figures behind the sentences as aligned lines."""
        return table_lines(self)

    @property
    def short(self) -> str:
        """What it means, in a line beside the reading."""
        return short_of(self)
