"""The typed error of the mechanics, and the guards at every function's door.

The guards also bound size: a magnitude above ``LARGEST``, or a positive one below ``SMALLEST``, is
no length, force or speed of any clutch, and refusing it keeps powers and quotients from
overflowing, so that NaN and infinity neither come in nor go out.

A guard returns the value it was given, untouched. It looks at the magnitude in SI base units, so a
quantity that carries its unit (pint) passes through the formula with its unit on.
"""

from __future__ import annotations

import math
from numbers import Real
from typing import TypeVar

LARGEST = 1e15
SMALLEST = 1e-15

T = TypeVar("T")


class RangeError(ValueError):
    """An argument (or a result) lies where the formula does not hold.

    Attributes:
        argument: name of the argument, as in the function's signature.
        value: what was given.
        reason: why it is refused, in plain words that follow the name ("must be above zero").
    """

    def __init__(self, argument: str, value: object, reason: str) -> None:
        super().__init__(argument, value, reason)
        self.argument = argument
        self.value = value
        self.reason = reason

    def __str__(self) -> str:
        return f"{self.argument} = {self.value}: {self.reason}"


def magnitude(name: str, value: object) -> float:
    """Give the plain number, in SI base units where the value carries a unit.

    >>> magnitude("d", 0.002)
    0.002
    """
    if type(value) is float:  # the guards are asked thousands of times
        return value
    to_base = getattr(value, "to_base_units", None)
    plain = to_base().magnitude if to_base is not None else value
    if isinstance(plain, bool) or not isinstance(plain, Real):
        raise RangeError(name, value, "is not a number")
    return float(plain)


def finite(name: str, value: T) -> T:
    """Refuse NaN, infinity and sizes beyond anything physical.

    >>> finite("x", -0.3)
    -0.3
    """
    if isinstance(value, float) and -LARGEST <= value <= LARGEST:  # nearly always
        return value
    plain = magnitude(name, value)
    if not math.isfinite(plain):
        raise RangeError(name, value, "must be a finite number")
    if abs(plain) > LARGEST:
        raise RangeError(name, value, f"is larger than {LARGEST:g}")
    return value


def positive(name: str, value: T) -> T:
    """Refuse anything not above zero.

    >>> positive("d", 0.0)
    Traceback (most recent call last):
    pitwright.mechanics.errors.RangeError: d = 0.0: must be above zero
    """
    if isinstance(value, float) and SMALLEST <= value <= LARGEST:
        return value
    plain = magnitude(name, finite(name, value))
    if plain <= 0:
        raise RangeError(name, value, "must be above zero")
    if plain < SMALLEST:
        raise RangeError(name, value, f"is smaller than {SMALLEST:g}")
    return value


def not_negative(name: str, value: T) -> T:
    """Refuse anything below zero.

    >>> not_negative("u", 0.0)
    0.0
    """
    if isinstance(value, float) and 0 <= value <= LARGEST:
        return value
    if magnitude(name, finite(name, value)) < 0:
        raise RangeError(name, value, "must not be below zero")
    return value


def within(name: str, value: T, low: float, high: float) -> T:
    """Refuse anything outside ``low`` to ``high``, ends included, in SI units.

    >>> within("C", 2.0, 3.0, 20.0)
    Traceback (most recent call last):
    pitwright.mechanics.errors.RangeError: C = 2.0: must lie between 3 and 20
    """
    if not low <= magnitude(name, finite(name, value)) <= high:
        raise RangeError(name, value, f"must lie between {low:g} and {high:g}")
    return value


def whole(name: str, value: int, least: int = 1) -> int:
    """Refuse anything but a whole number of at least ``least``.

    >>> whole("teeth", 24)
    24
    """
    plain = magnitude(name, finite(name, value))
    if plain != int(plain):
        raise RangeError(name, value, "must be a whole number")
    if plain < least:
        raise RangeError(name, value, f"must be at least {least}")
    return int(plain)


def finite_result(name: str, value: T) -> T:
    """Refuse to hand out NaN or infinity as the answer called ``name``.

    >>> finite_result("rate", 30.6e3)
    30600.0
    """
    if not math.isfinite(magnitude(name, value)):
        raise RangeError(name, value, "comes out as no finite number")
    return value
