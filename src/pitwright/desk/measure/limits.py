"""The limits of a quantity as they hold for what is fitted now."""

from __future__ import annotations

from typing import Final

from pitwright.weekend.card import ClutchCard, Quantity
from pitwright.weekend.state import State

__all__ = ["in_force", "spring_is_new"]

_NEW_UNTIL_MIN: Final = 10.0  # about one heat; common practice, no source
_NEW: Final = "The full depth is for a spring that is run in"


def spring_is_new(card: ClutchCard, state: State) -> bool:
    """Tell whether the spring fitted has not been run in yet, by its running."""
    spring, until = state.spring, card.nut.new_spring_until
    if spring is None or spring.unknown_runs:
        return False
    return spring.run_minutes < (until.value if until is not None else _NEW_UNTIL_MIN)


def in_force(card: ClutchCard, quantity: str, state: State) -> Quantity:
    """Return a quantity of the card with the limits that hold now.

    The recess of a new spring ends where the card says that a new spring's does: the full depth is
    for one that has been run in. Raises KeyError when the card has no such quantity.
    """
    spec = card.quantities[quantity]
    if quantity != "recess" or spec.high is None or not spring_is_new(card, state):
        return spec
    most = card.nut.recess_new_spring_high
    if most.value >= spec.high.value:
        return spec
    return spec.model_copy(
        update={"high": most, "when_high": f"{spec.when_high}. {_NEW}" if spec.when_high else _NEW}
    )
