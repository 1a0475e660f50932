"""What a forecast can be asked: sizes, chances, minutes left, and when to change."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pitwright.inference.kinds import Estimate
from pitwright.inference.wear_laws import LawFit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_NOISE_STREAM = 20260517  # fixed, so that the same readings always give the same answer
_FOREVER = 1e5  # minutes; no part is kept that long


@dataclass(frozen=True, slots=True)
class Interval:
    """A middle (median) and the range that holds with the stated coverage.

    For minutes left, inf means longer than any part is kept.
    """

    middle: float
    low: float
    high: float
    coverage: float


@dataclass(frozen=True, slots=True)
class Futures:
    """Possible futures under one law: start, rate and scatter scale of each."""

    fit: LawFit
    start: "Floats"
    rate: "Floats"
    scale: "Floats"

    def at(self, minutes: float) -> "Floats":
        """Return the possible sizes after `minutes` of running."""
        return self.start - self.rate * self.fit.law.progress(minutes)


@dataclass(frozen=True)
class Forecast:
    """The forecast of one part.

    `law` the likelier law and `linear_weight` the belief in the linear one; `n` run-in readings
    used; `last_minutes` the run time of the latest; `u` the typical standard uncertainty of one
    reading; `kind_count` earlier parts that informed it and `kind_weight` their share in what is
    known of the wear rate (0 to 1); `run_in_drop` the drop of the few squeezes; `notes` in plain
    words.
    """

    law: str
    linear_weight: float
    n: int
    last_minutes: float
    u: float
    kind_count: int
    kind_weight: float
    run_in_drop: Estimate | None
    notes: tuple[str, ...]
    fits: tuple[LawFit, ...]
    weights: tuple[float, ...]
    futures: tuple[Futures, ...] = field(repr=False, compare=False)

    def sizes(self, minutes: float) -> "Floats":
        """Return the possible true sizes after `minutes` of running."""
        import numpy as np

        return np.concatenate([f.at(minutes) for f in self.futures])

    def paths(self, minutes: Sequence[float]) -> "Floats":
        """Return the true sizes along each possible future: (futures, run times)."""
        import numpy as np

        return np.stack([self.sizes(m) for m in minutes], axis=1)

    def size(self, minutes: float, coverage: float = 0.9) -> Interval:
        """Return where the size itself will lie after `minutes` of running."""
        return _interval(self.sizes(minutes), coverage)

    def reading(self, minutes: float, coverage: float = 0.9, u: float | None = None) -> Interval:
        """Return the prediction interval for a reading after `minutes`, with the usual tool.

        `u` is the standard uncertainty of that reading; None: like those so far.
        """
        import numpy as np

        noise = np.random.default_rng(_NOISE_STREAM)
        scale = np.concatenate([f.scale for f in self.futures])
        spread = (self.u if u is None else u) * scale
        values = self.sizes(minutes)
        return _interval(values + spread * noise.standard_normal(values.size), coverage)

    def probability_above(self, minutes: float, limit: float) -> float:
        """Return the chance that the size is still above `limit` after `minutes` of running.

        Never exactly 0 or 1: the futures drawn are many, not all.
        """
        values = self.sizes(minutes)
        return (float((values > limit).sum()) + 0.5) / (values.size + 1.0)

    def minutes_left(
        self, limit: float, *, now: float | None = None, coverage: float = 0.9
    ) -> Interval:
        """Return the running minutes until `limit` is reached, from `now` (None: last reading).

        Zero when it may be past it already; inf when it may outlast everything.
        """
        import numpy as np

        here = self.last_minutes if now is None else now
        ends = []
        for f in self.futures:
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                progress = (f.start - limit) / f.rate
                t0 = f.fit.law.t0
                ends.append(progress if t0 is None else t0 * np.expm1(np.minimum(progress, 700.0)))
        left = np.clip(np.concatenate(ends) - here, 0.0, _FOREVER)
        span = _interval(left, coverage)
        return Interval(
            _or_forever(span.middle), _or_forever(span.low), _or_forever(span.high), coverage
        )

    def curve(self, minutes: Sequence[float], coverage: float = 0.9) -> tuple[Interval, ...]:
        """Return the law with its band at several run times, for a picture."""
        return tuple(self.size(m, coverage) for m in minutes)


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """When to change, given the heats to come.

    `chances` of being above the limit at the end of each; `before` the index of the latest heat
    before which the part must be changed to keep every heat at `confidence` (0: now; None: it
    lasts them all).
    """

    chances: tuple[float, ...]
    before: int | None
    confidence: float


def change_plan(
    outlook: Forecast,
    limit: float,
    upcoming: Sequence[float],
    *,
    now: float | None = None,
    confidence: float = 0.9,
) -> ChangePlan:
    """Find the latest heat before which to change, for heats of `upcoming` run minutes each."""
    at = outlook.last_minutes if now is None else now
    chances = []
    for minutes in upcoming:
        at += minutes
        chances.append(outlook.probability_above(at, limit))
    before = next((i for i, chance in enumerate(chances) if chance < confidence), None)
    return ChangePlan(tuple(chances), before, confidence)


def earliest(limits: Mapping[str, float | None]) -> tuple[str, float] | None:
    """Return the limit that a shrinking part meets first, by name; None when none is known."""
    known = [(value, name) for name, value in limits.items() if value is not None]
    if not known:
        return None
    value, name = max(known, key=lambda pair: pair[0])
    return name, value


def _interval(values: "Floats", coverage: float) -> Interval:
    import numpy as np

    if not 0.0 < coverage < 1.0:
        raise ValueError(f"coverage must lie between 0 and 1, got {coverage}")
    tail = 0.5 * (1.0 - coverage)
    low, middle, high = np.quantile(values, (tail, 0.5, 1.0 - tail))
    return Interval(float(middle), float(low), float(high), coverage)


def _or_forever(minutes: float) -> float:
    return math.inf if minutes >= 0.999 * _FOREVER else minutes
