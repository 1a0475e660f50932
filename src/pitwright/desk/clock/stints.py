"""Fuel stops of a main: how many, and when, from the fuel the heats used."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Final

from pitwright.student import t_quantile
from pitwright.weekend.weekend import Weekend

__all__ = ["FuelUse", "StintPlan", "StopWindow", "fuel_use", "plan_stints", "stint_lines", "stints"]


_MOST_STOPS: Final = 200


@dataclass(frozen=True)
class FuelUse:
    """Fuel used per minute of running [ml/min]: mean, spread, and the most to reckon with.

    ``high`` is the upper end of the 90 % prediction interval for one more heat; with a single
    heat nothing is known of the spread, and both are None.
    """

    heats: int
    mean: float
    spread: float | None
    high: float | None


@dataclass(frozen=True)
class StopWindow:
    """A stop: not before ``earliest``, or the fuel does not reach the end; not after ``latest``.

    Minutes from the start, on a full tank; ``even`` shares the race out alike.
    """

    number: int
    earliest: float
    even: float
    latest: float


@dataclass(frozen=True)
class StintPlan:
    """The stops of a race of ``race_minutes``. ``longest`` and ``usual`` are stints [min]."""

    race_minutes: float
    use: FuelUse
    tank_ml: float
    reserve_ml: float
    longest: float
    usual: float
    stops: tuple[StopWindow, ...]
    caution: str = ""


def fuel_use(rates: Sequence[float]) -> FuelUse | None:
    """Return the use per minute from that of each heat [ml/min]; None without any.

    The prediction bound is mean + t s sqrt(1 + 1/n), one-sided 95 % (any textbook of statistics).
    """
    if not rates:
        return None
    n, mean = len(rates), fmean(rates)
    if n == 1:
        return FuelUse(1, mean, None, None)
    spread = stdev(rates)
    high = mean + t_quantile(0.95, n - 1) * spread * math.sqrt(1 + 1 / n)
    return FuelUse(n, mean, spread, high)


def plan_stints(
    race_minutes: float, use: FuelUse, tank_ml: float, reserve_ml: float = 0.0
) -> StintPlan:
    """Return the stops of a race, so that the reserve is never touched at the highest use.

    With stints of at most L minutes, a race of D takes ceil(D / L) of them; stop k of n lies
    between D - (n - k + 1) L and k L. Raises ValueError when the tank holds no more than the
    reserve, a figure is not above zero, or the use is beyond belief.
    """
    if race_minutes <= 0 or use.mean <= 0:
        raise ValueError("race time and fuel use must be above zero")
    if tank_ml <= reserve_ml:
        raise ValueError("the tank holds no more than the reserve")
    usable = tank_ml - reserve_ml
    longest = usable / (use.high or use.mean)
    # A hair of slack: a race of exactly two stints needs one stop, not two.
    count = max(math.ceil(race_minutes / longest - 1e-9) - 1, 0)
    if count > _MOST_STOPS:
        raise ValueError(f"{use.mean:.0f} ml a minute cannot be right: look at the heats' fuel")
    stops = tuple(
        StopWindow(
            number=k,
            earliest=max(race_minutes - (count - k + 1) * longest, 0.0),
            even=race_minutes * k / (count + 1),
            latest=k * longest,
        )
        for k in range(1, count + 1)
    )
    caution = "" if use.high else "one heat only: nothing is known of the spread, keep a margin"
    return StintPlan(
        race_minutes, use, tank_ml, reserve_ml, longest, usable / use.mean, stops, caution
    )


def stints(weekend: Weekend, race_minutes: float, clutch: str | None = None) -> StintPlan | str:
    """Plan a race from the fuel noted in the heats; a sentence where that cannot be done."""
    card = weekend.card(clutch)
    if card.fuel is None:
        return "the clutch card has no [fuel] table: put the tank's volume there"
    rates = [
        heat.run.fuel_used_ml / minutes
        for heat in weekend.heats
        if heat.run.clutch == card.id
        and heat.run.status != "cancelled"
        and heat.run.fuel_used_ml
        and heat.run.run_minutes
        and (minutes := heat.run.run_minutes + (heat.run.warm_up_minutes or 0.0)) > 0
    ]
    use = fuel_use(rates)
    if use is None:
        return "no heat has both its fuel and its run time noted yet"
    reserve = card.fuel.reserve.value if card.fuel.reserve is not None else 0.0
    try:
        return plan_stints(race_minutes, use, card.fuel.tank.value, reserve)
    except ValueError as error:
        return str(error)


def stint_lines(plan: StintPlan) -> list[str]:
    """Return the plan as lines of text."""
    use = plan.use
    spread = f" ± {use.spread:.1f}" if use.spread is not None else ""
    most = f", {use.high:.1f} to reckon with" if use.high is not None else ""
    lines = [
        f"Fuel: {use.mean:.1f}{spread} ml a minute over {use.heats} heats{most}",
        f"A tank of {plan.tank_ml:.0f} ml less {plan.reserve_ml:.0f} in reserve lasts "
        f"{plan.longest:.1f} min, usually {plan.usual:.1f}",
    ]
    if not plan.stops:
        lines.append(f"{plan.race_minutes:.0f} min: no stop needed")
    for stop in plan.stops:
        lines.append(
            f"Stop {stop.number}: between {stop.earliest:.1f} and {stop.latest:.1f} min "
            f"(shared out evenly: {stop.even:.1f})"
        )
    if plan.caution:
        lines.append(f"Note: {plan.caution}")
    return lines
