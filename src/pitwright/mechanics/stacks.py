"""Which pairs of sums a tin can make in two places at once, and with how few shims.

A pair (h, e) is one bit of a long integer: row h, column e, in steps of the thicknesses' greatest
common divisor. Putting one more shim into a place shifts every pair at once, so the whole bounded
subset sum is a few hundred shifts.

References:
    [1] H. Kellerer, U. Pferschy and D. Pisinger, Knapsack Problems, ch. 4 (subset sum by dynamic
        programming, bounded copies, word-parallel bit sets).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import RangeError

Pair = tuple[int, int]
"""Summed thickness of the height shims and of the end-play shims [micrometres]."""


@dataclass(frozen=True, slots=True)
class _Grid:
    """Pairs up to (top, right), as bits; all lengths in steps."""

    step: int
    top: int
    right: int

    @property
    def width(self) -> int:
        return self.right + 1

    def bit(self, h: int, e: int) -> int:
        return h * self.width + e

    def columns_up_to(self, column: int) -> int:
        """All bits whose column is at most ``column``, none if it is negative."""
        if column < 0:
            return 0
        rows, pattern = 1, (1 << (column + 1)) - 1
        while rows <= self.top:
            pattern |= pattern << (rows * self.width)
            rows *= 2
        return pattern & self.all_bits

    @property
    def all_bits(self) -> int:
        return (1 << ((self.top + 1) * self.width)) - 1


def _grid(tin: Mapping[int, int], most_height: int, most_end: int) -> _Grid:
    step = math.gcd(*tin) or 1
    return _Grid(step, most_height // step, most_end // step)


@dataclass(frozen=True, slots=True)
class Reach:
    """All pairs that the tin can make inside a window."""

    grid: _Grid
    bits: int

    def in_rows(self, row_ranges: Iterator[tuple[int, int, int]]) -> Iterator[Pair]:
        """Pairs that can be made among (h, least e, most e), all in micrometres, ends included."""
        grid, full_row = self.grid, (1 << self.grid.width) - 1
        for h, least, most in row_ranges:
            first = max(0, -(-least // grid.step))
            last = min(grid.right, most // grid.step)
            if h < 0 or h % grid.step or h // grid.step > grid.top or last < first:
                continue
            row = (self.bits >> grid.bit(h // grid.step, 0)) & full_row
            row = (row >> first) & ((1 << (last - first + 1)) - 1)
            while row:
                lowest = row & -row
                yield h, (first + lowest.bit_length() - 1) * grid.step
                row ^= lowest


def reachable(tin: Mapping[int, int], most_height: int, most_end: int) -> Reach:
    """Find every pair of sums up to the two limits that the tin can make.

    >>> reach = reachable({100: 1, 250: 1}, 300, 300)
    >>> list(reach.in_rows(iter([(0, 0, 300), (100, 0, 300)])))
    [(0, 0), (0, 100), (0, 250), (100, 0), (100, 250)]
    """
    grid = _grid(tin, most_height, most_end)
    everything, bits = grid.all_bits, 1
    for thickness, copies in tin.items():
        t = thickness // grid.step
        fits, up = grid.columns_up_to(grid.right - t), t * grid.width
        for _ in range(min(copies, grid.top // t + grid.right // t)):
            bits |= ((bits & fits) << t) | ((bits << up) & everything)
    return Reach(grid, bits)


def fewest_shims(
    tin: Mapping[int, int], pairs: Sequence[Pair]
) -> dict[Pair, tuple[dict[int, int], dict[int, int]]]:
    """Height and end-play shims, the fewest there are, for every pair.

    Raises:
        RangeError: a pair that the tin cannot make.

    >>> fewest_shims({100: 4, 200: 1}, [(200, 200)])
    {(200, 200): ({100: 2}, {200: 1})}
    """
    grid = _grid(tin, max(h for h, _ in pairs), max(e for _, e in pairs))
    wanted = {(h, e): grid.bit(h // grid.step, e // grid.step) for h, e in pairs}
    most = 4
    while True:
        history = _layers(tin, grid, most)
        last = history[-1]
        counts = {
            pair: next((k for k, layer in enumerate(last) if layer >> bit & 1), None)
            for pair, bit in wanted.items()
        }
        if None not in counts.values():
            break
        if most >= sum(tin.values()):
            raise RangeError("pairs", pairs, "cannot all be made from this tin")
        most *= 2
    return {
        pair: _trace(tin, grid, history, pair, k) for pair, k in counts.items() if k is not None
    }


def _layers(tin: Mapping[int, int], grid: _Grid, most: int) -> list[list[int]]:
    """Pairs made with exactly k shims, k up to most; before the first thickness and after each."""
    everything = grid.all_bits
    layers = [1] + [0] * most
    history = [layers]
    for thickness, copies in tin.items():
        t = thickness // grid.step
        fits, up = grid.columns_up_to(grid.right - t), t * grid.width
        layers = list(layers)
        for _ in range(min(copies, most, grid.top // t + grid.right // t)):
            for k in range(most, 0, -1):
                below = layers[k - 1]
                if below:
                    layers[k] |= ((below & fits) << t) | ((below << up) & everything)
        history.append(layers)
    return history


def _trace(
    tin: Mapping[int, int], grid: _Grid, history: list[list[int]], pair: Pair, k: int
) -> tuple[dict[int, int], dict[int, int]]:
    """Walk back from a pair made with k shims to the shims themselves."""
    h, e = pair[0] // grid.step, pair[1] // grid.step
    up: dict[int, int] = {}
    along: dict[int, int] = {}
    for (thickness, copies), before in zip(
        reversed(list(tin.items())), reversed(history[:-1]), strict=True
    ):
        t = thickness // grid.step
        a, b = next(
            (a, used - a)
            for used in range(min(copies, k) + 1)
            for a in range(used + 1)
            if h >= a * t
            and e >= (used - a) * t
            and before[k - used] >> grid.bit(h - a * t, e - (used - a) * t) & 1
        )
        h, e, k = h - a * t, e - b * t, k - a - b
        if a:
            up[thickness] = a
        if b:
            along[thickness] = b
    return dict(sorted(up.items())), dict(sorted(along.items()))
