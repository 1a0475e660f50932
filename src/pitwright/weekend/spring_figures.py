"""What a card says of its spring, as the mechanics take it: the rate by wire, and the squeezes."""

from __future__ import annotations

from pitwright.mechanics import springs
from pitwright.mechanics.spring_curve import Squeeze
from pitwright.weekend.card import Spring
from pitwright.weekend.priors import figure_u

__all__ = ["rate_by_wire", "squeezes_of"]


def rate_by_wire(spring: Spring) -> float:
    """Return the rate by wire and coils [N/m]; raises RangeError where they make no spring."""
    return springs.rate(
        spring.shear_modulus.si,
        spring.wire_diameter.si,
        spring.mean_diameter.si,
        spring.active_coils.value,
    )


def squeezes_of(spring: Spring) -> list[Squeeze]:
    """Return the points of the card's curve, each with its doubt, stated or by its source."""
    return [
        Squeeze(
            point.length.si,
            point.force.si,
            figure_u(point.length, "length").si,
            figure_u(point.force, "force").si,
        )
        for point in spring.curve
    ]
