"""Ask about a reading that looks like a slip of the finger, and never about a plausible one.

A slip is only looked for when the value lies outside what this quantity could plausibly read now.
Then the usual slips are undone one after another, and the one that lands inside is asked about.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

SlipKind = Literal[
    "ten times",
    "a tenth",
    "decimal point lost",
    "digits swapped",
    "inches as millimetres",
    "millimetres as inches",
    "another field",
    "large change",
]

_MM_PER_INCH = 25.4
_CHANGE_SPREADS = 6.0  # how many usual changes a next change may be: common practice, no source
_FLOOR_FRACTION = 0.015  # a run-in drop, or one hard heat, moves a size by about this


@dataclass(frozen=True, slots=True)
class Expected:
    """What a quantity may plausibly read next: anything from `low` to `high`.

    `last` is the last reading, for the question, `usual` what it reads when all is well; all in the
    unit of the readings.
    Raises ValueError unless low < high, both finite.
    """

    quantity: str
    low: float
    high: float
    last: float | None = None
    usual: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(
                f"{self.quantity}: plausible range is empty: {self.low} to {self.high}"
            )

    def fits(self, value: float) -> bool:
        """Tell whether `value` is plausible."""
        slack = 1e-9 * max(abs(self.low), abs(self.high))
        return self.low - slack <= value <= self.high + slack

    @property
    def centre(self) -> float:
        """The last reading, else what is usual, else the middle of the range."""
        for known in (self.last, self.usual):
            if known is not None:
                return known
        return 0.5 * (self.low + self.high)


@dataclass(frozen=True, slots=True)
class Slip:
    """A doubt: what kind, what was probably meant (None: no idea), and the question to ask.

    `field` names the other quantity when the value seems to belong there.
    """

    kind: SlipKind
    suggestion: float | None
    question: str
    field: str | None = None


def expect(
    quantity: str,
    *,
    history: Sequence[float] = (),
    low: float | None = None,
    high: float | None = None,
    u: float = 0.0,
    only: Literal["falls", "rises"] | None = None,
) -> Expected | None:
    """Work out what a quantity may read next; None when nothing is known of it.

    `history` earlier readings of the same part, oldest first; leave it empty after a part was
    changed or a setting made anew. `low` and `high` are the limits or the range of the card: they
    are widened by half their distance, for a bad part has to be enterable too. `u` is the standard
    uncertainty of a reading. With history the reach is six usual changes, at least six u, at least
    1.5 % of the last reading; a value past the card's range is then still asked about only if
    history does not reach it. `only` says which way wear takes the size: the other way the reach
    is what scatter makes, however fast it wore, since a spring does not grow; another one does.
    """
    if history:
        last = history[-1]
        steps = [b - a for a, b in pairwise(history)]
        usual = math.sqrt(math.fsum(s * s for s in steps) / len(steps)) if steps else 0.0
        back = max(_CHANGE_SPREADS * u, _FLOOR_FRACTION * abs(last))
        reach = max(_CHANGE_SPREADS * usual, back)
        if reach > 0.0:
            low = last - (back if only == "rises" else reach)
            high = last + (back if only == "falls" else reach)
            return Expected(quantity, low, high, last)
        return None
    if low is None or high is None:
        one = low if high is None else high
        if not one:
            return None
        return Expected(quantity, one - 0.5 * abs(one), one + 0.5 * abs(one))
    if not low < high:
        return None
    margin = max(
        0.5 * (high - low), _CHANGE_SPREADS * u, _FLOOR_FRACTION * max(abs(low), abs(high))
    )
    floor = low - margin
    return Expected(quantity, max(0.0, floor) if low >= 0.0 else floor, high + margin)


def differ(values: Sequence[float], u: float) -> float | None:
    """Return how far apart repeats of one thing lie when that is too far, None when it is not.

    Too far is six times `u`, the standard uncertainty of one reading with this tool, and at least
    1.5 % of the size: the reach of a change that is asked about.

    >>> round(differ((9.94, 9.60), 0.012), 2)
    0.34
    >>> differ((9.94, 9.90), 0.012)
    """
    gap = max(values) - min(values)
    reach = max(_CHANGE_SPREADS * u, _FLOOR_FRACTION * max(abs(value) for value in values))
    return gap if gap > reach else None


def _swaps(typed: str) -> Iterable[float]:
    """Yield the values that swapping two neighbouring digits would give."""
    places = [i for i, char in enumerate(typed) if char.isdigit()]
    for i, j in pairwise(places):
        if typed[i] != typed[j]:
            chars = list(typed)
            chars[i], chars[j] = chars[j], chars[i]
            yield float("".join(chars))


def _undone(value: float) -> Iterable[tuple[SlipKind, float, str]]:
    """Yield the usual slips undone: kind, what was meant, and how to say it."""
    yield "ten times", value / 10.0, "ten times what was expected."
    yield "a tenth", value * 10.0, "a tenth of what was expected."
    yield "decimal point lost", value / 100.0, "is the decimal point missing?"
    yield "decimal point lost", value / 1000.0, "is the decimal point missing?"
    for swapped in _swaps(f"{value:.10g}" if abs(value) < 1e9 else ""):
        yield "digits swapped", swapped, "are two digits swapped?"
    yield "inches as millimetres", value * _MM_PER_INCH, "is it in inches?"
    yield "millimetres as inches", value / _MM_PER_INCH, "was it millimetres, not inches?"


def check_slip(
    value: float,
    expected: Expected | None,
    others: Iterable[Expected] = (),
    *,
    unit: str = "mm",
) -> Slip | None:
    """Return a doubt about `value`, or None when it is plausible (or nothing is known to compare).

    `others` are the other quantities of the form, for a value typed into the wrong field. Of all
    slips that would explain the value, the one that lands nearest the last reading is asked about.
    """
    if expected is None or expected.fits(value):
        return None
    tail = f" {unit}" if unit else ""
    half = 0.5 * (expected.high - expected.low)
    found: list[tuple[float, int, SlipKind, float, str]] = []
    for order, (kind, meant, words) in enumerate(_undone(value)):
        if expected.fits(meant):
            found.append((abs(meant - expected.centre) / half, order, kind, meant, words))
    elsewhere: list[tuple[float, Expected]] = []
    for other in others:
        if other.quantity != expected.quantity and other.fits(value):
            reach = 0.5 * (other.high - other.low)
            elsewhere.append((abs(value - other.centre) / reach, other))
    best = min(found, default=None)
    if elsewhere:
        gap, other = min(elsewhere, key=lambda pair: pair[0])
        # an undone slip that lands better than the other field does keeps the first word
        if best is None or gap < best[0]:
            question = (
                f"{value:.6g}{tail} does not fit {expected.quantity} but fits {other.quantity}: "
                "wrong field?"
            )
            return Slip("another field", None, question, other.quantity)
    known = (
        f"last reading {round(expected.last, 2):g}{tail}"
        if expected.last is not None
        else f"expected {expected.low:.4g} to {expected.high:.4g}{tail}"
    )
    if best is not None:
        _, _, kind, meant, words = best
        question = f"{value:.6g}{tail}: {words} Did you mean {meant:.6g}{tail}? ({known})"
        return Slip(kind, meant, question)
    question = f"{value:.6g}{tail} is far from what was expected ({known}). Keep it?"
    return Slip("large change", None, question)
