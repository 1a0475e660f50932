"""The end play as measured, without any shims, with those in now, and hot."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from pitwright.desk.clutch.readings import reading_u
from pitwright.mechanics import thermal
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import ShimPlace
from pitwright.weekend.records import Fit
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import Weekend

__all__ = ["HotPlay", "Measured", "hot_play", "measured_play", "stack_at"]

_QUANTITY = "end_play"


@dataclass(frozen=True)
class Measured:
    """The measured end play with the stacks that were in when it was measured [mm].

    ``bare_mm`` is the play without any shims. ``expected_now_mm`` is the play with the shims
    fitted now, which differ when shims were changed since. ``doubt`` says what else was changed.
    """

    value_mm: float
    u_mm: float
    record: str
    at: datetime
    height_shims_mm: tuple[float, ...]
    end_play_shims_mm: tuple[float, ...]
    bare_mm: float
    expected_now_mm: float
    run_minutes: float = 0.0
    doubt: str = ""


@dataclass(frozen=True)
class HotPlay:
    """End play hot [mm]: cold, what heat takes, and what is left."""

    cold_mm: float
    loss_mm: float
    hot_mm: float


def stack_at(state: State, place: ShimPlace) -> tuple[float, ...] | None:
    """Return the stack at a place, None when nobody recorded one."""
    found = state.shims.get(place)
    return None if found is None else found.shims_mm


def measured_play(
    weekend: Weekend, card: ClutchCard, state: State, given_mm: float | None
) -> tuple[Measured | None, list[str]]:
    """Return the play, None when none was measured, and what is doubtful about it.

    ``given_mm`` stands in for the reading, on the shims that are in now.
    """
    figure = state.figure(_QUANTITY)
    height_now, play_now = (
        stack_at(state, "height shims") or (),
        stack_at(state, "end play shims") or (),
    )
    per_height = card.shims.end_play_per_height_shim.value
    if given_mm is not None:
        figure = FigureInForce(
            _QUANTITY, given_mm, "", state.moment or datetime.min.replace(tzinfo=UTC)
        )
        height_then, play_then, doubt = height_now, play_now, ""
    elif figure is None:
        return None, []
    else:
        height_then, play_then, doubt = _as_measured(weekend, card, figure)
    bare = figure.value_mm + sum(play_then) - per_height * sum(height_then)
    notes = []
    if doubt:
        notes.append(f"{doubt} since the end play was measured: measure it again")
    elif figure.run_minutes or figure.unknown_runs:
        notes.append("the clutch has run since the end play was measured: dirt and wear move it")
    return Measured(
        figure.value_mm,
        figure.u_mm if figure.u_mm else reading_u(card, _QUANTITY) * 1000,
        figure.record,
        figure.at,
        height_then,
        play_then,
        bare,
        bare - sum(play_now) + per_height * sum(height_now),
        figure.run_minutes,
        doubt,
    ), notes


def _as_measured(
    weekend: Weekend, card: ClutchCard, figure: FigureInForce
) -> tuple[tuple[float, ...], tuple[float, ...], str]:
    """Return both stacks as they were when the play was measured, and what was fitted since."""
    height: tuple[float, ...] = ()
    play: tuple[float, ...] = ()
    seen = False
    fitted: list[str] = []
    for record, before, _after in weekend.walk(card):
        if record.id == figure.record:
            seen = True
            height = stack_at(before, "height shims") or ()
            play = stack_at(before, "end play shims") or ()
        elif seen and isinstance(record, Fit) and record.place in ("bell", "bearings"):
            name = "a bell was" if record.place == "bell" else "bearings were"
            fitted.append(f"{name} fitted")
    return height, play, " and ".join(dict.fromkeys(fitted))


def hot_play(card: ClutchCard, cold_mm: float) -> HotPlay | None:
    """Return the play hot; None when the card lists no parts that grow, or not sensibly."""
    if not card.shims.hot:
        return None
    parts = [
        thermal.Part(p.length.si, p.expansion.si, p.rise.value, p.opens) for p in card.shims.hot
    ]
    try:
        hot = thermal.hot_end_play(cold_mm / 1000, parts) * 1000
    except RangeError:
        return None
    return HotPlay(cold_mm, cold_mm - hot, hot)
