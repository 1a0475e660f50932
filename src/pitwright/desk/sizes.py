"""Sizes and shim stacks in words; a go/no-go tool may have told a bound of a size only."""

from __future__ import annotations

from collections.abc import Sequence

from pitwright.desk.wording import mm
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.records import BoundSide
from pitwright.weekend.state import State

__all__ = ["only_a_bound", "shims_listed", "shims_words", "size_words"]


def size_words(value_mm: float, bound: BoundSide | None, decimals: int = 2) -> str:
    """Return a size: ``1.40 mm``, or ``1.59 mm or more`` where that is all that is known."""
    if bound is None:
        return mm(value_mm, decimals)
    return f"{mm(value_mm, decimals)} or {'more' if bound == 'at least' else 'less'}"


def only_a_bound(state: State, card: ClutchCard, quantity: str) -> str:
    """Return why a quantity cannot be reckoned with when only a bound of it is known, else ""."""
    told = state.told(quantity)
    if told is None or told.bound is None:
        return ""
    spec = card.quantities.get(quantity)
    label = spec.label.lower() if spec is not None else quantity
    size = size_words(told.value_mm, told.bound, spec.decimals if spec is not None else 2)
    return f"the {label} is only known to be {size}: read it with a tool that gives a value"


def shims_listed(shims_mm: Sequence[float]) -> str:
    """Return the shims of a stack, thickest first: ``0.10 + 0.05``, ``no shims``."""
    return " + ".join(f"{s:.2f}" for s in sorted(shims_mm, reverse=True)) or "no shims"


def shims_words(shims_mm: Sequence[float]) -> str:
    """Return a stack with what it comes to: ``0.10 + 0.05 = 0.15 mm``, ``no shims``."""
    stack = shims_listed(shims_mm)
    if len(shims_mm) > 1:
        return f"{stack} = {mm(sum(shims_mm))}"
    return f"{stack} mm" if shims_mm else stack
