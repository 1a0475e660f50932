"""What a forecast can be asked: sizes, chances, minutes left, and when to change."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pitwright.inference.readings import Estimate
from pitwright.inference.wear_paths import Paths

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# fixed, so that the same readings always give the same answer
_NOISE_STREAM, _LIMIT_STREAM = 20260517, 20260518
AT_MOST_ODD = 0.99
"""The most that is claimed for a part of which a reading does not fit the others."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A middle (median) and the range that holds with the stated coverage.

    For minutes left, inf means longer than any part is kept.
    """

    middle: float
    low: float
    high: float
    coverage: float


@dataclass(frozen=True)
class Forecast:
    """The forecast of one part; all its answers come from the same possible futures.

    `n` run-in readings used; `last_minutes` the run time of the latest; `u` the typical standard
    uncertainty of one reading; `kind_count` earlier parts that informed it and `kind_weight` their
    share in what is known of the wear (0 to 1); `run_in_drop` the drop of the few squeezes;
    `odd` what does not fit, in plain words, and `notes` the rest to know; `wild` the places, among
    the run-in readings in order, of those that do not fit the others.
    """

    n: int
    last_minutes: float
    u: float
    kind_count: int
    kind_weight: float
    run_in_drop: Estimate | None
    odd: tuple[str, ...]
    notes: tuple[str, ...]
    wild: tuple[int, ...]
    futures: Paths = field(repr=False, compare=False)

    def sizes(self, minutes: float) -> "Floats":
        """Return the possible true sizes after `minutes` of running."""
        out: Floats = self.paths([minutes])[:, 0]
        return out

    def paths(self, minutes: Sequence[float]) -> "Floats":
        """Return the true sizes along each possible future: (futures, run times).

        Row by row the same futures that every other answer is read from; never rising with time.
        """
        import numpy as np

        knots, sizes = self.futures.knots, self.futures.sizes
        at = np.asarray(minutes, dtype=float)
        right = np.clip(np.searchsorted(knots, at), 1, knots.size - 1)
        left = right - 1
        share = np.maximum((at - knots[left]) / (knots[right] - knots[left]), 0.0)
        out: Floats = sizes[:, left] + share * (sizes[:, right] - sizes[:, left])
        return out

    def size(self, minutes: float, coverage: float = 0.9) -> Interval:
        """Return where the size itself will lie after `minutes` of running."""
        return _interval(self.sizes(minutes), coverage)

    def reading(self, minutes: float, coverage: float = 0.9, u: float | None = None) -> Interval:
        """Return the prediction interval for a reading after `minutes`, with the usual tool.

        `u` is the standard uncertainty of that reading; None: like those so far.
        """
        import numpy as np

        noise = np.random.default_rng(_NOISE_STREAM)
        spread = (self.u if u is None else u) * self.futures.scatter
        values = self.sizes(minutes)
        return _interval(values + spread * noise.standard_normal(values.size), coverage)

    def probability_above(self, minutes: float, limit: float, *, limit_u: float = 0.0) -> float:
        """Return the chance that the size is still above `limit` after `minutes` of running.

        `limit_u` is the limit's own standard uncertainty. Never exactly 0 or 1, since the futures
        drawn are many, not all; and never above AT_MOST_ODD when something does not fit.
        """
        values = self.sizes(minutes)
        above = (float((values > self._limits(limit, limit_u)).sum()) + 0.5) / (values.size + 1.0)
        return min(above, AT_MOST_ODD) if self.odd else above

    def minutes_left(
        self,
        limit: float,
        *,
        now: float | None = None,
        coverage: float = 0.9,
        limit_u: float = 0.0,
    ) -> Interval:
        """Return the running minutes until `limit` is reached, from `now` (None: last reading).

        Zero when it may be past it already; inf when it may outlast everything. `limit_u` as in
        `probability_above`.
        """
        import numpy as np

        knots, sizes = self.futures.knots, self.futures.sizes
        here = self.last_minutes if now is None else now
        limits = self._limits(limit, limit_u)
        below = sizes <= limits[:, None]
        right = np.argmax(below, axis=1)
        left = np.maximum(right - 1, 0)
        rows = np.arange(sizes.shape[0])
        fall = sizes[rows, left] - sizes[rows, right]
        share = np.where(fall > 0.0, (sizes[rows, left] - limits) / np.where(fall > 0, fall, 1), 0)
        end = knots[left] + np.where(right > 0, share, 0.0) * (knots[right] - knots[left])
        end = np.where(below.any(axis=1), end, np.inf)
        return _interval(np.maximum(end - here, 0.0), coverage)

    def curve(self, minutes: Sequence[float], coverage: float = 0.9) -> tuple[Interval, ...]:
        """Return the middle of the futures with its band at several run times, for a picture."""
        paths = self.paths(minutes)
        return tuple(_interval(paths[:, i], coverage) for i in range(paths.shape[1]))

    def wear(self, first: float, last: float, coverage: float = 0.9) -> Interval:
        """Return how much it wears between two run times."""
        ends = self.paths([first, last])
        return _interval(ends[:, 0] - ends[:, 1], coverage)

    def faster_than_before(self, minutes: float) -> float:
        """Return the chance that it now wears faster than it did, per minute of running.

        What it lost in the last `minutes` read against what it lost before them.
        """
        start = max(self.last_minutes - minutes, 0.5 * self.last_minutes)
        ends = self.paths([0.0, start, self.last_minutes])
        before = (ends[:, 0] - ends[:, 1]) / max(start, 1e-9)
        since = (ends[:, 1] - ends[:, 2]) / max(self.last_minutes - start, 1e-9)
        return float((since > before).mean())

    def _limits(self, limit: float, u: float) -> "Floats":
        """The limit in each future: as uncertain as it is stated to be."""
        import numpy as np

        count = self.futures.sizes.shape[0]
        out: Floats = np.full(count, limit)
        if u > 0.0:
            out += u * np.random.default_rng(_LIMIT_STREAM).standard_normal(count)
        return out


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
    limit_u: float = 0.0,
) -> ChangePlan:
    """Find the latest heat before which to change, for heats of `upcoming` run minutes each."""
    at = outlook.last_minutes if now is None else now
    chances = []
    for minutes in upcoming:
        at += minutes
        chances.append(outlook.probability_above(at, limit, limit_u=limit_u))
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
    # order statistics: no mean of a finite and an endless life
    ends = [tail, 0.5, 1.0 - tail]
    low, middle, high = np.quantile(values, ends, method="inverted_cdf")
    return Interval(float(middle), float(low), float(high), coverage)
