"""The clutch's condition at a moment: every figure with its source and its age."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from pitwright.desk.sizes import size_words
from pitwright.desk.wording import day_time, mm, part_label, running_words
from pitwright.weekend.records import BoundSide
from pitwright.weekend.state import FigureInForce, PartState, State
from pitwright.weekend.weekend import Weekend

__all__ = [
    "Condition",
    "KnownFigure",
    "KnownPart",
    "KnownShims",
    "condition",
    "condition_lines",
    "disagreements",
]


@dataclass(frozen=True)
class KnownFigure:
    """A figure in force: value [mm] (``bound``: at least or at most that), source and age."""

    quantity: str
    label: str
    value_mm: float
    u_mm: float | None
    verdict: str | None
    record: str
    at: datetime
    run_minutes_since: float
    unknown_runs_since: int
    overtaken: bool
    bound: BoundSide | None = None


@dataclass(frozen=True)
class KnownPart:
    """A fitted part with its age in minutes of running."""

    place: str
    part: str
    label: str
    run_minutes: float
    unknown_runs: int
    heats: int
    record: str | None


@dataclass(frozen=True)
class KnownShims:
    """The shims at one place [mm]."""

    place: str
    shims_mm: tuple[float, ...]
    total_mm: float
    record: str


@dataclass(frozen=True)
class Condition:
    """One clutch at one moment, ready to be shown or printed.

    ``disagrees`` says what was measured and does not fit the rest.
    """

    clutch: str
    name: str
    moment: datetime | None
    parts: tuple[KnownPart, ...]
    figures: tuple[KnownFigure, ...]
    shims: tuple[KnownShims, ...]
    build: str | None
    build_route: str | None
    build_finished_at: datetime | None
    run_minutes: float
    unknown_runs: int
    disagrees: tuple[str, ...] = ()


def condition(
    weekend: Weekend, moment: datetime | None = None, clutch: str | None = None
) -> Condition:
    """Return the condition of a clutch at ``moment`` (now: the end of the log, when None).

    Raises KeyError when there is no such clutch.
    """
    card = weekend.card(clutch)
    state = weekend.state(moment, clutch)
    figures = [
        _figure(figure, card.quantities[key].label)
        for key in card.quantities
        if (figure := state.told(key)) is not None
    ]
    return Condition(
        clutch=card.id,
        name=card.name,
        moment=state.moment,
        parts=tuple(_part(p) for p in state.parts.values() if p.fitted),
        figures=tuple(figures),
        shims=_shims(state),
        build=state.build.id if state.build is not None else None,
        build_route=state.build.route if state.build is not None else None,
        build_finished_at=state.build.finished_at if state.build is not None else None,
        run_minutes=state.run_minutes,
        unknown_runs=state.unknown_runs,
        disagrees=disagreements(weekend, state),
    )


def disagreements(weekend: Weekend, state: State) -> tuple[str, ...]:
    """Return what was measured and does not fit the rest, in words."""
    if state.told("bell_clearance") is None:
        return ()
    from pitwright.desk.clutch.model import UnknownClutchError, clutch_model
    from pitwright.mechanics.errors import RangeError

    try:
        return clutch_model(weekend, state).disagrees
    except (UnknownClutchError, RangeError):
        return ()


def _figure(figure: FigureInForce, label: str) -> KnownFigure:
    return KnownFigure(
        quantity=figure.quantity,
        label=label,
        value_mm=round(figure.value_mm, 6),
        u_mm=figure.u_mm,
        verdict=figure.reading.verdict if figure.reading is not None else None,
        record=figure.record,
        at=figure.at,
        run_minutes_since=figure.run_minutes,
        unknown_runs_since=figure.unknown_runs,
        overtaken=figure.overtaken,
        bound=figure.bound,
    )


def _part(part: PartState) -> KnownPart:
    return KnownPart(
        place=part.place,
        part=part.part,
        label=part_label(part.label, part.part),
        run_minutes=part.run_minutes,
        unknown_runs=part.unknown_runs,
        heats=part.heats,
        record=part.fitted_record,
    )


def _shims(state: State) -> tuple[KnownShims, ...]:
    return tuple(
        KnownShims(s.place, s.shims_mm, s.total_mm, s.record) for s in state.shims.values()
    )


def condition_lines(found: Condition, zone: ZoneInfo) -> list[str]:
    """Return the condition as lines of text."""
    when = day_time(found.moment, zone) if found.moment is not None else "nothing recorded yet"
    lines = [f"{found.name}, {when}"]
    for part in found.parts:
        age = running_words(part.run_minutes, part.unknown_runs)
        lines.append(f"  {part.place.capitalize():<24}{part.label}, {age} of running")
    for figure in found.figures:
        doubt = "  (doubtful: a part was fitted since)" if figure.overtaken else ""
        word = f", {figure.verdict}" if figure.verdict else ""
        since = running_words(figure.run_minutes_since, figure.unknown_runs_since)
        size = size_words(figure.value_mm, figure.bound)
        lines.append(
            f"  {figure.label:<24}{size:>9}{word}, {day_time(figure.at, zone)}, "
            f"{since} since{doubt}"
        )
    for shims in found.shims:
        stack = " + ".join(f"{s:.2f}" for s in shims.shims_mm) or "none"
        lines.append(f"  {shims.place.capitalize():<24}{mm(shims.total_mm):>9} ({stack})")
    lines += [f"  ! {each}" for each in found.disagrees]
    if found.build_route is not None and found.build_finished_at is not None:
        lines.append(
            f"  {'Last build':<24}{found.build_route}, {day_time(found.build_finished_at, zone)}"
        )
    return lines
