"""The heat whose clutch an advice brings back."""

from __future__ import annotations

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["reference_heat", "shoes_not_measured"]


def reference_heat(
    weekend: Weekend, card: ClutchCard, like: str | None = None
) -> HeatOnClutch | str:
    """Return the heat named, or the last one whose recess and free length are known.

    A text instead says why there is none.
    """
    if like is not None:
        try:
            heat = weekend.heat(like)
        except KeyError:
            return f"there is no heat called '{like}' in the log"
        if heat.run.clutch != card.id:
            return f"{heat.run.heat} was run on another clutch"
        if heat.state.recess is None:
            return f"no recess is known for {heat.run.heat}"
        if heat.state.figure("free_length") is None:
            return f"no free length is known for {heat.run.heat}"
        return heat
    for heat in reversed(weekend.heats):
        if (
            heat.run.clutch == card.id
            and heat.run.status != "cancelled"
            and heat.state.recess is not None
            and heat.state.figure("free_length") is not None
        ):
            return heat
    return "no heat yet with a known recess and free length"


def shoes_not_measured(name: str, then: State, today: State) -> str:
    """Return in words which shoes have not been measured, empty when both have.

    The bite of one state is brought back in another wherever both were: else nobody knows what the
    shoes' wear does to it, and only the preload can be held.
    """
    if today.figure("shoe_thickness") is None:
        return "the shoes fitted now have not been measured"
    if then.figure("shoe_thickness") is None:
        return f"the shoes of {name} had not been measured"
    return ""
