"""Shims: the tin, the play without any, and the stacks that bring both places nearest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from pitwright.desk.stock.fitting import shim_fit
from pitwright.desk.stock.shim_play import HotPlay, Measured, hot_play, measured_play, stack_at
from pitwright.desk.stock.stock import ShimCount, microns, shims_now
from pitwright.desk.wording import mm
from pitwright.mechanics import shims
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.shims import Place, Stacks
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure
from pitwright.weekend.places import ShimPlace
from pitwright.weekend.records import Fit
from pitwright.weekend.weekend import Weekend

__all__ = ["HotPlay", "Measured", "ShimDesk", "StackAdvice", "fit_records", "shim_desk"]

_KEEP = 5
_QUANTITY = "end_play"


@dataclass(frozen=True)
class StackAdvice:
    """One answer: shims for both places [mm], what they give, and how sure that is.

    ``put_in`` and ``take_out`` say what changes against the shims fitted now, by place;
    ``chance`` is the chance that the end play measures in its band afterwards.
    """

    height_shims_mm: tuple[float, ...]
    end_play_shims_mm: tuple[float, ...]
    end_play_mm: float
    height_mm: float
    both_in_band: bool
    chance: float
    u_end_play_mm: float
    hot_mm: float | None
    as_fitted: bool
    put_in: Mapping[ShimPlace, tuple[float, ...]]
    take_out: Mapping[ShimPlace, tuple[float, ...]]

    @property
    def binds_hot(self) -> bool:
        """Whether heat takes all the play it leaves."""
        return self.hot_mm is not None and self.hot_mm <= 0

    @property
    def count(self) -> int:
        """How many shims it takes."""
        return len(self.height_shims_mm) + len(self.end_play_shims_mm)


@dataclass(frozen=True)
class ShimDesk:
    """The tin, the measured play and the best stacks; ``unknown`` says what is missing for them.

    ``out_of_reach`` says that no stack from the tin brings both places into their bands, what the
    nearest leaves, and whether that binds hot; empty when one does.
    """

    clutch: str
    tin: tuple[ShimCount, ...]
    height_shims_mm: tuple[float, ...] | None
    end_play_shims_mm: tuple[float, ...] | None
    end_play_band_mm: tuple[float, float, float]
    height_band_mm: tuple[float, float, float]
    measured: Measured | None
    hot: HotPlay | None
    stacks: tuple[StackAdvice, ...]
    unknown: str = ""
    out_of_reach: str = ""
    notes: tuple[str, ...] = ()


def shim_desk(
    weekend: Weekend,
    *,
    clutch: str | None = None,
    measured_mm: float | None = None,
    keep: int = _KEEP,
) -> ShimDesk:
    """Return the shims; ``measured_mm`` stands in for the measured play, on the shims in now.

    Shims fitted now may be moved, so they count as being in the tin.
    """
    card = weekend.card(clutch)
    state = weekend.state(None, clutch)
    tin = shims_now(weekend)
    height_now, play_now = stack_at(state, "height shims"), stack_at(state, "end play shims")
    notes = [
        f"{t.mm:.2f} mm: {t.missing} more fitted than the tin ever had; count it"
        for t in tin
        if t.missing
    ]
    for place, stack in (("height", height_now), ("end play", play_now)):
        if stack is None:
            notes.append(f"no {place} shims recorded yet: taken as none")
    measured, doubts = measured_play(weekend, card, state, measured_mm)
    notes += doubts
    desk = ShimDesk(
        card.id,
        tin,
        height_now,
        play_now,
        _band(card.shims.end_play_low, card.shims.end_play_target, card.shims.end_play_high),
        _band(card.shims.height_low, card.shims.height_target, card.shims.height_high),
        measured,
        None if measured is None else hot_play(card, measured.expected_now_mm),
        (),
        notes=tuple(notes),
    )
    if measured is None:
        return replace(desk, unknown="measure the bell's end play first")
    try:
        stacks = _stacks(card, desk, measured, keep)
    except RangeError as error:
        return replace(desk, unknown=f"the card's shims: {error.argument} {error.reason}")
    if not stacks:
        return replace(desk, unknown="no stack from this tin leaves any play")
    return replace(desk, stacks=stacks, out_of_reach=_out_of_reach(desk, stacks))


def _out_of_reach(desk: ShimDesk, stacks: tuple[StackAdvice, ...]) -> str:
    if any(stack.both_in_band for stack in stacks):
        return ""
    best = stacks[0]
    low, _target, high = desk.end_play_band_mm
    if low <= best.end_play_mm <= high:
        return "no stack from this tin brings the height into its band as well"
    said = (
        f"no stack from this tin brings the end play into {low:.2f} to {high:.2f}: "
        f"the nearest leaves {mm(best.end_play_mm)}"
    )
    return f"{said} and binds hot. Do not run it so" if best.binds_hot else said


def _band(low: Figure, target: Figure, high: Figure) -> tuple[float, float, float]:
    return (low.value, target.value, high.value)


def _coefficient(card: ClutchCard) -> int:
    """Return how height shims change the end play; raises RangeError unless -1, 0 or 1."""
    value = card.shims.end_play_per_height_shim.value
    if value not in (-1, 0, 1):
        raise RangeError("end_play_per_height_shim", value, "must be -1, 0 or 1")
    return round(value)


def _stacks(
    card: ClutchCard, desk: ShimDesk, measured: Measured, keep: int
) -> tuple[StackAdvice, ...]:
    coefficient = _coefficient(card)
    low, target, high = (microns(v) for v in desk.end_play_band_mm)
    tall_low, tall_target, tall_high = (microns(v) for v in desk.height_band_mm)
    play = Place(microns(measured.bare_mm), low, target, high)
    height = Place(0, tall_low, tall_target, tall_high)
    height_now, play_now = _counts(desk.height_shims_mm), _counts(desk.end_play_shims_mm)
    tin = shims.counted_back({t.micrometres: t.in_tin for t in desk.tin}, height_now, play_now)
    found = shims.best_stacks(tin, play, height, coefficient, keep)
    figure = card.shims.shim_uncertainty
    u_shim = 0.0 if figure is None else figure.value * 1000
    was_height, was_play = (
        _counts(measured.height_shims_mm),
        _counts(measured.end_play_shims_mm),
    )
    answers = []
    for stack in found:
        stack = _least_moved(stack, tin, height_now, play_now)
        # A shim that was in when the play was measured has its error in that reading already.
        moved = _differ(was_play, stack.end_play_shims)
        if coefficient:
            moved += _differ(was_height, stack.height_shims)
        outlook = shims.expected(play, stack.end_play, measured.u_mm * 1000, moved, u_shim)
        answers.append(_advice(card, stack, outlook, height_now, play_now))
    return tuple(answers)


def _least_moved(
    stack: Stacks, tin: Mapping[int, int], height_now: Counter[int], play_now: Counter[int]
) -> Stacks:
    """Leave a place as it is where its shims now add up to the same, if the tin allows.

    Fewer shims that give the same are not worth taking the bell off for.
    """
    height, play = Counter(stack.height_shims), Counter(stack.end_play_shims)
    if _sum(height) == _sum(height_now) and not height_now + play - Counter(tin):
        height = height_now
    if _sum(play) == _sum(play_now) and not height + play_now - Counter(tin):
        play = play_now
    return replace(stack, height_shims=height, end_play_shims=play)


def _advice(
    card: ClutchCard,
    stack: Stacks,
    outlook: shims.Expected,
    height_now: Mapping[int, int],
    play_now: Mapping[int, int],
) -> StackAdvice:
    height, play = Counter(stack.height_shims), Counter(stack.end_play_shims)
    hot = hot_play(card, stack.end_play / 1000)
    return StackAdvice(
        height_shims_mm=_listed(height),
        end_play_shims_mm=_listed(play),
        end_play_mm=stack.end_play / 1000,
        height_mm=stack.height / 1000,
        both_in_band=stack.both_in_band,
        chance=outlook.chance_in_band,
        u_end_play_mm=outlook.u / 1000,
        hot_mm=None if hot is None else hot.hot_mm,
        as_fitted=height == Counter(height_now) and play == Counter(play_now),
        put_in={
            "height shims": _listed(height - Counter(height_now)),
            "end play shims": _listed(play - Counter(play_now)),
        },
        take_out={
            "height shims": _listed(Counter(height_now) - height),
            "end play shims": _listed(Counter(play_now) - play),
        },
    )


def _counts(stack_mm: tuple[float, ...] | None) -> Counter[int]:
    return Counter(microns(s) for s in stack_mm or ())


def _sum(stack: Mapping[int, int]) -> int:
    return sum(thickness * count for thickness, count in stack.items())


def _listed(stack: Mapping[int, int]) -> tuple[float, ...]:
    counted = Counter(stack)
    return tuple(t / 1000 for t in sorted(counted.elements(), reverse=True))


def _differ(before: Mapping[int, int], after: Mapping[int, int]) -> int:
    a, b = Counter(before), Counter(after)
    return (a - b).total() + (b - a).total()


def fit_records(
    weekend: Weekend, stack: StackAdvice, *, now: datetime, clutch: str | None = None
) -> tuple[Fit, ...]:
    """Return the records of a stack fitted: one for each place where the shims differ."""
    card = weekend.card(clutch)
    state = weekend.state(None, clutch)
    places: tuple[tuple[ShimPlace, tuple[float, ...]], ...] = (
        ("height shims", stack.height_shims_mm),
        ("end play shims", stack.end_play_shims_mm),
    )
    records = []
    for place, shims_mm in places:
        there = stack_at(state, place)
        if there is None or _counts(there) != _counts(shims_mm):
            records.append(shim_fit(place, shims_mm, clutch=card.id, now=now))
    return tuple(records)
