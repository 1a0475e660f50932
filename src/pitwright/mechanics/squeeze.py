"""A spring's rate from squeezing it: lengths under known forces.

Sources:
    [1] Budynas and Nisbett, Shigley's Mechanical Engineering Design, 9th ed., ch. 10.
    [2] JCGM 100:2008 (GUM), H.3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import (
    RangeError,
    finite_result,
    magnitude,
    not_negative,
    positive,
)
from pitwright.mechanics.lines import fit_line


@dataclass(frozen=True)
class SqueezeFit:
    """What a squeeze test says.

    Attributes:
        rate: k [N/m].
        standard_error: of k [N/m]; None from two points, which cannot show their own scatter.
        free_length: length [m] at which the fitted force is nil.
    """

    rate: float
    standard_error: float | None
    free_length: float


def rate_from_squeeze(points: Sequence[tuple[float, float]]) -> SqueezeFit:
    """Rate from lengths under load: F = k (L_free - L), two points exact, more least squares.

    Args:
        points: (length [m], force [N]) pairs, two or more, at different lengths. Lengths are taken
            as exact beside the forces (a caliper against a kitchen scale).

    Range: all lengths well above solid, the rate rises in the last fifth before it.
    Raises: RangeError: fewer than two points, equal lengths, or force that falls when squeezed.
    Source: [1] section 10-1 (linear spring); least squares as in [2].

    >>> fit = rate_from_squeeze([(9.0e-3, 30.0), (8.0e-3, 60.0)])
    >>> round(fit.rate), round(fit.free_length, 6), fit.standard_error
    (30000, 0.01, None)
    """
    if len(points) < 2:
        raise RangeError("points", len(points), "at least two squeezes are needed")
    lengths = [positive("points", length) for length, _ in points]
    forces = [not_negative("points", force) for _, force in points]
    if len(points) == 2:
        run = lengths[0] - lengths[1]
        if abs(magnitude("points", run)) <= 1e-12 * magnitude("points", lengths[0]):
            raise RangeError("points", points, "both lengths are alike, so no rate can be told")
        k, error = (forces[1] - forces[0]) / run, None
        at_rest = lengths[0] * k + forces[0]
    else:
        try:
            line = fit_line(lengths, forces)
        except RangeError as refused:
            raise RangeError("points", points, f"gives no line: {refused.reason}") from refused
        k, error = -line.slope, line.u_slope
        at_rest = line.intercept
    if magnitude("points", k) <= 0:
        raise RangeError("points", k, "the force must rise as the spring is squeezed")
    L_free = at_rest / k
    return SqueezeFit(finite_result("rate", k), error, finite_result("free_length", L_free))
