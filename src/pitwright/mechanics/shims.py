r"""The best shims from the tin, for end play and bell height at once.

Lengths here are whole micrometres, the grain of a shim tin. With h and e the summed thickness of
the height and the end-play shims, B the end play and H the bell height without any,

    end play = B + c h - e,        bell height = H + h,

where c says how the height shims move the end play (the card knows: usually -1, 0 or +1).

The search is exact. Which pairs (h, e) the tin can make is a bounded subset sum over two places
that draw on one tin (:mod:`pitwright.mechanics.stacks`). Sums are limited to a window around the
targets, widened until nothing outside it could be better.

References:
    [1] H. Kellerer, U. Pferschy and D. Pisinger, Knapsack Problems, ch. 4 (subset sum, bounded,
        by dynamic programming and by word-parallel bit sets).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pitwright.mechanics.errors import RangeError, finite, not_negative, whole
from pitwright.mechanics.stacks import Pair, Reach, fewest_shims, reachable

Tin = Mapping[int, int]
"""Thickness [micrometres] to how many there are."""

FIRST_REACH = 16
"""Summed error up to which the first search looks [micrometres]."""
THICKEST = 5_000
"""Beyond this a thickness or a play is a slip of the pen [micrometres]."""
MOST_OF_ONE = 1_000


@dataclass(frozen=True, slots=True)
class Place:
    """A place for shims: what it measures without any, its band and its target [micrometres]."""

    bare: int
    low: int
    target: int
    high: int

    def __post_init__(self) -> None:
        for name in ("bare", "low", "target", "high"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, int):
                raise RangeError(name, value, "must be whole micrometres")
            if abs(value) > THICKEST:
                raise RangeError(name, value, f"is more than {THICKEST} micrometres")
        if not self.low <= self.target <= self.high:
            raise RangeError("target", self.target, f"must lie in {self.low} to {self.high}")


@dataclass(frozen=True, slots=True)
class Stacks:
    """One answer: which shims go where, and what they give [micrometres]."""

    end_play_shims: Mapping[int, int]
    height_shims: Mapping[int, int]
    end_play: int
    height: int
    error: int  # summed distance of both places from their targets
    both_in_band: bool

    @property
    def count(self) -> int:
        """How many shims it takes."""
        return sum(self.end_play_shims.values()) + sum(self.height_shims.values())


@dataclass(frozen=True, slots=True)
class Expected:
    """What to expect of a place once shimmed: mean, standard uncertainty [um], chance in band."""

    mean: float
    u: float
    chance_in_band: float


def counted_back(tin: Tin, *fitted: Tin) -> dict[int, int]:
    """Tin with the shims now fitted put back, for those who are willing to move them.

    >>> counted_back({100: 2}, {100: 1, 250: 1})
    {100: 3, 250: 1}
    """
    total = dict(_checked(tin))
    for shims in fitted:
        for thickness, count in _checked(shims).items():
            total[thickness] = total.get(thickness, 0) + count
    return total


def best_stacks(
    tin: Tin, end_play: Place, height: Place, coefficient: int = 0, keep: int = 5
) -> tuple[Stacks, ...]:
    """Best ways to shim both places from one tin, best first; exact.

    Better means: both places in band, then the smaller summed error, then the fewer shims. Stacks
    that would leave less than no play cannot be put together and are not offered. Each answer
    differs from the others in what it gives, and takes the fewest shims that give it.

    Args:
        tin: what there is; no more than that is ever used.
        end_play, height: the two places.
        coefficient: c, how the height shims change the end play, one of -1, 0, +1 as a rule.
        keep: how many answers to give, the best and its runners-up; fewer if there are fewer.

    Raises:
        RangeError: thickness or count not whole or out of range, or nothing to keep.

    >>> answers = best_stacks({100: 4, 250: 2}, Place(540, 200, 240, 300),
    ...     Place(0, 250, 300, 350), coefficient=-1)
    >>> best = answers[0]
    >>> best.end_play_shims, best.height_shims, best.end_play, best.height
    ({}, {100: 3}, 240, 300)
    """
    whole("keep", keep)
    if isinstance(coefficient, bool) or not isinstance(coefficient, int):
        raise RangeError("coefficient", coefficient, "must be a whole number")
    tin = {thickness: count for thickness, count in sorted(_checked(tin).items()) if count}
    not_negative("end_play.low", end_play.low)
    total = _sum(tin)
    problem = _Problem(end_play, height, coefficient)
    reach = FIRST_REACH
    while True:
        most_height, most_end = problem.window(reach)
        # From a reach of the target on, the window holds every stack that leaves some play.
        all_ends = most_end >= total or reach >= end_play.target
        everything = most_height >= total and all_ends
        table = reachable(tin, min(most_height, total), min(most_end, total))
        pairs = problem.leading(table, keep, problem.worst(total) if everything else reach)
        if everything or (
            len(pairs) >= keep
            and (reach >= problem.band_reach() or problem.in_band(pairs[keep - 1]))
        ):
            break
        reach = max(4 * reach, problem.band_reach())
    if not pairs:
        return ()
    made = fewest_shims(tin, pairs)
    answers = [problem.answer(pair, *made[pair]) for pair in pairs]
    answers.sort(key=lambda a: (not a.both_in_band, a.error, a.count, a.height))
    return tuple(answers[:keep])


def expected(place: Place, value: float, u_measured: float, shims: int, u_shim: float) -> Expected:
    r"""What a place will measure once shimmed, and the chance that it lies in its band.

    .. math:: u^2 = u_m^2 + n u_s^2, \qquad
              P = \Phi\left(\frac{high - v}{u}\right) - \Phi\left(\frac{low - v}{u}\right)

    Args:
        place: with its band.
        value: computed end play or height [um].
        u_measured: standard uncertainty of the measured play behind it [um].
        shims: how many shims bear on it (height shims too, where they change the end play).
        u_shim: standard uncertainty of one shim's thickness [um], independent from shim to shim.

    Raises:
        RangeError: an uncertainty below zero, or a count that is no whole number.

    References:
        .. [1] JCGM 106:2012, 7.3 (conformance probability, normal distribution).

    >>> result = expected(Place(700, 200, 250, 300), 250.0, 20.0, 2, 5.0)
    >>> round(result.u, 3), round(result.chance_in_band, 4)
    (21.213, 0.9816)
    """
    finite("value", value)
    not_negative("u_measured", u_measured)
    not_negative("u_shim", u_shim)
    u = math.hypot(u_measured, math.sqrt(whole("shims", shims, least=0)) * u_shim)
    if u == 0:
        return Expected(value, 0.0, 1.0 if place.low <= value <= place.high else 0.0)
    above = math.erfc((place.high - value) / (u * math.sqrt(2))) / 2
    below = math.erfc((value - place.low) / (u * math.sqrt(2))) / 2
    return Expected(value, u, max(0.0, 1.0 - above - below))


@dataclass(frozen=True, slots=True)
class _Problem:
    end_play: Place
    height: Place
    coefficient: int

    def answer(self, pair: Pair, height_shims: Tin, end_shims: Tin) -> Stacks:
        h, e = pair
        play = self.end_play.bare + self.coefficient * h - e
        tall = self.height.bare + h
        error = abs(play - self.end_play.target) + abs(tall - self.height.target)
        in_band = (
            self.end_play.low <= play <= self.end_play.high
            and self.height.low <= tall <= self.height.high
        )
        return Stacks(end_shims, height_shims, play, tall, error, in_band)

    def in_band(self, pair: Pair) -> bool:
        """Whether a pair puts both places in band."""
        return self.answer(pair, {}, {}).both_in_band

    def band_reach(self) -> int:
        """Largest summed error that both places can have and lie in band."""
        return sum(max(p.high - p.target, p.target - p.low) for p in (self.end_play, self.height))

    def worst(self, total: int) -> int:
        """More than any summed error that a tin of this summed thickness can make."""
        return (
            abs(self.end_play.bare - self.end_play.target)
            + abs(self.height.bare - self.height.target)
            + (2 + abs(self.coefficient)) * total
        )

    def window(self, reach: int) -> Pair:
        """Largest sums worth making: with a summed error up to ``reach``, and some play left."""
        h = max(0, self.height.target - self.height.bare + reach)
        most_play = self.end_play.bare + max(0, self.coefficient * h)
        return h, max(0, most_play + min(0, reach - self.end_play.target))

    def leading(self, table: Reach, keep: int, limit: int) -> list[Pair]:
        """The ``keep`` best pairs and all that tie with the last, as far as the table knows.

        Looks near the target first and farther only as long as that may change the answer.
        """
        near = 4
        while True:
            near = min(near, limit)
            keys = sorted(self._keys(table.in_rows(self._rows(near))))
            settled = len(keys) >= keep and not keys[keep - 1][0][0]  # keep-th is in band
            if settled or near == limit:
                break
            near *= 4
        if len(keys) > keep:
            last = keys[keep - 1][0]
            keys = [entry for entry in keys if entry[0] <= last]
        return [pair for _, pair in keys]

    def _keys(self, pairs: Iterator[Pair]) -> Iterator[tuple[tuple[bool, int], Pair]]:
        for pair in pairs:
            answer = self.answer(pair, {}, {})
            if answer.end_play >= 0:  # less than no play cannot be put together
                yield (not answer.both_in_band, answer.error), pair

    def _rows(self, error: int) -> Iterator[tuple[int, int, int]]:
        """For each height sum, the end-play sums that keep the summed error within ``error``."""
        aim = self.height.target - self.height.bare
        for h in range(max(0, aim - error), aim + error + 1):
            spare = error - abs(h - aim)
            middle = self.end_play.bare + self.coefficient * h - self.end_play.target
            yield h, middle - spare, middle + spare


def _checked(tin: Tin) -> Tin:
    for thickness, count in tin.items():
        whole("thickness", thickness)
        whole("count", count, least=0)
        if thickness > THICKEST:
            raise RangeError("thickness", thickness, f"is more than {THICKEST} micrometres")
        if count > MOST_OF_ONE:
            raise RangeError("count", count, f"is more than {MOST_OF_ONE} of one thickness")
    return tin


def _sum(shims: Tin) -> int:
    return sum(thickness * count for thickness, count in _checked(shims).items())
