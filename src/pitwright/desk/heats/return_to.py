"""Back to how it was at an earlier heat: the nut, part and shim moves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from pitwright.desk.clutch.nut_thread import NutFit, nut_fit
from pitwright.desk.heats.changes import part_name, turn_words
from pitwright.desk.nut.nut import nut_like
from pitwright.desk.stock.fitting import StandIn, part_age, stand_in
from pitwright.desk.wording import (
    counted,
    day_time,
    minutes_words,
    mm,
    part_label,
)
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.nut_advice import NutLimits, Refusal, advise
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import PART_PLACES, SHIM_PLACES
from pitwright.weekend.state import State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["Move", "ReturnPlan", "plan_lines", "return_to"]

_WEAR = (
    ("spring", "free_length", "shorter", "longer"),
    ("shoes", "shoe_thickness", "thinner", "thicker"),
)
_PAST = {
    Refusal.PAST_MAXIMUM: "deeper than the card allows",
    Refusal.COIL_BIND: "the spring would be solid there",
    Refusal.TOO_SHALLOW: "the nut would stand proud",
}


@dataclass(frozen=True)
class Move:
    """One thing to do; ``possible`` is false when it cannot be done, with the reason in ``text``.

    ``turns`` and ``direction`` belong to a nut move; ``shims_mm`` counts shims to add (positive)
    or take out (negative) by thickness.
    """

    about: str
    text: str
    possible: bool = True
    turns: float | None = None
    direction: Literal["in", "out"] | None = None
    recess_mm: float | None = None
    shims_mm: tuple[tuple[float, int], ...] = ()


@dataclass(frozen=True)
class ReturnPlan:
    """How to get back to the start of a heat.

    ``moves`` in working order; ``alike`` what is the same already; ``unlike`` what no move brings
    back (wear); ``unknown`` what was not noted then or is not known now.
    """

    heat: str
    at: datetime
    moves: tuple[Move, ...]
    alike: tuple[str, ...] = ()
    unlike: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The plan in a sentence."""
        if self.moves:
            count = len(self.moves)
            return f"{counted(count, 'move')} back to how it was at {self.heat}."
        if self.unknown:
            return f"Nothing known differs from {self.heat}, but not everything is known."
        return f"The clutch is set as it was at {self.heat}."


def return_to(weekend: Weekend, heat: str, now: datetime) -> ReturnPlan:
    """Return the moves that bring the clutch back to how it was at the start of ``heat``.

    ``heat`` is its name or its record; "now" is the state at the moment ``now``.
    Raises KeyError when no such heat was run.
    """
    found = _find(weekend, heat)
    card = weekend.card(found.run.clutch)
    then, present = found.state, weekend.state(now, found.run.clutch)
    moves: list[Move] = []
    alike: list[str] = []
    unknown: list[str] = []
    _parts(weekend, now, then, present, moves, alike, unknown)
    for move in _shims(then, present, alike, unknown):
        moves.append(move)
    _nut(card, nut_fit(weekend, card), then, present, moves, alike, unknown)
    return ReturnPlan(
        found.run.heat,
        found.run.happened_at,
        tuple(moves),
        tuple(alike),
        tuple(_worn(weekend, found, present)),
        tuple(unknown),
    )


def _find(weekend: Weekend, heat: str) -> HeatOnClutch:
    for found in weekend.heats:
        if found.run.id == heat:
            return found
    return weekend.heat(heat)


def _in_its_place(instead: StandIn | None, off: str) -> str:
    if instead is None:
        return "none like it is left in stock"
    name = part_label(instead.part.label, instead.part.part)
    doubt = "" if instead.alike else "; see that it is alike"
    if instead.part.fitted:
        return f"{name}, on the clutch now, has to do{doubt}"
    return f"{off}fit {name} in its place, {part_age(instead.part)}{doubt}"


def _parts(
    weekend: Weekend,
    now: datetime,
    then: State,
    present: State,
    moves: list[Move],
    alike: list[str],
    unknown: list[str],
) -> None:
    for place in PART_PLACES:
        wanted, fitted = then.fitted(place), present.fitted(place)
        if wanted is None:
            if fitted is not None:
                unknown.append(f"{place.capitalize()}: which was fitted then was not noted")
            continue
        name = part_name(present, wanted.part)
        if fitted is not None and fitted.part == wanted.part:
            alike.append(f"{place.capitalize()}: {name}")
            continue
        off = f"take off {part_name(present, fitted.part)}, " if fitted is not None else ""
        state = present.parts.get(wanted.part, wanted)
        if state.discarded:
            why = f" ({state.discarded_because})" if state.discarded_because else ""
            instead = stand_in(weekend, place, wanted.part, clutch=then.clutch, now=now)
            stays = instead is None or instead.part.fitted
            text = f"{place.capitalize()}: {name} was discarded{why}; {_in_its_place(instead, off)}"
            moves.append(Move(place, text, possible=not stays))
            continue
        ran = state.run_minutes - wanted.run_minutes
        since = f"; it has run {minutes_words(ran)} since" if ran > 0 else ""
        moves.append(Move(place, f"{place.capitalize()}: {off}fit {name}{since}"))


def _shims(then: State, present: State, alike: list[str], unknown: list[str]) -> Iterator[Move]:
    for place in SHIM_PLACES:
        wanted, fitted = then.shims.get(place), present.shims.get(place)
        label = place.capitalize()
        if wanted is None:
            if fitted is not None:
                unknown.append(f"{label}: the stack of then was not noted")
            continue
        goal = Counter(round(s * 1000) for s in wanted.shims_mm)
        if fitted is None:
            stack = " + ".join(f"{s:.2f}" for s in wanted.shims_mm) or "none"
            yield Move(place, f"{label}: {stack}; what is fitted now was not noted")
            continue
        have = Counter(round(s * 1000) for s in fitted.shims_mm)
        if goal == have:
            alike.append(f"{label}: {mm(wanted.total_mm)}")
            continue
        steps = [
            (size / 1000, goal[size] - have[size])
            for size in sorted({*goal, *have}, reverse=True)
            if goal[size] != have[size]
        ]
        words = [f"{'add' if n > 0 else 'take out'} {abs(n)} x {size:.2f}" for size, n in steps]
        yield Move(
            place,
            f"{label}: {', '.join(words)} ({mm(fitted.total_mm)} → {mm(wanted.total_mm)})",
            shims_mm=tuple(steps),
        )


def _nut(
    card: ClutchCard,
    fit: NutFit,
    then: State,
    present: State,
    moves: list[Move],
    alike: list[str],
    unknown: list[str],
) -> None:
    wanted = then.recess
    if wanted is None:
        unknown.append("Nut recess: it was not noted then")
        return
    now = present.recess
    # with a spring the nut comes off: where it stood before says nothing
    came_off = any(move.about == "spring" for move in moves) or (now is not None and now.overtaken)
    pitch, bottomed = fit.pitch * 1000, fit.recess_bottomed * 1000
    if now is not None and abs(now.value_mm - wanted.value_mm) < 0.005 and not came_off:
        alike.append(f"Nut recess: {mm(wanted.value_mm)}")
        return
    refused = _refused(card, wanted.value_mm, now.value_mm if now is not None else None)
    if refused:
        text = f"Nut recess {mm(wanted.value_mm)}: {refused}; fit a new spring"
        moves.append(Move("recess", text, possible=False, recess_mm=wanted.value_mm))
        return
    if came_off:
        out = (bottomed - wanted.value_mm) / pitch
        text = (
            f"Nut: bottom it out gently on the spring, then {out:.2f} turns out, "
            f"recess {mm(wanted.value_mm)}; measure it"
        )
        moves.append(Move("recess", text, recess_mm=wanted.value_mm))
        return
    if now is None:
        text = f"Nut: set the recess to {mm(wanted.value_mm)}; where it is now was not noted"
        moves.append(Move("recess", text, recess_mm=wanted.value_mm))
        return
    turns = (wanted.value_mm - now.value_mm) / pitch
    direction: Literal["in", "out"] = "in" if turns > 0 else "out"
    inwards = card.nut.tightens == "clockwise"
    rotation = "clockwise" if (turns > 0) == inwards else "anticlockwise"
    text = (
        f"Nut: {turn_words(turns)} ({rotation}), recess {mm(now.value_mm)} → {mm(wanted.value_mm)}"
    )
    moves.append(
        Move("recess", text, turns=abs(turns), direction=direction, recess_mm=wanted.value_mm)
    )


def _refused(card: ClutchCard, wanted_mm: float, present_mm: float | None) -> str:
    nut = card.nut
    try:
        advice = advise(
            wanted_mm / 1000,
            NutLimits(maximum=nut.recess_max.si, at_solid=nut.recess_bottomed.si),
            nut.pitch.si,
            present=None if present_mm is None else present_mm / 1000,
        )
    except RangeError as error:
        return str(error)
    return _PAST[advice.refusal] if advice.refusal is not None else ""


def _worn(weekend: Weekend, heat: HeatOnClutch, present: State) -> Iterator[str]:
    then, worn = heat.state, False
    for place, key, less, more in _WEAR:
        part = then.spring if place == "spring" else then.shoes
        if part is None or part.part not in present.parts or present.parts[part.part].discarded:
            continue
        was, is_ = part.figures.get(key), present.parts[part.part].figures.get(key)
        if was is None or is_ is None or was.record == is_.record or was.bound or is_.bound:
            continue
        change = is_.value_mm - was.value_mm
        if abs(change) < 0.005:
            continue
        name = part_name(present, part.part)
        worn = True
        yield f"{name} is {mm(abs(change))} {less if change < 0 else more} than then"
    if worn and then.recess is not None:
        again, card = present, weekend.card(present.clutch)
        for part in (then.spring, then.shoes):
            if part is not None and part.part in present.parts:
                again = again.refitted(card, part.place, part.part)
        yield from _same_again(weekend, heat, again)


def _same_again(weekend: Weekend, heat: HeatOnClutch, again: State) -> Iterator[str]:
    """Return the recess that worn parts of then ask for today."""
    found = nut_like(weekend, heat.run.heat, heat.state, again)
    if found.wanted_mm is None:
        if found.refused:
            yield f"The same {found.hold} cannot be had with them: {found.refused}"
        return
    text = f"With them the same {found.hold} asks for a recess of {mm(found.wanted_mm)}"
    most = weekend.card(again.clutch).nut.recess_max.value
    if found.wanted_mm > most:
        text += f", past the most the card allows ({mm(most)})"
    yield text


def plan_lines(plan: ReturnPlan, weekend: Weekend) -> list[str]:
    """Return the plan as lines of text."""
    zone = weekend.event.zone
    lines = [f"Back to {plan.heat}, {day_time(plan.at, zone)}. {plan.sentence}"]
    for number, move in enumerate(plan.moves, 1):
        lines.append(f"  {number}. {move.text}" + ("" if move.possible else "  (not possible)"))
    for title, rows in (
        ("As it was already", plan.alike),
        ("Does not come back", plan.unlike),
        ("Not known", plan.unknown),
    ):
        if rows:
            lines += ["", title, *(f"  {row}" for row in rows)]
    return lines
