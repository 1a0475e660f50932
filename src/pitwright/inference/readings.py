"""Readings of a wearing part: what each is worth, and which stand before the run-in."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

_RUN_IN_SIGMAS = 3.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One check of a wearing part, any one unit.

    `minutes` run time of the part when it was read; `value` the size; `u` the standard uncertainty
    that varies between readings (scatter, resolution, zeroing) and not the tool's permissible
    error, which all readings share; `run_in` False when it was taken before the part was run in
    (a new spring before its few squeezes). `seat` is the standard uncertainty of seating part and
    tool anew, which quick repeats do not average out; readings of one `occasion` share it (empty:
    an occasion of its own). `hot` is the running so far that was hotter than usual, in minutes
    times tens of kelvin (0: not known).
    Raises ValueError unless all are finite, minutes and seat are not negative and u is above zero.
    """

    minutes: float
    value: float
    u: float
    run_in: bool = True
    seat: float = 0.0
    occasion: str = ""
    hot: float = 0.0

    def __post_init__(self) -> None:
        figures = (self.minutes, self.value, self.u, self.seat, self.hot)
        if not all(math.isfinite(x) for x in figures):
            raise ValueError(f"a reading needs finite figures, got {self}")
        if self.minutes < 0.0 or self.u <= 0.0 or self.seat < 0.0:
            raise ValueError(f"a reading needs minutes >= 0, u > 0 and seat >= 0, got {self}")

    @property
    def whole_u(self) -> float:
        """Standard uncertainty of this reading taken by itself."""
        return math.hypot(self.u, self.seat)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its standard uncertainty."""

    value: float
    u: float


def split_run_in(readings: Sequence[Reading]) -> tuple[list[Reading], list[str]]:
    """Order readings and mark those clearly above a later one at zero minutes as before run-in.

    Returns them with a note for each so marked. Readings at the same run time keep their order.
    """
    readings = sorted(readings, key=lambda r: r.minutes)
    out: list[Reading] = []
    notes: list[str] = []
    for i, r in enumerate(readings):
        later = [x for x in readings[i + 1 :] if x.minutes == 0.0 and x.run_in]
        if (
            r.run_in
            and r.minutes == 0.0
            and later
            and all(
                r.value - x.value > _RUN_IN_SIGMAS * math.hypot(r.whole_u, x.whole_u) for x in later
            )
        ):
            out.append(replace(r, run_in=False))
            notes.append(f"{r.value:.5g} at zero minutes is taken as before run-in")
        else:
            out.append(r)
    return out, notes


def distinct_minutes(readings: Sequence[Reading]) -> int:
    """Count the different run times at which a run-in part was read."""
    return len({r.minutes for r in readings if r.run_in})


def mean_before(readings: Sequence[Reading]) -> Estimate | None:
    """Return the weighted mean of the readings before run-in, None without any."""
    before = [r for r in readings if not r.run_in]
    if not before:
        return None
    weight = math.fsum(1.0 / r.whole_u**2 for r in before)
    value = math.fsum(r.value / r.whole_u**2 for r in before) / weight
    return Estimate(value, 1.0 / math.sqrt(weight))
