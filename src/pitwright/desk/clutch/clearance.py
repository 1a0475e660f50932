"""The gap between shoe and bell: as it was read, and as the card, wear and bell bore make it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pitwright.desk.clutch.doubts import Doubt
from pitwright.desk.clutch.readings import reading_u
from pitwright.desk.wording import mm
from pitwright.weekend.card import Bell, ClutchCard, Shoes
from pitwright.weekend.priors import figure_u
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import Weekend

__all__ = ["Gap", "Worn", "gap", "worn_shoes"]

_MM = 1e-3
_FAR = 0.1
"""Share by which a bore may differ from twice the card's radius and still be this bell's."""
_UNSEEN_WEAR = 0.15 * _MM
"""Doubt of the wear of shoes that have run and were never measured; judgement, no source."""


@dataclass(frozen=True)
class Worn:
    """Wear off each shoe [m] and its errors by key; ``record`` of the reading, if there is one."""

    value: float
    record: str | None
    doubts: Mapping[str, Doubt]
    assumed: str = ""


@dataclass(frozen=True)
class Gap:
    """What the model takes for clearance and bell.

    ``clearance`` [m] is that of unworn shoes, so that clearance and wear make the gap now;
    ``read`` is the record of the reading it stands on, None where it is the card's with the bore's
    change. ``by_card`` is the gap now [m] as card, wear and bore make it, with its standard
    uncertainty. ``disagrees`` says in words where the two differ by more than both may be off, or a
    bore that no bell of the card's can have.
    """

    clearance: float
    bell_radius: float
    doubts: Mapping[str, Doubt]
    by_card: float
    u_by_card: float
    read: str | None = None
    bore: str | None = None
    disagrees: str = ""
    assumed: str = ""


def worn_shoes(card: ClutchCard, shoes: Shoes, state: State, tables: Mapping[str, str]) -> Worn:
    """Return the wear of the shoes fitted, by their thickness as last read."""
    new_key = f"{tables.get('thickness_new', 'card')}/thickness_new"
    reading = state.figure("shoe_thickness")
    if reading is None:
        said = "shoes as new: their thickness has not been measured"
        part = state.shoes
        ran = part is None or part.run_minutes > 0 or part.unknown_runs > 0
        # Not measured at all is never surer than measured once against the card's new thickness.
        u = figure_u(shoes.thickness_new, "length").si + reading_u(card, "shoe_thickness")
        u += _UNSEEN_WEAR if ran else 0.0
        part_name = "unknown" if part is None else part.part
        return Worn(0.0, None, {f"{part_name}/worn": Doubt(u, {"worn": 1.0})}, said)
    u = (reading.u_mm * _MM) if reading.u_mm else reading_u(card, "shoe_thickness")
    doubts = {
        f"{reading.record}/worn": Doubt(u, {"worn": 1.0}, own=True),
        new_key: Doubt(figure_u(shoes.thickness_new, "length").si, {"worn": 1.0}),
    }
    worn = max(shoes.thickness_new.si - reading.value_mm * _MM, 0.0)
    return Worn(worn, reading.record, doubts)


def gap(
    weekend: Weekend,
    card: ClutchCard,
    shoes: Shoes,
    state: State,
    worn: Worn,
    tables: Mapping[str, str],
) -> Gap:
    """Return clearance and bell radius of a state.

    The newest reading of the clearance with these shoes and this bell wins over the card: with the
    wear and the bore's change since it was read, for a reading is of the shoes as they were. Else
    it is the card's clearance, and what the fitted bell's bore is over the card's. Both routes are
    held against each other.
    """
    radius, bore_doubts, bore = _bell(card.bell, card, state)
    assumed = ""
    if bore is not None and abs(radius - card.bell.bore_radius.si) > _FAR * radius:
        assumed = f"bell bore of {mm(bore.value_mm)} left out: the card's is " + mm(
            2 * card.bell.bore_radius.value
        )
        radius, bore_doubts, bore = card.bell.bore_radius.si, _bell_on_card(card.bell), None
    opened = radius - card.bell.bore_radius.si
    by_card = shoes.clearance.si + opened
    u_card = figure_u(shoes.clearance, "length").si
    key = f"{tables.get('clearance', 'card')}/clearance"
    card_doubts = {key: Doubt(u_card, {"clearance": 1.0})}
    if bore is not None:
        card_doubts["card/bore_radius"] = Doubt(
            figure_u(card.bell.bore_radius, "length").si, {"clearance": -1.0}
        )
        bore_doubts = {
            name: Doubt(d.u, {**d.moves, "clearance": 1.0}, d.own)
            for name, d in bore_doubts.items()
        }
    by_card_now = by_card + worn.value
    u_by_card = _root_sum((*card_doubts.values(), *bore_doubts.values(), *worn.doubts.values()))
    small = _too_small(card.bell, bore)
    told = state.told("bell_clearance")
    if told is None or told.overtaken or told.bound is not None:
        name = None if bore is None else bore.record
        doubts = {**card_doubts, **bore_doubts}
        return Gap(by_card, radius, doubts, by_card_now, u_by_card, None, name, small, assumed)
    u_read = (told.u_mm * _MM) if told.u_mm else reading_u(card, "bell_clearance")
    worn_then, bore_then = _as_it_was(weekend, card, shoes, state, told, worn, tables)
    since = 0.0 if bore is None or bore_then is None else (bore.value_mm - bore_then) / 2 * _MM
    clearance = told.value_mm * _MM - worn_then.value + since
    doubts = {f"{told.record}/clearance": Doubt(u_read, {"clearance": 1.0}, own=True)}
    for name, d in worn_then.doubts.items():
        doubts[name] = Doubt(d.u, {"clearance": -d.moves["worn"]}, d.own)
    u_all = _root_sum((*doubts.values(), *card_doubts.values(), *bore_doubts.values()))
    for name, d in bore_doubts.items():
        doubts[name] = Doubt(d.u, {"bell_radius": d.moves["bell_radius"]}, d.own)
    disagrees = small
    if abs(clearance - by_card) > 2 * u_all:
        disagrees = (
            f"the clearance was read {mm(told.value_mm)}, the card with wear and bore makes "
            f"{mm((by_card + worn_then.value - since) / _MM)}: the reading is taken"
        )
    name = None if bore is None else bore.record
    return Gap(
        clearance, radius, doubts, by_card_now, u_by_card, told.record, name, disagrees, assumed
    )


def _root_sum(doubts: Iterable[Doubt]) -> float:
    return math.hypot(*(doubt.u for doubt in doubts))


def _too_small(bell: Bell, bore: FigureInForce | None) -> str:
    """Point out a bore below the card's: a bell wears wider, so one of the two is not right."""
    if bore is None:
        return ""
    card_mm = 2 * bell.bore_radius.value
    u_mm = 2 * figure_u(bell.bore_radius, "length").own
    if card_mm - bore.value_mm <= 2 * math.hypot(u_mm, bore.u_mm or 0.0):
        return ""
    return (
        f"the bell's bore was read {mm(bore.value_mm)}, the card has {mm(card_mm)}, "
        "and a bell wears wider: the reading is taken"
    )


def _bell_on_card(bell: Bell) -> dict[str, Doubt]:
    return {"card/bore_radius": Doubt(figure_u(bell.bore_radius, "length").si, {"bell_radius": 1})}


def _bell(
    bell: Bell, card: ClutchCard, state: State
) -> tuple[float, dict[str, Doubt], FigureInForce | None]:
    bore = state.figure("bell_bore")
    if bore is None:
        return bell.bore_radius.si, _bell_on_card(bell), None
    u = (bore.u_mm * _MM) if bore.u_mm else reading_u(card, "bell_bore")
    return (
        bore.value_mm / 2 * _MM,
        {f"{bore.record}/bell_radius": Doubt(u / 2, {"bell_radius": 1.0}, own=True)},
        bore,
    )


def _as_it_was(
    weekend: Weekend,
    card: ClutchCard,
    shoes: Shoes,
    state: State,
    told: FigureInForce,
    worn: Worn,
    tables: Mapping[str, str],
) -> tuple[Worn, float | None]:
    """Return the wear and the bore [mm] known when a clearance was read."""
    thickness, bore = state.figure("shoe_thickness"), state.figure("bell_bore")
    newer = [f for f in (thickness, bore) if f is not None and f.at > told.at]
    if not newer:
        return worn, None if bore is None else bore.value_mm
    then = weekend.state(told.at, card.id)
    bore_then = then.figure("bell_bore")
    worn_then = worn_shoes(card, shoes, then, tables)
    return worn_then, None if bore_then is None else bore_then.value_mm
