"""Which laps of a heat count towards pace, and laps from taps at the line.

Everything here works on plain sequences of seconds.
"""

import itertools
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Reason = Literal["stop", "mistake", "short"]

MAD_TO_SD = 1.4826
"""Standard deviations per median absolute deviation, for a normal distribution."""


@dataclass(frozen=True)
class SetAsideRule:
    """The rule by which laps are set aside before pace is worked out.

    stop_ratio: a lap longer than this many times the heat's median is a stop (or a missed count).
    mistake_spreads, mistake_ratio: a lap that is over the median by more than this many robust
    spreads (1.4826 MAD) and also longer than this many times the median is a mistake.
    short_ratio: a lap below this share of the median was cut, or counted twice.
    opening: the first so many laps are judged by the stop and short rules only, since they are
    slow for reasons of their own and have a figure of their own.
    fewest: with fewer laps than this nothing is called a mistake; there is no spread to judge by.

    Raises ValueError for a rule that would set aside ordinary laps.
    """

    stop_ratio: float = 1.5
    mistake_spreads: float = 4.0
    mistake_ratio: float = 1.03
    short_ratio: float = 0.7
    opening: int = 2
    fewest: int = 5

    def __post_init__(self) -> None:
        if not (1.0 < self.mistake_ratio <= self.stop_ratio < math.inf):
            raise ValueError("stop_ratio must be at least mistake_ratio, and both above 1")
        if not 0.0 <= self.short_ratio < 1.0:
            raise ValueError("short_ratio must be from 0 to below 1")
        if not (self.mistake_spreads > 0.0 and self.opening >= 0 and self.fewest >= 1):
            raise ValueError("mistake_spreads must be above 0, opening not negative, fewest >= 1")

    @property
    def sentence(self) -> str:
        """The rule as one sentence for the user."""
        opening = (
            f"; the first {self.opening} laps are never called mistakes" if self.opening else ""
        )
        return (
            f"Set aside: laps over {self.stop_ratio:g} times the heat's median (a stop or a missed "
            f"count), laps both {self.mistake_spreads:g} spreads and "
            f"{(self.mistake_ratio - 1) * 100:.3g} % over it (a mistake), "
            f"and laps under {self.short_ratio:g} of it (cut or counted twice){opening}."
        )


@dataclass(frozen=True)
class SetAside:
    """A lap that was set aside: its number in the heat (from 1), its seconds and why."""

    lap: int
    seconds: float
    reason: Reason


def checked_laps(laps: Sequence[float]) -> tuple[float, ...]:
    """Return the laps as floats; raise ValueError when one is not a positive finite number."""
    out = tuple(float(lap) for lap in laps)
    if not out:
        raise ValueError("no laps")
    for number, seconds in enumerate(out, 1):
        if not (math.isfinite(seconds) and seconds > 0.0):
            raise ValueError(f"lap {number} is {seconds!r}: a lap takes more than 0 s")
    return out


def set_aside(laps: Sequence[float], rule: SetAsideRule | None = None) -> tuple[SetAside, ...]:
    """Return the laps the rule sets aside, in order.

    The median and the spread are those of the laps that are neither stops nor short, so that a
    heat full of stops does not hide its mistakes. Raises ValueError as `checked_laps`.
    """
    rule = rule or SetAsideRule()
    values = checked_laps(laps)
    median = statistics.median(values)
    plain = [lap for lap in values if rule.short_ratio * median <= lap <= rule.stop_ratio * median]
    if not plain:  # half very short, half very long: nothing typical to judge by
        return ()
    median = statistics.median(plain)
    limit = math.inf
    if len(plain) >= rule.fewest:
        spread = MAD_TO_SD * statistics.median(abs(lap - median) for lap in plain)
        limit = max(median + rule.mistake_spreads * spread, median * rule.mistake_ratio)
    found: list[SetAside] = []
    for number, lap in enumerate(values, 1):
        reason: Reason | None = None
        if lap > rule.stop_ratio * median:
            reason = "stop"
        elif lap < rule.short_ratio * median:
            reason = "short"
        elif lap > limit and number > rule.opening:
            reason = "mistake"
        if reason is not None:
            found.append(SetAside(number, lap, reason))
    return tuple(found)


def laps_from_taps(taps: Sequence[float]) -> tuple[float, ...]:
    """Return the laps between taps at the line; the first tap starts the first lap.

    taps: seconds on any clock that only runs forward, one per crossing of the line. A mis-tap
    is undone by the caller dropping it. Fewer than two taps make no lap.
    Raises ValueError when a tap is not a finite number or not later than the one before.
    """
    times = [float(tap) for tap in taps]
    for number, (before, after) in enumerate(itertools.pairwise(times), 2):
        if not after > before:
            raise ValueError(f"tap {number} is not later than the tap before it")
    if not all(math.isfinite(time) for time in times):
        raise ValueError("a tap without a time")
    return tuple(after - before for before, after in itertools.pairwise(times))
