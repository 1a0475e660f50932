"""Uncertainty carried through a computation, however long, by moving one input at a time."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import RangeError

__all__ = ["Spread", "propagate"]

Outputs = Sequence[float | None]


@dataclass(frozen=True)
class Spread:
    """A value with its standard uncertainty and each input's signed part in it, by key."""

    value: float
    u: float
    contributions: Mapping[str, float]


def propagate(
    compute: Callable[[Mapping[str, float]], Outputs], u: Mapping[str, float]
) -> tuple[Spread | None, ...]:
    """Compute with every input as it is, then with each moved by its standard uncertainty.

    Half the difference between up and down is that input's part, JCGM 100:2008 (GUM) 5.1.3
    note 2; parts add in quadrature, so the inputs must be independent of each other: one error
    that enters in several places is one key. Where one side cannot be computed (a wear below
    nothing), the other side alone counts.

    ``compute`` is given the shifts by key and returns its outputs, None for one that does not
    exist; an output is None here too when it does not exist as it is. Raises RangeError when the
    computation fails as it is.
    """
    middle = compute({})
    parts: list[dict[str, float]] = [{} for _ in middle]
    for key, spread in u.items():
        if not spread:
            continue
        up, down = _try(compute, {key: spread}), _try(compute, {key: -spread})
        for index, value in enumerate(middle):
            if value is None:
                continue
            high = up[index] if up is not None else None
            low = down[index] if down is not None else None
            if high is not None and low is not None:
                parts[index][key] = (high - low) / 2
            elif high is not None:
                parts[index][key] = high - value
            elif low is not None:
                parts[index][key] = value - low
    return tuple(
        None if value is None else Spread(value, math.hypot(*part.values()), part)
        for value, part in zip(middle, parts, strict=True)
    )


def _try(
    compute: Callable[[Mapping[str, float]], Outputs], shift: Mapping[str, float]
) -> Outputs | None:
    try:
        return compute(shift)
    except RangeError:
        return None
