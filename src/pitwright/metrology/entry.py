"""Read what was typed into a measuring field, at every key stroke.

Three answers: complete, partial (half-typed: more keys can finish it) and refused (no further key
can save it, with the reason). Every beginning of an entry that can be read is complete or partial,
so a field never flashes an error half-way through a number.

Grammar: values separated by blanks, new lines, `;`, or a comma with a blank behind it. A comma
with no blank behind it is a decimal comma. In a list written `10.15,10.18`, where every value has
a decimal point, the comma may separate without a blank. A unit stands behind every value, or once
at the end for all of them.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from pitwright.units import convert

_UNITS = ("mm", "cm", "um", "µm", "in", "inch", "inches", '"', "thou", "mil", "mils")
# As decimals, so that 0.386 in is 9.8044 mm to the last digit.
LENGTH_IN_MM: Mapping[str, Decimal] = {
    name: Decimal(f"{convert(1.0, name, 'mm'):.12g}") for name in _UNITS
}
_LOWERED = {name.lower(): name for name in sorted(LENGTH_IN_MM, key=len, reverse=True)}

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]*)?")
_SAME = str.maketrans(
    {
        "\u2212": "-",
        "\u03bc": "µ",
        "\u201d": '"',
        "\u2033": '"',
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\t": " ",
        "\n": " ",
        "\r": " ",
    }
)
_INCHES = frozenset({"in", "inch", "inches", '"', "thou", "mil", "mils"})
_LONGEST_TEXT = 2000
_MOST_VALUES = 100

State = Literal["complete", "partial", "refused"]


@dataclass(frozen=True, slots=True)
class Entry:
    """What could be read. `values` in the unit asked for; for a partial entry those sure so far.

    `reason` says in plain words why it was refused, or what a partial entry still lacks.
    `inch_step` is the finest step typed of what was read in inches [mm], None of millimetres only:
    0.387 in tells thousandths.
    """

    state: State
    values: tuple[float, ...] = ()
    reason: str = ""
    inch_step: float | None = None


@dataclass(frozen=True, slots=True)
class _Value:
    number: Decimal
    unit: str | None
    has_point: bool
    compact: bool  # a comma with no blank behind it came before this value


class _Stop(Exception):  # noqa: N818 - carries an answer, not an error
    def __init__(self, state: State, reason: str = "") -> None:
        super().__init__(reason)
        self.state: State = state
        self.reason = reason


def parse_entry(
    text: str,
    *,
    largest: float = 1000.0,
    allow_negative: bool = False,
) -> Entry:
    """Read one or more lengths as typed, in millimetres where no unit stands behind them.

    `largest` bounds the size of any value [mm].

    >>> parse_entry("10,15 10,18").values
    (10.15, 10.18)
    >>> parse_entry("0.4 in").values
    (10.16,)
    >>> parse_entry("0.4 i").state
    'partial'
    """
    if len(text) > _LONGEST_TEXT:
        return Entry("refused", (), "too much text for a reading")
    done: list[_Value] = []
    end: _Stop | None = None
    try:
        for value in _scan(text.translate(_SAME), allow_negative):
            done.append(value)
            if len(done) > _MOST_VALUES:
                return Entry("refused", (), f"more than {_MOST_VALUES} readings")
    except _Stop as stop:
        end = stop
    if end is not None and end.state == "refused":
        return Entry("refused", (), end.reason)
    return _evaluate(done, end, Decimal(str(largest)))


def _scan(text: str, allow_negative: bool) -> Iterator[_Value]:
    """Yield the values one by one; stop by raising what the tail of the text amounts to."""
    at, size, compact, first = 0, len(text), False, True
    while True:
        while at < size and text[at] == " ":
            at += 1
            compact = False
        if at == size:
            if first:
                raise _Stop("partial", "nothing typed yet")
            return
        match = _NUMBER.match(text, at)
        token = match.group() if match else ""
        number, at, has_point = _number(text, token, at, allow_negative, first)
        unit_name, at = _unit(text, at)
        yield _Value(number, unit_name, has_point, compact)
        first = False
        at, compact = _separator(text, at, has_point, unit_name is not None)


def _number(
    text: str, token: str, at: int, allow_negative: bool, first: bool
) -> tuple[Decimal, int, bool]:
    """Turn the token at `at` into a number, and say where it ended."""
    end = at + len(token)
    ended = end == len(text)
    if not token:
        raise _Stop("refused", f"a number was expected at {text[at : at + 8]!r}")
    if token in "+-":
        if ended:
            raise _Stop("partial", "the number is missing")
        raise _Stop("refused", f"a number was expected behind {token!r}")
    body = token.lstrip("+-")
    negative = token[0] == "-"
    if negative and not allow_negative:
        raise _Stop("refused", "it cannot be below zero")
    if body[0] == "," and not first:
        raise _Stop("refused", "a comma with nothing before it")
    if body in ".,":
        if ended:
            raise _Stop("partial", "the number is not finished")
        raise _Stop("refused", "a decimal sign without digits")
    if body[-1] in ".,":
        if ended:
            raise _Stop("partial", "the number is not finished")
        if body[-1] == "." or text[end] != " ":
            raise _Stop("refused", f"digits were expected behind {token!r}")
        # "10, 18": the comma belongs to the list, hand it back to the separator
        body, end = body[:-1], end - 1
    number = Decimal(body.replace(",", "."))
    return (-number if negative else number), end, "." in body


def _unit(text: str, at: int) -> tuple[str | None, int]:
    """Read a unit, if one stands here; half a unit at the very end is a partial entry."""
    start = at
    while start < len(text) and text[start] == " ":
        start += 1
    rest = text[start:].lower()
    if not rest or rest[0] in "0123456789+-.,;":
        return None, at
    for lowered, alias in _LOWERED.items():
        if rest.startswith(lowered):
            behind = rest[len(lowered) : len(lowered) + 1]
            if not behind or behind in " ;,":
                return alias, start + len(lowered)
    if any(lowered.startswith(rest) for lowered in _LOWERED):
        raise _Stop("partial", "the unit is not finished")
    word = re.split(r"[ ;,0-9]", text[start:])[0]
    if word.lower() in _LOWERED:
        raise _Stop("refused", f"put a blank behind {word}")
    raise _Stop("refused", f"unit {word!r} is not known; known: {', '.join(LENGTH_IN_MM)}")


def _separator(text: str, at: int, has_point: bool, has_unit: bool) -> tuple[int, bool]:
    """Step over what stands between two values; tell whether it was a comma without a blank."""
    start, size = at, len(text)
    while at < size and text[at] == " ":
        at += 1
    if at == size:
        return at, False
    mark = text[at]
    if mark not in ";,":
        if at > start:
            return at, False
        raise _Stop("refused", f"not a number: {text[max(0, at - 8) : at + 8]!r}")
    behind = text[at + 1 : at + 2]
    if not behind:
        raise _Stop("partial", "another reading is expected")
    if mark == ";" or behind == " ":
        after = at + 1
        while after < size and text[after] == " ":
            after += 1
        if after == size:
            raise _Stop("partial", "another reading is expected")
        return after, False
    if at > start or not (has_point or has_unit):
        raise _Stop("refused", "put a blank between readings, not only a comma")
    return at + 1, not has_unit


def _evaluate(
    done: list[_Value],
    end: _Stop | None,
    largest: Decimal,
) -> Entry:
    """Give every value its unit and judge sizes; `end` tells of an unfinished tail."""
    pending = [i for i, value in enumerate(done) if value.unit is None]
    named = [i for i, value in enumerate(done) if value.unit is not None]
    last = len(done) - 1
    # inside a compact list every value must have its point, the last may still get one
    loose = [i for i, value in enumerate(done) if value.compact and not value.has_point]
    if loose and (loose[0] != last or end is not None or done[last].unit is not None):
        return Entry("refused", (), "put a blank between readings, not only a comma")
    trailing_unit: str | None = None
    if named and pending:
        if named == [last]:
            trailing_unit = done[last].unit
        elif pending != [last]:
            return Entry("refused", (), "give every reading its unit, or one unit at the end")
    sizes: list[Decimal] = []
    inch_steps: list[float] = []
    too_long = ""
    for value in done:
        name = value.unit or trailing_unit
        if name in _INCHES:
            exponent = value.number.as_tuple().exponent
            step = Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)
            inch_steps.append(float(step * LENGTH_IN_MM[name]))
        size = value.number * LENGTH_IN_MM[name or "mm"]
        if abs(size) > largest:
            if name or abs(value.number) * min(LENGTH_IN_MM.values()) > largest:
                return Entry("refused", (), f"{value.number} {name or 'mm'} is far too large")
            too_long = f"{value.number} mm is far too large"
        sizes.append(size)
    values = tuple(float(size) for size in sizes)
    if not all(math.isfinite(value) for value in values):
        return Entry("refused", (), "not a usable number")
    if too_long:
        return Entry("partial", (), too_long)
    if end is not None:
        return Entry("partial", values, end.reason, min(inch_steps, default=None))
    if loose:
        return Entry("partial", values[:-1], "the number is not finished")
    if named and pending and trailing_unit is None:
        return Entry("partial", values[:-1], "give every reading its unit, or one unit at the end")
    return Entry("complete", values, inch_step=min(inch_steps, default=None))
