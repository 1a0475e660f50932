"""Sentences about comparisons that a mechanic can act on."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pitwright.inference.compare import Comparison

_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_TEENS = ("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen")
_NUMBERS = (*_WORDS, *_TEENS, "eighteen", "nineteen", "twenty")
MOST_SUGGESTED = 20
"""More heats of each than this is no advice for a weekend."""


@dataclass(frozen=True)
class Measure:
    """What is compared: the unit after the number, and the words for a lower and higher figure."""

    unit: str
    lower: str
    higher: str


LAP = Measure("s a lap", "quicker", "slower")
OPENING = Measure("s over the opening laps", "quicker", "slower")
SCATTER = Measure("s of scatter", "steadier", "less steady")


def number(n: int) -> str:
    """A count in words up to twenty."""
    return _NUMBERS[n] if 0 <= n < len(_NUMBERS) else str(n)


def counted(n: int, noun: str = "heat") -> str:
    """A count in words with its noun."""
    return f"{number(n)} {noun}" if n == 1 else f"{number(n)} {noun}s"


def how_many(result: "Comparison") -> str:
    """Say how many heats each state has."""
    if result.n_a == result.n_b:
        return f"{counted(result.n_a)} each"
    # Not "eighteen of one and 24 of the other".
    figures = max(result.n_a, result.n_b) >= len(_NUMBERS)
    of_a = f"{result.n_a} heats" if figures and result.n_a > 1 else counted(result.n_a)
    of_b = str(result.n_b) if figures and result.n_b > 1 else number(result.n_b)
    return f"{of_a} of {result.a} and {of_b} of {result.b}"


def size(result: "Comparison", measure: Measure) -> str:
    """Say the difference and its interval, always from the side of the lower figure."""
    sign = -1.0 if result.shift <= 0.0 else 1.0
    ends = sorted((sign * result.low, sign * result.high))
    word, other = (measure.lower, measure.higher) if sign < 0.0 else (measure.higher, measure.lower)
    amount = abs(result.shift)
    head = f"{result.b} {{}} {amount:.2f} {measure.unit} {word} than {result.a}"
    if not all(math.isfinite(end) for end in ends):
        return head
    if ends[0] >= 0.0:
        return f"{head} ({ends[0]:.2f} to {ends[1]:.2f})"
    return f"{head} ({-ends[0]:.2f} {other} to {ends[1]:.2f} {word})"


def luck(p: float) -> str:
    """A probability as a count of times in a hundred, or in a thousand when it is small."""
    if p >= 0.095:
        return f"{round(p * 100)} times in a hundred"
    per_thousand = round(p * 1000)
    return f"{per_thousand} time{'' if per_thousand == 1 else 's'} in a thousand"


def comparison_sentence(result: "Comparison", measure: Measure, heats: int | None) -> str:
    """The whole answer. heats: how many of each would show a difference of the size seen."""
    text = _comparison(result, measure, heats)
    if result.step is not None:
        text += f"; the track changed in one step between {result.step[0]} and {result.step[1]}"
    if result.family > 1:
        text += f"; one of {number(result.family)} comparisons, and judged more strictly for it"
    return text[:1].upper() + text[1:] + "."


def _comparison(result: "Comparison", measure: Measure, heats: int | None) -> str:
    many = how_many(result)
    if result.verdict == "cannot be told from the track changing":
        return (
            f"{size(result, measure).format('looks')}, {many}, but {_pattern(result)}: "
            f"cannot be told from the track changing; go back and forth between them, heat by heat"
        )
    if result.verdict == "likely real":
        return f"{size(result, measure).format('is')}, {many}; likely real"
    if result.more_each:
        return _too_few(result, many)
    text = (
        f"{size(result, measure).format('looks')}, {many}: cannot tell yet, "
        f"luck alone does as much {luck(result.p_adjusted)}"
    )
    if heats is None or heats > MOST_SUGGESTED:
        text += "; if there is anything, it is too small to show in a weekend"
    elif heats > max(result.n_a, result.n_b):
        text += f"; if it is as large as it looks, about {counted(heats)} each would show it"
    return text


def _pattern(result: "Comparison") -> str:
    if result.changes == 1:
        return "one ran before the other"
    if result.changes == 2:
        return "one ran in a single block between the other's heats"
    if result.time_overlap > 0.5:
        return "which one ran follows the time of the weekend or of the day"
    return f"they changed places only {number(result.changes)} times"


def _too_few(result: "Comparison", many: str) -> str:
    total = math.comb(result.n_a + result.n_b, result.n_a)
    again = f"{number(result.more_each)} more of each would make it possible"
    if result.n_a != result.n_b:
        again = (
            f"at least {number(min(result.n_a, result.n_b) + result.more_each)} of each are needed"
        )
    reach = (
        f"{many}: even a clean sweep happens by luck two times in {number(total)}"
        if result.smallest_p * result.family >= 0.05 or result.family == 1
        else many
    )
    return f"{reach}, cannot tell yet; {again}"
