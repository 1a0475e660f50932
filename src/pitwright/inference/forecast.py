"""Will it last: the size of a wearing part forecast over run time, with honest doubt.

No law of wear is chosen: a family of curves, each free to be wrong, stays in play (`wear_belief`),
and a part can only wear, never grow. The forecast is a fixed set of possible futures drawn from
that belief, so every answer (interval, chance, minutes left) comes from the same futures and they
can never contradict each other. The same readings always give the same answer.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitwright.inference.kinds import KindPrior, learn_kind
from pitwright.inference.oddities import doubtful, grows, wild_readings
from pitwright.inference.outlook import (
    ChangePlan,
    Forecast,
    Interval,
    change_plan,
    earliest,
)
from pitwright.inference.readings import (
    Estimate,
    Reading,
    distinct_minutes,
    mean_before,
    split_run_in,
)
from pitwright.inference.wear_belief import Evidence, cells_of, log_odds, weigh
from pitwright.inference.wear_paths import Paths, draw
from pitwright.inference.wear_priors import (
    departure_table,
    scatter_belief,
    usual_table,
    wear_belief,
)
from pitwright.inference.wear_shapes import beliefs

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "ChangePlan",
    "Estimate",
    "Forecast",
    "Interval",
    "KindPrior",
    "Reading",
    "Unknown",
    "change_plan",
    "earliest",
    "forecast",
    "learn_kind",
]

_ENOUGH_RUN_TIMES = 3


@dataclass(frozen=True, slots=True)
class Unknown:
    """No forecast: why, and after how many more checks there may be one."""

    reason: str
    more_checks: int


def forecast(readings: Sequence[Reading], kind: KindPrior | None = None) -> Forecast | Unknown:
    """Forecast a wearing part from its readings and, when given, from earlier parts of its kind.

    Readings before run-in show the run-in drop and do not bend the curve; a reading at zero minutes
    that lies clearly above a later one at zero minutes is taken as such. Without earlier parts it
    takes run-in readings at three run times: fewer cannot tell how wear goes on, and an Unknown
    says so, as it does for readings that grow. With a kind even a part not read yet has a forecast.
    Range: falling sizes; turn the sign of a growing one. Source: see `wear_belief`.
    """
    readings, notes = split_run_in(readings)
    after = [r for r in readings if r.run_in]
    before = mean_before(readings)
    missing = _missing(readings, after, kind)
    if missing is not None:
        return missing
    growth = grows(after)
    if growth:
        return Unknown(growth, 1)
    found = weigh(after or [_as_of_its_kind(before, kind)], None if kind is None else kind.minutes)
    weight = _posterior(found, kind)
    futures = draw(found, weight)
    wild = wild_readings(found, weight) if after else ()
    odd = doubtful(after, found, weight, wild)
    if kind is not None:
        plural = "part" if kind.count == 1 else "parts"
        notes.append(f"leans on {kind.count} earlier {plural} of this kind")
    return Forecast(
        n=len(after),
        last_minutes=max((r.minutes for r in after), default=0.0),
        u=math.sqrt(math.fsum(r.whole_u**2 for r in readings) / len(readings))
        if readings
        else found.unit,
        kind_count=0 if kind is None else kind.count,
        kind_weight=_kind_weight(found, weight, kind),
        run_in_drop=_drop(before, futures) if after else None,
        odd=odd,
        notes=tuple(notes),
        wild=wild,
        futures=futures,
    )


def _missing(
    readings: Sequence[Reading], after: Sequence[Reading], kind: KindPrior | None
) -> Unknown | None:
    """Say what cannot be known yet, None when a forecast can be made."""
    if kind is not None:
        return None
    if not readings:
        return Unknown("no reading yet", _ENOUGH_RUN_TIMES)
    times = distinct_minutes(after)
    more = _ENOUGH_RUN_TIMES - times
    if times == 0:
        return Unknown("not yet read after run-in: nothing is known of its wear", more)
    if times == 1:
        return Unknown("one run time shows where it is, not how fast it wears", more)
    if times == 2:
        return Unknown("two run times cannot tell steady wear from settling that slows down", more)
    if after[-1].minutes - after[0].minutes < _SHORTEST * after[-1].minutes:
        return Unknown("the readings lie too close together in run time to show any wear", 1)
    return None


_SHORTEST = 1e-4


def _as_of_its_kind(before: Estimate | None, kind: KindPrior | None) -> Reading:
    """Stand in for a first reading after run-in: what the kind, and the size new, let expect."""
    assert kind is not None
    guess = kind.start
    if before is not None and kind.drop is not None:
        guess = Estimate(before.value - kind.drop.value, math.hypot(before.u, kind.drop.u))
    return Reading(0.0, guess.value, guess.u)


def _posterior(found: Evidence, kind: KindPrior | None) -> "Floats":
    """Return the belief in every cell of evidence (pairs, nodes, scatters), adding up to one."""
    import numpy as np

    models = found.models
    table = usual_table() if kind is None else departure_table(kind.departures)
    share = table.ravel()[cells_of(found)]
    odds = np.array([log_odds(h) for h in models.hypotheses])[models.of][found.model]
    if kind is None:
        wear = wear_belief(found.wear) + np.log(beliefs())[found.curve][:, None]
    else:
        wear = kind.wear_belief(found.curve, found.wear * found.unit)
    each = wear + np.log(found.width) + odds[:, None]
    scatter = scatter_belief() if kind is None else kind.scatter
    log = found.log + each[:, :, None] + scatter
    weight = np.exp(log - log.max()) * share
    out: Floats = weight / weight.sum()
    return out


def _kind_weight(found: Evidence, weight: "Floats", kind: KindPrior | None) -> float:
    """Return the share of earlier parts in what is known of the wear."""
    import numpy as np

    if kind is None:
        return 0.0
    if len(found.readings) == 1:
        return 1.0
    mass = weight.sum(axis=2)
    log = np.log(found.wear)
    mean = float((mass * log).sum())
    spread = float((mass * (log - mean) ** 2).sum())
    return min(1.0, spread / kind.wear_spread**2)


def _drop(before: Estimate | None, futures: Paths) -> Estimate | None:
    if before is None:
        return None
    start = futures.sizes[:, 0]
    return Estimate(before.value - float(start.mean()), math.hypot(float(start.std()), before.u))
