"""Numbers as they stand on the command line, each within what it can sensibly be."""

from __future__ import annotations

import argparse

__all__ = [
    "bell_degrees",
    "degrees",
    "few",
    "hpa",
    "humidity",
    "metres_per_second",
    "minutes",
    "mm",
    "number",
    "rpm_spread",
    "tyre_mm",
]


def number(text: str, low: float, high: float, unit: str) -> float:
    """Read a number, decimal comma or point. Raises ArgumentTypeError outside the range."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number") from None
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"must be between {low:g} and {high:g} {unit}")
    return value


def mm(text: str) -> float:
    """Read a length in millimetres, or with its unit."""
    from pitwright.units import QuantityError, read_quantity

    try:
        value = read_quantity(text, "mm")
    except QuantityError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return number(str(value), 0, 50, "mm")


def degrees(text: str) -> float:
    """Read a temperature of the air [°C]."""
    return number(text, -10, 50, "degrees Celsius")


def bell_degrees(text: str) -> float:
    """Read the temperature of a bell [°C]."""
    return number(text, -10, 350, "degrees Celsius")


def hpa(text: str) -> float:
    """Read an air pressure [hPa]."""
    return number(text, 600, 1100, "hPa")


def humidity(text: str) -> float | None:
    """Read a humidity of the air [%]."""
    from pitwright.desk.form_text import FieldError, read_humidity

    try:
        return read_humidity(text)
    except FieldError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def rpm_spread(text: str) -> float:
    """Read how far off an engine speed may be [rpm]."""
    return number(text, 1, 5000, "rpm")


def few(text: str) -> int:
    """Read how many answers are wanted."""
    value = number(text, 1, 50, "answers")
    if value != int(value):
        raise argparse.ArgumentTypeError("must be a whole number")
    return int(value)


def minutes(text: str) -> float:
    """Read a length of time [min], up to a day."""
    value = number(text, 0, 24 * 60, "minutes")
    if not value:
        raise argparse.ArgumentTypeError("must be above zero")
    return value


def metres_per_second(text: str) -> float:
    """Read a speed of the car [m/s]."""
    return number(text, 0, 99, "m/s")


def tyre_mm(text: str) -> float:
    """Read the diameter of a tyre [mm]."""
    return number(text, 20, 300, "mm")
