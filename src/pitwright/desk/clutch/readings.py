"""The doubt of a reading whose record states none."""

from __future__ import annotations

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.priors import prior_u

__all__ = ["reading_u"]

_MM = 1e-3
_COARSE_MM = 0.02  # the step of a plain caliper, for a tool whose card does not say


def reading_u(card: ClutchCard, quantity: str) -> float:
    """Return a standard uncertainty [m] for a reading whose record states none.

    From the tool's permissible error, spread evenly, and its step; a tool whose card says nothing
    of its error reads like any length measured without one.
    """
    spec = card.quantities.get(quantity)
    tool = card.instruments.get(spec.instrument) if spec is not None else None
    step = _COARSE_MM * _MM
    if tool is not None and tool.resolution is not None:
        step = tool.resolution.si
    if tool is None or tool.permissible_error is None:
        unknown = prior_u("length", 0.0, "measured") * _MM
        return float((unknown**2 + step**2 / 12) ** 0.5)
    return float((tool.permissible_error.si**2 / 3 + step**2 / 12) ** 0.5)
