"""How many heats a question needs."""

import math

FOUR_IN_FIVE: dict[int, float] = {
    4: 3.1,
    5: 2.1,
    6: 1.8,
    7: 1.65,
    8: 1.5,
    9: 1.4,
    10: 1.3,
    11: 1.25,
    12: 1.2,
}
"""Heats of each state -> effect, in heat-to-heat spreads, found in four of five weekends; rounded
to what the simulation can tell."""

MOST_HEATS = 60


def heats_needed(effect: float, spread: float) -> int | None:
    """Heats of each state after which an effect is called likely real in four weekends of five.

    effect: the difference looked for; spread: standard deviation of the heat figures about the
    track's drift, in the same unit. For the two states alternating, one comparison chosen
    beforehand, nominal 5 %. From a simulation of this program's own test up to twelve heats each
    (tests/benchmarks/pace_orders.py prints the table), beyond that from the normal approximation
    to its power. None when more than sixty heats each would be needed.
    Raises ValueError when effect or spread is negative or not finite.
    """
    if not (math.isfinite(effect) and math.isfinite(spread) and effect >= 0.0 and spread >= 0.0):
        raise ValueError("effect and spread must be finite and not negative")
    for heats, ratio in FOUR_IN_FIVE.items():
        if effect > 0.0 and effect >= ratio * spread:
            return heats
    last = max(FOUR_IN_FIVE)
    if effect == 0.0:
        return None
    # Power grows with sqrt(n) once n is large; continue from the last simulated row.
    heats = math.ceil(last * (FOUR_IN_FIVE[last] * spread / effect) ** 2 - 1e-9)
    return heats if heats <= MOST_HEATS else None
