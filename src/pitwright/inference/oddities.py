"""Readings that do not fit: growth, a wild one, scatter without wear, two at one age."""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from pitwright.inference.readings import Reading

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pitwright.inference.wear_belief import Evidence

    Floats = NDArray[np.float64]

_SIGMAS = 3.5
_SURE_WILD = 0.5


def grows(readings: Sequence[Reading]) -> str:
    """Say that the readings grow, where they do beyond their scatter; empty where not.

    A straight line through them rises by more than 3.5 of its standard uncertainties, and so does
    the line through all but the likeliest single slip, so that one wild reading is no growth.
    """
    if len({r.minutes for r in readings}) < 3:
        return ""
    if _rise(readings) <= _SIGMAS:
        return ""
    if len(readings) > 3:
        without = min(
            _rise([r for j, r in enumerate(readings) if j != i]) for i in range(len(readings))
        )
        if without <= _SIGMAS:
            return ""
    first, last = readings[0], readings[-1]
    return (
        f"the readings grow, {first.value:.5g} to {last.value:.5g}, and no part does: "
        "check the tool's zero, and that all are of this part"
    )


def _rise(readings: Sequence[Reading]) -> float:
    """Slope of the weighted straight line in its standard uncertainties."""
    weights = [1.0 / r.whole_u**2 for r in readings]
    total = math.fsum(weights)
    t = math.fsum(w * r.minutes for w, r in zip(weights, readings, strict=True)) / total
    y = math.fsum(w * r.value for w, r in zip(weights, readings, strict=True)) / total
    sxx = math.fsum(w * (r.minutes - t) ** 2 for w, r in zip(weights, readings, strict=True))
    sxy = math.fsum(
        w * (r.minutes - t) * (r.value - y) for w, r in zip(weights, readings, strict=True)
    )
    return sxy / math.sqrt(sxx) if sxx > 0.0 else 0.0


def wild_readings(found: "Evidence", weight: "Floats") -> tuple[int, ...]:
    """Return the places of readings that more likely than not are wild."""
    import numpy as np

    by_model = np.bincount(found.model, weight.sum(axis=(1, 2)), len(found.models.of))
    chance = np.zeros(len(found.readings))
    for place, hypothesis in enumerate(found.models.hypotheses):
        mass = float(by_model[found.models.of == place].sum())
        for i in hypothesis.wild:
            chance[i] += mass
        if hypothesis.step == len(found.readings) - 1:
            # a last reading far off may be wild or the first after a step: ask either way
            chance[-1] += mass
    return tuple(int(i) for i in np.flatnonzero(chance > _SURE_WILD))


def doubtful(
    readings: Sequence[Reading], found: "Evidence", weight: "Floats", wild: Sequence[int]
) -> tuple[str, ...]:
    """Say what does not fit, and what to do about it."""
    odd = [f"{readings[i].value:.5g} does not fit the others: read it again" for i in wild]
    fine = [r for i, r in enumerate(readings) if i not in wild]
    for a, b in pairwise(fine):
        apart = abs(a.value - b.value)
        if a.minutes == b.minutes and apart > _SIGMAS * math.hypot(a.whole_u, b.whole_u):
            odd.append(
                f"{a.value:.5g} and {b.value:.5g} at {a.minutes:.0f} min differ by more than "
                "their scatter: read it again"
            )
    if len(fine) >= 3 and _no_wear(fine):
        odd.append("the readings scatter and show no wear: check the tool's zero and its seat")
    return tuple(odd)


def _no_wear(readings: Sequence[Reading]) -> bool:
    """Tell whether readings go up and down more than they should while none of it is wear."""
    weights = [1.0 / r.whole_u**2 for r in readings]
    mean = math.fsum(w * r.value for w, r in zip(weights, readings, strict=True)) / math.fsum(
        weights
    )
    chi2 = math.fsum(w * (r.value - mean) ** 2 for w, r in zip(weights, readings, strict=True))
    spare = len(readings) - 1
    # the 99 % point of chi squared by Wilson and Hilferty (1931)
    most = spare * (1.0 - 2.0 / (9.0 * spare) + 2.326 * math.sqrt(2.0 / (9.0 * spare))) ** 3
    return chi2 > most and _rise(readings) > -1.0
