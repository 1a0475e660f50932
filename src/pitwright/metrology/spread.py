"""How far a true value may lie from a measured one, when few readings and a tool's limits meet."""

import math
from dataclasses import dataclass

from pitwright.student import (
    t_cdf,
    t_quantile,
    t_rectangular_quantile,
    t_rectangular_tail,
)

_SQRT3 = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Spread:
    """What is known of a measured value's error, in the unit of the value.

    `u`, `dof` combined standard uncertainty and its effective degrees of freedom: a scaled
    Student's t (GUM G.4). `scatter` the part of u that comes from few readings, `scatter_dof` its
    degrees of freedom.

    Few readings next to a tool's error are where that one t claims too much: two readings that
    happen to agree look like a tool without scatter. There the parts keep their own distributions
    (JCGM 101:2008, 6.4.9 Student's t for the mean of a few readings, 6.4.2 rectangular for stated
    limits) and are added up, and the wider answer of the two counts. With scatter that is well
    known, the t alone is the wider one.
    """

    u: float
    dof: float = math.inf
    scatter: float = 0.0
    scatter_dof: float = math.inf

    @property
    def _half(self) -> float:
        """Half width of the rectangle that has what the scatter leaves of u."""
        return _SQRT3 * math.sqrt(max(0.0, self.u**2 - self.scatter**2))

    @property
    def _summed(self) -> bool:
        return self.scatter > 0.0 and math.isfinite(self.scatter_dof)

    def quantile(self, p: float) -> float:
        """Return the distance that the error stays under, on one side, with probability p > 0.5.

        >>> round(Spread(1.0).quantile(0.97725), 3)
        2.0
        >>> round(Spread(1.0, 1.0, 1.0, 1.0).quantile(0.975), 2)
        12.71
        """
        alone = t_quantile(p, max(self.dof, 1.0)) * self.u
        if not self._summed:
            return alone
        summed = t_rectangular_quantile(p, self.scatter, max(self.scatter_dof, 1.0), self._half)
        return max(alone, summed)

    def beyond(self, distance: float) -> float:
        """Return the probability that the error on one side is more than `distance`; u above 0.

        >>> round(Spread(0.05).beyond(0.07), 2)
        0.08
        """
        if distance < 0.0:
            return 1.0 - self.beyond(-distance)
        tail = t_cdf(-distance / self.u, self.dof)
        if self._summed:
            dof = max(self.scatter_dof, 1.0)
            tail = max(tail, t_rectangular_tail(distance, self.scatter, dof, self._half))
        return tail
