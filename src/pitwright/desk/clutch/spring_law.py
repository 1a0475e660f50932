"""The spring's force as the mechanics take it: the rate by wire and coils, or its own curve."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pitwright.desk.clutch.doubts import Doubt
from pitwright.desk.clutch.fitted import Fitted
from pitwright.mechanics.clutch import Clutch, way_to_solid
from pitwright.mechanics.spring_curve import CurveFit, SpringCurve, Squeeze, fit_curve
from pitwright.weekend.card import Spring
from pitwright.weekend.figures import Figure
from pitwright.weekend.priors import FigureKind, figure_u
from pitwright.weekend.spring_figures import rate_by_wire, squeezes_of

__all__ = ["curve_of", "shape_doubts", "spring_by", "spring_law", "spring_rate"]


def spring_rate(spring: Spring) -> tuple[float, float]:
    """Return a spring's rate and its standard uncertainty [N/m] from wire and coils."""
    return rate_by_wire(spring), math.hypot(*(u * by for _, u, by in _rate_parts(spring)))


def curve_of(spring: Spring, squeezes: Sequence[Squeeze] = ()) -> CurveFit | None:
    """Return the fit of the card's curve, or of ``squeezes`` in its place; None without any.

    Raises RangeError where the points make no curve.
    """
    points = squeezes or squeezes_of(spring)
    if not points:
        return None
    return fit_curve(
        points, spring.free_length_new.si, spring.solid_length.si, *spring_rate(spring)
    )


def spring_law(on: Fitted) -> tuple[float, SpringCurve | None, dict[str, Doubt]]:
    """Return rate [N/m], curve where one was measured, and the errors of both.

    The squeezes take from the doubt of wire and coils what they know better; their own is one error
    of the scale and one of the lengths, the same for all points. Raises RangeError as `curve_of`.
    """
    fit = curve_of(on.spring)
    left = 1.0 if fit is None else 1.0 - fit.weight
    doubts = {
        f"{on.tables.get(name, 'card')}/{name}": Doubt(u, {"spring_rate": left * by})
        for name, u, by in _rate_parts(on.spring)
    }
    if fit is None:
        return rate_by_wire(on.spring), None, doubts
    table = on.tables.get("curve", "card")
    doubts[f"{table}/curve force"] = Doubt(fit.u_by_squeezes, {"spring_rate": fit.weight})
    doubts[f"{table}/curve length"] = Doubt(fit.u_length, {"curve_shift": 1.0})
    return fit.rate, fit.curve, doubts


def spring_by(curve: SpringCurve | None) -> str:
    """Return in words what the spring's force goes by."""
    return "the card's rate" if curve is None else f"its {len(curve.measured)} squeezes"


def shape_doubts(on: Fitted, clutch: Clutch) -> dict[str, Doubt]:
    """Return the errors of the curve between two squeezes, where this clutch bites."""
    if clutch.curve is None:
        return {}
    room, table = clutch.free_length - clutch.solid_length, on.tables.get("curve", "card")
    return {
        f"{table}/curve shape {name}": Doubt(1.0, {"curve_shift": by * room})
        for name, by in clutch.curve.doubts(way_to_solid(clutch)).items()
    }


def _rate_parts(spring: Spring) -> list[tuple[str, float, float]]:
    """Return name, standard uncertainty and effect on the rate of each figure behind it."""
    rate = rate_by_wire(spring)
    # k = G d^4 / (8 D^3 Na): a share of an input counts by its power.
    figures: tuple[tuple[str, float, Figure, FigureKind], ...] = (
        ("shear_modulus", 1, spring.shear_modulus, "modulus"),
        ("wire_diameter", 4, spring.wire_diameter, "wire"),
        ("mean_diameter", -3, spring.mean_diameter, "length"),
        ("active_coils", -1, spring.active_coils, "coils"),
    )
    return [
        (name, figure_u(figure, kind).si, power * rate / figure.si)
        for name, power, figure, kind in figures
    ]
