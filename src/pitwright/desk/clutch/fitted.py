"""What is fitted, by kind: the card's figures with those of the part's own kind in their place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from pitwright.weekend.card import ClutchCard, Shoes, ShoesKind, Spring, SpringKind
from pitwright.weekend.kinds import shoes_of, spring_of
from pitwright.weekend.places import PartPlace
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = ["Fitted", "fitted", "kind_of", "pairs_owned"]


_T = TypeVar("_T")


@dataclass(frozen=True)
class Fitted:
    """The figures of the spring and shoes fitted.

    ``tables`` says for each figure that does not come from ``[spring]`` or ``[shoes]`` which table
    states it; one error of a table moves all that stands on it, and nothing of another kind's.
    ``kinds`` names the pair: what was seen with one pair says nothing of another.
    """

    spring: Spring
    shoes: Shoes
    spring_kind: str
    shoes_kind: str
    tables: Mapping[str, str]

    @property
    def kinds(self) -> str:
        """The pair of kinds, as calibrations are kept apart by it."""
        return _pair(self.spring_kind, self.shoes_kind)


def kind_of(weekend: Weekend, place: PartPlace, part: str | None) -> str:
    """Return the kind of a part; of one whose kind nobody wrote down the only kind owned, or ""."""
    owned = weekend.stock.parts(place)
    for each in owned:
        if each.id == part and each.kind:
            return each.kind.strip()
    kinds = {each.kind.strip().casefold(): each.kind.strip() for each in owned if each.kind}
    return next(iter(kinds.values())) if len(kinds) == 1 else ""


def fitted(weekend: Weekend, card: ClutchCard, state: State) -> Fitted:
    """Return the figures of what is fitted in a state."""
    spring_kind = kind_of(weekend, "spring", _part(state, "spring"))
    shoes_kind = kind_of(weekend, "shoes", _part(state, "shoes"))
    own_spring = _named(card.spring_kind, spring_kind) or SpringKind()
    own_shoes = _named(card.shoes_kind, shoes_kind) or ShoesKind()
    tables = dict.fromkeys(own_spring.model_fields_set, f"spring kind {spring_kind}")
    tables |= dict.fromkeys(own_shoes.model_fields_set, f"shoes kind {shoes_kind}")
    if own_spring.model_fields_set:
        tables["curve"] = f"spring kind {spring_kind}"
    spring, shoes = spring_of(own_spring, card.spring), shoes_of(own_shoes, card.shoes)
    part = _part(state, "shoes")
    weighed = next((p.mass for p in weekend.stock.shoes if p.id == part and p.mass), None)
    if weighed is not None:
        shoes = shoes.model_copy(update={"mass": weighed})
        tables["mass"] = f"shoes {part}"
    return Fitted(spring, shoes, spring_kind, shoes_kind, tables)


def pairs_owned(weekend: Weekend) -> tuple[str, ...]:
    """Return every pair of kinds that could be fitted from stock."""
    stock = weekend.stock
    spring_kinds = {kind_of(weekend, "spring", p.id) for p in stock.spring}
    shoes_kinds = {kind_of(weekend, "shoes", p.id) for p in stock.shoes}
    return tuple(sorted(_pair(a, b) for a in (spring_kinds or {""}) for b in (shoes_kinds or {""})))


def _pair(spring_kind: str, shoes_kind: str) -> str:
    return f"{spring_kind.casefold()} / {shoes_kind.casefold()}"


def _part(state: State, place: PartPlace) -> str | None:
    found = state.fitted(place)
    return None if found is None else found.part


def _named(tables: Mapping[str, _T], kind: str) -> _T | None:
    same: Iterable[_T] = (t for name, t in tables.items() if name.casefold() == kind.casefold())
    return next(iter(same), None)
