"""A clutch's state with a reading that is only typed yet."""

from __future__ import annotations

from dataclasses import replace

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import FigureInForce, State

__all__ = ["with_typed"]


def with_typed(card: ClutchCard, state: State, quantity: str, value_mm: float) -> State:
    """Return ``state`` as if ``quantity`` had just been read [mm].

    It is the state as it was where nothing is recorded yet, or the part it belongs to is not known;
    a quantity that the card does not list is taken for the clutch's own.
    """
    if state.moment is None:
        return state
    figure = FigureInForce(quantity, value_mm, "", state.moment)
    spec = card.quantities.get(quantity)
    place = "clutch" if spec is None else spec.of
    if place == "clutch":
        return replace(state, figures={**state.figures, quantity: figure})
    part = next((p for p in state.parts.values() if p.fitted and p.place == place), None)
    if part is None:
        return state
    read = replace(part, figures={**part.figures, quantity: figure})
    return replace(state, parts={**state.parts, part.part: read})
