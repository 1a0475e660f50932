"""What a kind of spring or shoes does to the bite that nobody has seen on this clutch yet."""

from __future__ import annotations

from pitwright.desk.bite.figures import BiteFigures, Change, change_between
from pitwright.desk.clutch.model import UnknownClutchError, clutch_model, engine_curve
from pitwright.desk.clutch.observed import Observed
from pitwright.desk.clutch.typed import with_typed
from pitwright.desk.race.sets import AtHand
from pitwright.desk.wear.history import WEARS
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = ["unseen_change"]


def unseen_change(
    weekend: Weekend, card: ClutchCard, scales: Observed, state: State, part: AtHand
) -> Change | None:
    """Return what a part of another kind changes against the one fitted, at the recess as it is.

    By the card's figures of the two kinds, with all that is in doubt of either. None for a part of
    the kind that is fitted, and where no recess is known or one of the two cannot bite.
    """
    present = state.recess
    if present is None:
        return None
    try:
        now = clutch_model(weekend, state)
        other = clutch_model(weekend, _with(card, state, part), recess_mm=present.value_mm)
        if now.clutch.kinds == other.clutch.kinds:
            return None
        engine = engine_curve(card)
        return change_between(
            BiteFigures(part.label), other, BiteFigures("now"), now, scales, engine, engine
        )
    except (UnknownClutchError, RangeError):
        return None


def _with(card: ClutchCard, state: State, part: AtHand) -> State:
    """Return a state with a part in it, measured at the size it is taken for."""
    found = state.refitted(card, part.place, part.part)
    if part.taken_mm is None:
        return found
    return with_typed(card, found, WEARS[part.place], part.taken_mm)
