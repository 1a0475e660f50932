"""How near a torque driver brings a screw to the figure it is set to."""

from __future__ import annotations

from pitwright.mechanics.threads import driver_error
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure

__all__ = ["driver_reach"]


def driver_reach(card: ClutchCard, torque: Figure) -> str:
    """Return what a driver set to ``torque`` may really give, in words; "" without a driver.

    The permissible error of the card's torque driver is a share of the reading; one the card gives
    none for is held to the standard's. With several drivers the worst one counts.
    """
    shares = [
        instrument.permissible_error_ratio.value
        if instrument.permissible_error_ratio is not None
        else driver_error(torque.si)
        for instrument in card.instruments.values()
        if instrument.kind == "torque driver"
    ]
    if not shares:
        return ""
    low, high = (torque.value * (1.0 + sign * max(shares)) for sign in (-1.0, 1.0))
    return f"the driver gives {low:.3g} to {high:.3g} {torque.unit}"
