"""Quantities with units: a table for the everyday ones, pint for the rest.

A leaf of the package. The everyday units of a clutch bench are converted from a small table,
so that starting the app never pays for building a unit registry; anything else goes to pint,
imported on first use.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from pitwright.signs import visible

__all__ = ["QuantityError", "convert", "read_quantity", "to_si"]


class QuantityError(ValueError):
    """A text that is not a quantity of the wanted kind; the message says why, fit to be shown."""

    def __init__(self, reason: str) -> None:
        super().__init__(visible(reason, keep=""))


@dataclass(frozen=True)
class _Unit:
    dimension: str
    factor: float
    offset: float = 0.0


_TURN = 2 * math.pi

_UNITS: Final[dict[str, _Unit]] = {
    "": _Unit("ratio", 1.0),
    "%": _Unit("ratio", 0.01),
    "m": _Unit("length", 1.0),
    "cm": _Unit("length", 1e-2),
    "mm": _Unit("length", 1e-3),
    "um": _Unit("length", 1e-6),
    "µm": _Unit("length", 1e-6),
    "μm": _Unit("length", 1e-6),
    "in": _Unit("length", 0.0254),
    "inch": _Unit("length", 0.0254),
    "inches": _Unit("length", 0.0254),
    '"': _Unit("length", 0.0254),
    "thou": _Unit("length", 2.54e-5),
    "mil": _Unit("length", 2.54e-5),
    "mils": _Unit("length", 2.54e-5),
    "kg": _Unit("mass", 1.0),
    "g": _Unit("mass", 1e-3),
    "rad": _Unit("angle", 1.0),
    "deg": _Unit("angle", math.pi / 180),
    "°": _Unit("angle", math.pi / 180),
    "Pa": _Unit("pressure", 1.0),
    "hPa": _Unit("pressure", 100.0),
    "mbar": _Unit("pressure", 100.0),
    "MPa": _Unit("pressure", 1e6),
    "GPa": _Unit("pressure", 1e9),
    "N": _Unit("force", 1.0),
    "N m": _Unit("torque", 1.0),
    "Nm": _Unit("torque", 1.0),
    "N cm": _Unit("torque", 1e-2),
    "N/mm": _Unit("stiffness", 1e3),
    "N/m": _Unit("stiffness", 1.0),
    "rpm": _Unit("speed of rotation", _TURN / 60),
    "rad/s": _Unit("speed of rotation", 1.0),
    "s": _Unit("time", 1.0),
    "min": _Unit("time", 60.0),
    "h": _Unit("time", 3600.0),
    "degC": _Unit("temperature", 1.0, 273.15),
    "°C": _Unit("temperature", 1.0, 273.15),
    "K": _Unit("temperature", 1.0),
    "1/K": _Unit("per kelvin", 1.0),
    "kg m^2": _Unit("inertia", 1.0),
    "g cm^2": _Unit("inertia", 1e-7),
    "g/mm": _Unit("mass per length", 1.0),
    "kg/m": _Unit("mass per length", 1.0),
    "J/(kg K)": _Unit("specific heat", 1.0),
    "ml": _Unit("volume", 1e-6),
    "l": _Unit("volume", 1e-3),
    "ml/min": _Unit("flow", 1e-6 / 60),
    "W/K": _Unit("heat loss", 1.0),
    "m/s": _Unit("speed", 1.0),
    "km/h": _Unit("speed", 1 / 3.6),
}

_NUMBER = re.compile(
    r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*\Z", re.DOTALL
)


def to_si(value: float, unit: str) -> float:
    """Return ``value`` of a table unit in SI base units.

    Raises QuantityError for a unit outside the table.

    >>> to_si(1.6, "mm")
    0.0016
    """
    found = _UNITS.get(unit)
    if found is None:
        raise QuantityError(f"'{unit}' is not a unit known here")
    return value * found.factor + found.offset


def convert(value: float, unit: str, wanted: str) -> float:
    """Return ``value`` of ``unit`` expressed in ``wanted`` (a table unit).

    Raises QuantityError when the two are of different kinds or the unit is unknown.

    >>> round(convert(0.4, "in", "mm"), 9)
    10.16
    """
    if unit == wanted:
        return value
    target = _UNITS[wanted]
    source = _UNITS.get(unit)
    if source is None:
        return _by_pint(value, unit, wanted)
    if source.dimension != target.dimension:
        raise _no_unit(unit, wanted, source.dimension)
    result = (value * source.factor + source.offset - target.offset) / target.factor
    # Unit factors are decimal: twelve digits keep every reading and drop the binary dust.
    return float(f"{result:.12g}")


_IN_FULL: Final = {"min": "minutes", "s": "seconds", "h": "hours", "degC": "degrees Celsius"}


def _no_unit(unit: str, wanted: str, is_of: str = "") -> QuantityError:
    """Return what to say of a unit that is of another kind (``is_of``), or of none."""
    if not wanted:
        return QuantityError(f"'{unit}' does not belong here; a plain number is wanted")
    kind = _UNITS[wanted].dimension
    told = f"is a unit of {is_of}, not of {kind}" if is_of else f"is no unit of {kind}"
    return QuantityError(f"'{unit}' {told}; a plain number is in {_IN_FULL.get(wanted, wanted)}")


def read_quantity(given: object, unit: str, *, difference: bool = False) -> float:
    """Read a number, or a text such as ``"0.40 in"``, as a value in ``unit``.

    A bare number is taken to be in ``unit`` already; a decimal comma is accepted in texts.
    ``difference``: what is read is a difference of two values, so that ``"1 K"`` is one degC.
    Raises QuantityError for anything else, for another kind of unit, NaN and infinity.

    >>> read_quantity("0.40 in", "mm")
    10.16
    >>> read_quantity(10.2, "mm")
    10.2
    >>> read_quantity("1 K", "degC", difference=True)
    1.0
    """
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise QuantityError('a number or a text such as "10.2 mm" is needed')
    if isinstance(given, str):
        if len(given) > 60:
            raise QuantityError("too long for a quantity")
        match = _NUMBER.match(given)
        if match is None:
            raise QuantityError(
                f"'{given}' is no number" if given.strip() else "a number is needed"
            )
        number, written = float(match[1].replace(",", ".")), match[2]
        value = convert(number, written, unit) if written else number
        if difference and written:
            value = float(f"{value - convert(0.0, written, unit):.12g}")
    else:
        try:
            value = float(given)
        except OverflowError:
            raise QuantityError("the number is too large") from None
    if not math.isfinite(value):
        raise QuantityError("the number must be finite")
    return value


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)


# Names, each with one digit of exponent, and what joins them. Nothing else reaches pint, which
# reckons out whatever it is given: m^9^9^9 would keep it busy for good.
_FACTOR: Final = r"\(?[A-Za-zµμ°][A-Za-zµμ°0-9]*\)?(?:(?:\^|\*\*)-?[0-9])?\)?"
_COMPOUND: Final = re.compile(rf"(?:1 ?/ ?)?{_FACTOR}(?: ?[ */·] ?{_FACTOR})*")

_PINT_NAMES: Final = {"": "dimensionless", "%": "percent", '"': "inch", "°": "degree"}


def _by_pint(value: float, unit: str, wanted: str) -> float:
    if len(unit) > 40 or not _COMPOUND.fullmatch(unit):
        raise _no_unit(unit, wanted)
    registry = _registry()
    try:
        quantity = registry.Quantity(value, unit.replace("·", "*"))
        return float(quantity.to(_PINT_NAMES.get(wanted, wanted)).magnitude)
    except Exception as error:  # pint raises from several families, none of them ours to sort
        raise _no_unit(unit, wanted) from error
