"""Hand tools of the bench: what each can resolve, and how far it may be wrong."""

import math
from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

SQRT3 = math.sqrt(3.0)


class InstrumentKind(StrEnum):
    """The tools a clutch bench knows."""

    CALIPER = "caliper"
    DEPTH_ROD = "depth rod"
    STEP_TOOL = "go/no-go depth tool"
    FEELER = "feeler gauge"
    TORQUE_DRIVER = "torque driver"
    MICROMETER = "shim micrometer"


@dataclass(frozen=True, slots=True)
class Instrument:
    """One measuring tool. Figures are in the same unit as its readings.

    `resolution`             smallest step of the display or scale (for feelers: of the leaf set)
    `max_permissible_error`  largest error its maker or a check allows, plus or minus
    `relative_error`         the same as a fraction of the reading, for torque drivers (ISO 6789-1
                             type II class A, seen second hand: 0.06 up to 10 N m, 0.04 above)
    `zero_uncertainty`       standard uncertainty of setting zero; None: one resolution step
                             taken as rectangular
    `zero_age_h`             hours since zero was last checked; None: not known
    `steps`                  nominal steps of a go/no-go tool, rising
    Raises ValueError for figures below zero, not finite, or for a tool that states neither a
    resolution, a relative error nor steps (nothing could then be said of its readings).
    """

    name: str
    kind: InstrumentKind
    resolution: float = 0.0
    max_permissible_error: float = 0.0
    relative_error: float = 0.0
    zero_uncertainty: float | None = None
    zero_age_h: float | None = None
    steps: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        figures = {
            "resolution": self.resolution,
            "max_permissible_error": self.max_permissible_error,
            "relative_error": self.relative_error,
            "zero_uncertainty": self.zero_uncertainty,
            "zero_age_h": self.zero_age_h,
        }
        for key, figure in figures.items():
            if figure is not None and not (math.isfinite(figure) and figure >= 0.0):
                raise ValueError(f"{self.name}: {key} must be zero or more, got {figure}")
        if any(not math.isfinite(step) for step in self.steps) or any(
            b <= a for a, b in pairwise(self.steps)
        ):
            raise ValueError(f"{self.name}: steps must rise, got {self.steps}")
        if self.kind is InstrumentKind.STEP_TOOL:
            if len(self.steps) < 2:
                raise ValueError(f"{self.name}: a go/no-go tool needs at least two steps")
        elif self.resolution == 0.0 and self.relative_error == 0.0:
            raise ValueError(f"{self.name}: state a resolution, or a relative error")

    @property
    def u_resolution(self) -> float:
        """Standard uncertainty of one rounded reading, d / (2 sqrt 3). Source: GUM F.2.2.1."""
        return self.resolution / (2.0 * SQRT3)

    @property
    def u_zero(self) -> float:
        """Standard uncertainty of one zeroing (or of one second reading that is subtracted)."""
        return self.u_resolution if self.zero_uncertainty is None else self.zero_uncertainty

    def u_error(self, value: float) -> float:
        """Standard uncertainty from the permissible error at `value`, rectangular (GUM 4.3.7)."""
        return (self.max_permissible_error + self.relative_error * abs(value)) / SQRT3


@dataclass(frozen=True, slots=True)
class StepReading:
    """What a go/no-go tool tells: the true value lies between `low` and `high`.

    None means that the tool has no step on that side, so the interval is open there.
    """

    low: float | None
    high: float | None

    @property
    def closed(self) -> bool:
        """Tell whether both ends are known, so that a value and an uncertainty exist."""
        return self.low is not None and self.high is not None


def step_reading(instrument: Instrument, largest_go: float | None) -> StepReading:
    """Return the interval told by the largest step that goes (None: not even the smallest goes).

    The tool's own permissible error widens the interval on both sides. Raises ValueError when
    `largest_go` is not one of the tool's steps.
    """
    steps, slack = instrument.steps, instrument.max_permissible_error
    if not steps:
        raise ValueError(f"{instrument.name} has no steps")
    if largest_go is None:
        return StepReading(None, steps[0] + slack)
    i = bisect_right(steps, largest_go + 1e-9 * max(1.0, abs(largest_go))) - 1
    if i < 0 or not math.isclose(steps[i], largest_go, rel_tol=1e-9, abs_tol=1e-12):
        known = ", ".join(f"{step:g}" for step in steps)
        raise ValueError(f"{instrument.name} has no step {largest_go:g}; its steps are {known}")
    high = steps[i + 1] + slack if i + 1 < len(steps) else None
    return StepReading(steps[i] - slack, high)
