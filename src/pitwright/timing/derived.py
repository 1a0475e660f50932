"""Columns of times that another column explains: sums, countdowns, differences, sectors.

What is worked out from the laps is no lap, whatever its heading and in whatever tongue.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import pairwise

Values = Sequence[float | None]
Rule = Callable[[Values, Values], list[bool]]

_ROUNDING = 0.0111
"""Sums and differences of times to a hundredth miss by this much."""


def not_explained(
    columns: Mapping[int, Values], groups: Sequence[Sequence[int]]
) -> tuple[int, ...]:
    """Return the columns that no other column explains, in order.

    columns: values in seconds by column, None where there is none. groups: which rows belong
    together, such as those of one driver, in order. A rule has to hold on every line: one line
    that breaks it may be all that tells the laps from the best so far or from corrected ones.

    >>> laps, best = [21.4, 21.3, 21.5], [21.4, 21.3, 21.3]
    >>> not_explained({1: laps, 2: [21.4, 42.7, 64.2], 3: best}, [[0, 1, 2]])
    (1,)
    """
    left = dict(columns)
    for whole in columns:
        parts = _sectors(columns, whole)
        if parts and all(part in left for part in parts):
            for part in parts:
                del left[part]
    for rule in _RULES:
        for one in columns:
            for other in [c for c in left if c != one]:
                if one in left and _holds(rule, columns[one], columns[other], groups):
                    del left[other]
    return tuple(left)


def _holds(rule: Rule, laps: Values, other: Values, groups: Sequence[Sequence[int]]) -> bool:
    held = [
        each
        for rows in groups
        for each in rule([laps[row] for row in rows], [other[row] for row in rows])
    ]
    return len(held) >= 2 and all(held)


def _near(a: float, b: float) -> bool:
    return abs(a - b) <= _ROUNDING


def _adds_up(laps: Values, other: Values, *, sign: int, late: int) -> list[bool]:
    """A running total (sign 1) or what is left (-1), in either order of the lines."""
    return [
        _near(lap, sign * (after - before))
        for lap, (before, after) in zip(laps[late:], pairwise(other), strict=False)
        if lap is not None and before is not None and after is not None
    ]


def _the_same(laps: Values, other: Values) -> list[bool]:
    pairs = zip(laps, other, strict=True)
    return [abs(a - b) < 0.0006 for a, b in pairs if a is not None and b is not None]


def _to_the_best(laps: Values, other: Values) -> list[bool]:
    known = [lap for lap in laps if lap is not None]
    best = min(known, default=0.0)
    return [
        _near(lap - best, gap) for lap, gap in zip(laps, other, strict=True)
        if lap is not None and gap is not None
    ]  # fmt: skip


def _to_the_one_before(laps: Values, other: Values) -> list[bool]:
    return [
        _near(abs(after - before), abs(gap))
        for (before, after), gap in zip(pairwise(laps), other[1:], strict=True)
        if before is not None and after is not None and gap is not None
    ]


def _best_so_far(laps: Values, other: Values) -> list[bool]:
    found: list[bool] = []
    best = float("inf")
    for lap, shown in zip(laps, other, strict=True):
        best = min(best, lap if lap is not None else best)
        if shown is not None and best < float("inf"):
            found.append(abs(shown - best) < 0.0006)
    return found


# In this order: the steps of a running total are the laps, so it has to be known for one first.
_RULES: tuple[Rule, ...] = (
    *(partial(_adds_up, sign=sign, late=late) for sign in (1, -1) for late in (1, 0)),
    _to_the_best,
    _to_the_one_before,
    _best_so_far,
    _the_same,
)


def _sectors(columns: Mapping[int, Values], whole: int) -> tuple[int, ...]:
    """The neighbouring columns that add up to this one, two or more; empty when none do."""
    others = [column for column in columns if column != whole]
    for start in range(len(others)):
        for end in range(len(others), start + 1, -1):
            held = [
                _near(sum(part for part in parts if part is not None), total)
                for total, *parts in zip(
                    columns[whole], *(columns[c] for c in others[start:end]), strict=True
                )
                if total is not None and None not in parts
            ]
            if len(held) >= 2 and all(held):
                return tuple(others[start:end])
    return ()
