"""The rows of the timeline: a day, a heat with the clutch it started on."""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from pitwright.desk.heats.happenings import Happening
from pitwright.desk.wording import part_label
from pitwright.inference.laps import set_aside
from pitwright.weekend.event import HeatKind
from pitwright.weekend.places import PartPlace
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import Weekend

__all__ = [
    "FEWEST_LAPS",
    "Day",
    "Flag",
    "HeatLine",
    "HeatStatus",
    "LapFigures",
    "Start",
    "best_of",
    "flags_of",
    "is_rerun",
    "lap_figures",
    "lap_words",
    "start_of",
]

HeatStatus = Literal["run", "stopped early", "cancelled", "planned", "not noted", "running"]


@dataclass(frozen=True)
class LapFigures:
    """Laps of a heat in a glance [s]; ``best`` and ``median`` of the laps that count."""

    count: int
    best: float | None = None
    median: float | None = None


@dataclass(frozen=True)
class Flag:
    """A figure in force at the start of a heat that was not good, and its verdict word."""

    word: str
    quantity: str
    label: str
    value_mm: float


@dataclass(frozen=True)
class Start:
    """The clutch a heat started on. Lengths in millimetres, None where nobody knew.

    ``doubtful`` names the quantities overtaken by a part fitted after they were read.
    """

    clutch: str
    spring: str | None = None
    spring_label: str = ""
    free_length_mm: float | None = None
    recess_mm: float | None = None
    shoes: str | None = None
    shoes_label: str = ""
    shoe_thickness_mm: float | None = None
    end_play_mm: float | None = None
    height_shims_mm: tuple[float, ...] | None = None
    end_play_shims_mm: tuple[float, ...] | None = None
    doubtful: tuple[str, ...] = ()


@dataclass(frozen=True)
class Day:
    """A day's heading."""

    key: str
    date: date
    heats_run: int
    run_minutes: float
    unknown_runs: int


@dataclass(frozen=True)
class HeatLine:
    """A heat: run, called off, running, or still on the schedule.

    ``record`` is empty for a heat that has none yet. ``run_minutes`` None is unknown, never zero.
    ``changes`` is what happened since the heat before; ``flags`` what was out or too close to
    call at the start, ``word`` the worst verdict of it (empty when nothing was judged).
    """

    key: str
    record: str
    heat: str
    kind: HeatKind
    round: int | None
    at: datetime
    status: HeatStatus
    clutch: str = "A"
    rerun: bool = False
    start: Start | None = None
    changes: tuple[Happening, ...] = ()
    flags: tuple[Flag, ...] = ()
    word: str = ""
    laps: LapFigures = LapFigures(0)
    run_minutes: float | None = None
    warm_up_minutes: float | None = None
    planned_minutes: float | None = None
    moved_minutes: float = 0.0
    ratings: tuple[int | None, int | None, int | None] = (None, None, None)
    trouble: str = ""
    result: str = ""
    note: str = ""
    corrected: str = ""
    best: bool = False


FEWEST_LAPS = 5
"""With fewer laps than this a median says too little to call a heat the best."""


def best_of(lines: Iterable[HeatLine]) -> HeatLine | None:
    """Return the heat with the quickest median lap, None when none has enough laps."""
    timed = [x for x in lines if x.laps.median is not None and x.laps.count >= FEWEST_LAPS]
    return min(timed, key=lambda line: line.laps.median or 0.0, default=None)


def lap_figures(laps: Sequence[float]) -> LapFigures:
    """Return how many laps, the best and the median of those the pace rule does not set aside."""
    if not laps:
        return LapFigures(0)
    aside = {mark.lap for mark in set_aside(laps)}
    kept = [lap for number, lap in enumerate(laps, 1) if number not in aside]
    if not kept:
        return LapFigures(len(laps))
    return LapFigures(len(laps), min(kept), round(statistics.median(kept), 6))


def lap_words(seconds: float | None) -> str:
    """Return a lap time: ``17.93``, ``1:02.31``, nothing when there is none.

    The last bits of a float are dropped first, so that a half is rounded one way everywhere.
    """
    if seconds is None:
        return ""
    hundredths = round(float(f"{round(seconds, 6):.2f}") * 100)
    if hundredths < 6000:
        return f"{hundredths / 100:.2f}"
    return f"{hundredths // 6000}:{hundredths % 6000 / 100:05.2f}"


def is_rerun(name: str) -> bool:
    """Tell whether a heat's name says that it is a rerun."""
    return re.search(r" rerun( \d+)?$", name) is not None


def start_of(weekend: Weekend, state: State) -> Start:
    """Return the clutch state a heat starts on, in the figures a line has room for."""
    spring, shoes = state.spring, state.shoes
    keys = ("free_length", "recess", "shoe_thickness", "end_play")
    figures = {key: state.figure(key) for key in keys}
    height, play = state.shims.get("height shims"), state.shims.get("end play shims")
    return Start(
        clutch=state.clutch,
        spring=spring.part if spring is not None else None,
        spring_label=part_label(spring.label, spring.part) if spring is not None else "",
        free_length_mm=_of_part(state, "spring", "free_length"),
        recess_mm=_value(figures["recess"]),
        shoes=shoes.part if shoes is not None else None,
        shoes_label=part_label(shoes.label, shoes.part) if shoes is not None else "",
        shoe_thickness_mm=_of_part(state, "shoes", "shoe_thickness"),
        end_play_mm=_value(figures["end_play"]),
        height_shims_mm=height.shims_mm if height is not None else None,
        end_play_shims_mm=play.shims_mm if play is not None else None,
        doubtful=tuple(k for k, f in figures.items() if f is not None and f.overtaken),
    )


def _value(figure: FigureInForce | None) -> float | None:
    if figure is None or figure.bound is not None:
        return None
    return round(figure.value_mm, 6)


def _of_part(state: State, place: PartPlace, quantity: str) -> float | None:
    part = state.fitted(place)
    # Without a part noted, a reading still belongs to whatever was on the clutch.
    if part is None:
        return _value(state.figures.get(quantity))
    return _value(part.figures.get(quantity))


def flags_of(weekend: Weekend, state: State) -> tuple[tuple[Flag, ...], str]:
    """Return what was not good among the figures in force, and the worst word of all judged."""
    card = weekend.card(state.clutch)
    flags: list[Flag] = []
    judged = False
    for key, quantity in card.quantities.items():
        figure = state.told(key)
        if figure is None or figure.reading is None or figure.overtaken:
            continue
        word = figure.reading.verdict
        judged = judged or word is not None
        if word in ("out", "too close to call"):
            flags.append(Flag(word, key, quantity.label, round(figure.value_mm, 6)))
    flags.sort(key=lambda flag: flag.word != "out")
    return tuple(flags), flags[0].word if flags else "good" if judged else ""
