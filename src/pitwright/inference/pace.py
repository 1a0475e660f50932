"""The pace of one heat, worked out from its laps in seconds."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pitwright.inference.laps import SetAside, SetAsideRule, checked_laps, set_aside
from pitwright.inference.slopes import Slope, theil_sen

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

BEST_N = 5
RUN_N = 3


@dataclass(frozen=True)
class HeatPace:
    """What the laps of one heat say. Times in seconds; None where there are too few laps.

    laps: every lap as given. total: their sum, stops and all.
    set_aside: the laps left out of everything below, each with its reason; rule: by which rule.
    best: quickest kept lap, and best_lap its number. median: of the kept laps.
    best_mean: mean of the `best_n` quickest kept laps.
    run_mean: lowest mean of `run_n` laps driven one after the other with none set aside, and
    run_from the number of the first of them.
    settled: median of the kept laps after the opening ones; the figure to compare heats by.
    scatter: median absolute deviation of those laps from it (half of them lie within it).
    fade: Theil-Sen slope of those laps against the time at which each began, seconds of lap
    time gained per minute of running (positive: the car slows down).
    opening: each kept opening lap less `settled`; opening_loss: their sum.
    """

    laps: tuple[float, ...]
    total: float
    rule: SetAsideRule
    set_aside: tuple[SetAside, ...]
    best: float | None
    best_lap: int | None
    median: float | None
    best_n: int
    best_mean: float | None
    run_n: int
    run_mean: float | None
    run_from: int | None
    settled: float | None
    scatter: float | None
    fade: Slope | None
    opening: tuple[float, ...] = field(default=())
    opening_loss: float | None = None

    @property
    def kept(self) -> tuple[float, ...]:
        """The laps that were not set aside, in order."""
        out = {mark.lap for mark in self.set_aside}
        return tuple(lap for number, lap in enumerate(self.laps, 1) if number not in out)

    @property
    def sentence(self) -> str:
        """One line for the mechanic."""
        if self.median is None:
            return f"{len(self.laps)} laps, none of them typical enough to give a pace."
        # The last bits of a float are dropped first, so that a half is rounded one way everywhere.
        middle = f"{round(self.median, 6):.2f}"
        text = f"{_counted(len(self.laps))}, best {self.best:.2f} s, median {middle} s"
        if self.scatter is not None:
            text += f", half of the settled laps within {self.scatter:.2f} s"
        if self.set_aside:
            text += f"; {_counted(len(self.set_aside))} set aside"
        return f"{text}. {fade_sentence(self.fade)}"


def fade_sentence(fade: Slope | None) -> str:
    """Say whether lap times rise or fall through the heat, or that it cannot be told."""
    if fade is None or fade.low is None or fade.high is None:
        return "Too few laps to tell whether it fades."
    span = f"({fade.low:+.3f} to {fade.high:+.3f} s a minute)"
    if fade.low > 0.0:
        return f"It fades by {fade.value:.3f} s of lap time each minute {span}."
    if fade.high < 0.0:
        return f"It gets quicker by {-fade.value:.3f} s of lap time each minute {span}."
    return f"No fade that can be told from the scatter {span}."


def analyse_heat(
    laps: Sequence[float],
    rule: SetAsideRule | None = None,
    *,
    best_n: int = BEST_N,
    run_n: int = RUN_N,
) -> HeatPace:
    """Work out the pace of one heat.

    laps: lap times in seconds in the order driven, the first lap from the start included.
    Raises ValueError when there are no laps, when one is not a positive finite number, or when
    best_n or run_n is below 1.
    """
    import numpy as np

    if best_n < 1 or run_n < 1:
        raise ValueError("best_n and run_n must be at least 1")
    rule = rule or SetAsideRule()
    given = checked_laps(laps)
    aside = set_aside(given, rule)
    values = np.array(given)
    keep = np.ones(values.size, dtype=bool)
    keep[[mark.lap - 1 for mark in aside]] = False
    kept = values[keep]
    begun = np.concatenate(([0.0], np.cumsum(values)[:-1])) / 60.0
    late = keep.copy()
    late[: rule.opening] = False
    settled_laps = values[late]
    settled = float(np.median(settled_laps)) if settled_laps.size else None
    opening: tuple[float, ...] = ()
    if settled is not None:
        early = values[: rule.opening][keep[: rule.opening]]
        opening = tuple(float(lap) - settled for lap in early)
    best_at = int(np.flatnonzero(keep)[np.argmin(kept)]) if kept.size else None
    run = _best_run(values, keep, run_n)
    return HeatPace(
        laps=given,
        total=float(values.sum()),
        rule=rule,
        set_aside=aside,
        best=None if best_at is None else given[best_at],
        best_lap=None if best_at is None else best_at + 1,
        median=float(np.median(kept)) if kept.size else None,
        best_n=best_n,
        best_mean=float(np.sort(kept)[:best_n].mean()) if kept.size >= best_n else None,
        run_n=run_n,
        run_mean=None if run is None else run[0],
        run_from=None if run is None else run[1],
        settled=settled,
        scatter=None if settled is None else float(np.median(np.abs(settled_laps - settled))),
        fade=theil_sen(begun[late], settled_laps) if settled_laps.size >= 2 else None,
        opening=opening,
        opening_loss=sum(opening) if opening else None,
    )


def _best_run(
    values: "NDArray[np.float64]", keep: "NDArray[np.bool_]", n: int
) -> tuple[float, int] | None:
    """Lowest mean of n laps in a row with none set aside, and the number of its first lap."""
    import numpy as np

    if values.size < n:
        return None
    windows = np.lib.stride_tricks.sliding_window_view
    means = windows(values, n).mean(axis=1)
    means = np.where(windows(keep, n).all(axis=1), means, np.inf)
    at = int(np.argmin(means))
    return (float(means[at]), at + 1) if np.isfinite(means[at]) else None


def _counted(n: int) -> str:
    return f"{n} lap" if n == 1 else f"{n} laps"
