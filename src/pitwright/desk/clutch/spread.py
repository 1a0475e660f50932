"""Uncertainty carried through a computation, however long, by moving one input at a time."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import RangeError

__all__ = ["Spread", "propagate"]

_LEAST_SHARE = 1e-3

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
    nothing), the other side alone counts, or what a smaller step scaled up gives, if that is more;
    where neither can, smaller steps are taken until one can, for an input too doubtful to follow
    may not pass for a sure one. One that cannot be moved at all makes the result infinitely
    doubtful.

    ``compute`` is given the shifts by key and returns its outputs, None for one that does not
    exist; an output is None here too when it does not exist as it is. Raises RangeError when the
    computation fails as it is.
    """
    middle = compute({})
    parts: list[dict[str, float]] = [{} for _ in middle]
    for key, spread in u.items():
        if not spread:
            continue
        todo = {index for index, value in enumerate(middle) if value is not None}
        share = 1.0
        while todo and share >= _LEAST_SHARE:
            up, down = _try(compute, {key: share * spread}), _try(compute, {key: -share * spread})
            for index in tuple(todo):
                high = None if up is None else up[index]
                low = None if down is None else down[index]
                part = _part(middle[index], high, low)
                if part is None:
                    continue
                before = parts[index].get(key)
                if before is None or abs(part / share) > abs(before):
                    parts[index][key] = part / share
                if before is not None or None not in (high, low):
                    todo.discard(index)
            share /= 4
        for index in todo:
            parts[index].setdefault(key, math.inf)
    return tuple(
        None if value is None else Spread(value, math.hypot(*part.values()), part)
        for value, part in zip(middle, parts, strict=True)
    )


def _part(middle: float | None, high: float | None, low: float | None) -> float | None:
    if middle is None or (high is None and low is None):
        return None
    if high is not None and low is not None:
        return (high - low) / 2
    return high - middle if high is not None else middle - (low or 0.0)


def _try(
    compute: Callable[[Mapping[str, float]], Outputs], shift: Mapping[str, float]
) -> Outputs | None:
    try:
        return compute(shift)
    except RangeError:
        return None
