"""The springs and shoe sets at hand for a race, and what each may come to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from pitwright.desk.wear.forecast import outlook_of
from pitwright.desk.wear.history import WEARS, WearHistory, wear_histories
from pitwright.weekend.places import PartPlace
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.inference.forecast import Forecast

__all__ = ["AtHand", "Standing", "parts_at_hand"]

Standing = Literal["fitted", "kept", "new"]

_U_TAKEN_MM: Final = 0.01  # a new part is measured as it goes in; from memory, no source


@dataclass(frozen=True)
class AtHand:
    """A spring or shoe set: fitted, kept from earlier, or new.

    ``unknown`` says why nothing can be said of it, empty when ``forecast`` does; ``taken_mm`` is
    the size taken for one that has not been read, None for one that has.
    """

    part: str
    label: str
    place: PartPlace
    standing: Standing
    age_minutes: float
    unknown: str = ""
    taken_mm: float | None = None
    forecast: Forecast | None = field(default=None, repr=False, compare=False)


def parts_at_hand(
    weekend: Weekend, clutch: str | None = None
) -> tuple[tuple[AtHand, ...], tuple[AtHand, ...]]:
    """Return the springs and the shoe sets that may go into a race, fitted first.

    Of new parts of one kind that have not been read, one stands for all. Raises KeyError when
    there is no such clutch.
    """
    quantities = weekend.card(clutch).quantities
    histories = [h for h in wear_histories(weekend, clutch) if h.quantity in quantities]
    springs, shoes = (tuple(_of_place(weekend, histories, place, clutch)) for place in WEARS)
    return springs, shoes


def _of_place(
    weekend: Weekend, histories: Sequence[WearHistory], place: PartPlace, clutch: str | None
) -> Iterator[AtHand]:
    unread_kinds = set()
    for history in histories:
        if history.place != place or history.standing == "thrown away":
            continue
        new = not history.age_minutes and not history.since
        if new and history.standing == "spare" and not history.points:
            if history.kind in unread_kinds:
                continue
            unread_kinds.add(history.kind)
        yield _at_hand(weekend, history, histories, clutch)


def _at_hand(
    weekend: Weekend, history: WearHistory, histories: Sequence[WearHistory], clutch: str | None
) -> AtHand:
    from pitwright.inference.forecast import Unknown
    from pitwright.inference.readings import Reading

    new = not history.age_minutes and not history.since
    standing: Standing = "fitted" if history.standing == "fitted" else "new" if new else "kept"
    taken = None
    if standing == "new" and not history.points:
        taken = _size_when_new(weekend, history, histories, clutch)
    readings = [] if taken is None else [Reading(0.0, taken, _U_TAKEN_MM)]
    found = outlook_of(history, histories, readings)
    if isinstance(found, Unknown):
        reason = "not read, and no other of its kind was followed" if taken else found.reason
        return AtHand(history.part, history.label, history.place, standing, history.age_minutes,
                      unknown=reason, taken_mm=taken)  # fmt: skip
    return AtHand(history.part, history.label, history.place, standing, history.age_minutes,
                  taken_mm=taken, forecast=found)  # fmt: skip


def _size_when_new(
    weekend: Weekend, history: WearHistory, histories: Sequence[WearHistory], clutch: str | None
) -> float:
    """Return how others of its kind read before their first run, else the card's size."""
    seen = [
        p.value_mm
        for other in histories
        if other.kind == history.kind and other.place == history.place
        for p in other.since_new
        if p.minutes == 0.0 and p.run_in
    ]
    if seen and history.kind:
        return round(sum(seen) / len(seen), 2)
    card = weekend.card(clutch)
    new = card.spring.free_length_new if history.place == "spring" else card.shoes.thickness_new
    return new.value
