"""Figures on the cards: a value in a stated unit, and where it comes from."""

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_serializer
from pydantic_core import PydanticCustomError

from pitwright.units import QuantityError, read_quantity, to_si
from pitwright.weekend.model import Line, Model

__all__ = [
    "Angle",
    "Figure",
    "Force",
    "HeatLoss",
    "Inertia",
    "Length",
    "Mass",
    "MassPerLength",
    "Minutes",
    "Modulus",
    "PerKelvin",
    "Provenance",
    "Ratio",
    "RotationSpeed",
    "Seconds",
    "SpecificHeat",
    "Speed",
    "Temperature",
    "TemperatureRise",
    "Torque",
    "Volume",
]

Provenance = Literal["measured", "maker", "common practice", "from memory", "invented"]
"""Where a card's figure comes from."""


_LARGEST = 1e9  # in the unit asked for: more than any size, speed, stiffness or time on a card


class Figure(Model):
    """A value in ``unit`` with its provenance, and its standard uncertainty when known.

    Written on a card as ``{ value = "1.6 mm", from = "measured", note = "..." }``.
    """

    value: float
    unit: str
    provenance: Provenance = Field(alias="from")
    note: Line = ""
    u: float | None = Field(default=None, ge=0)

    # On the model, not on each of the kinds below: asked for once and not for all sixty fields of
    # a card, it takes 7 ms off every start.
    @model_serializer
    def _written(self) -> dict[str, Any]:
        table: dict[str, Any] = {
            "value": f"{self.value:g} {self.unit}".strip() if self.unit else self.value,
            "from": self.provenance,
        }
        if self.u is not None:
            table["u"] = f"{self.u:g} {self.unit}".strip() if self.unit else self.u
        if self.note:
            table["note"] = self.note
        return table

    @property
    def si(self) -> float:
        """The value in SI base units."""
        return to_si(self.value, self.unit)

    @property
    def u_si(self) -> float | None:
        """The standard uncertainty in SI base units, None when the card states none."""
        return None if self.u is None else to_si(self.u, self.unit) - to_si(0.0, self.unit)


def _reader(unit: str, low: float = -_LARGEST) -> Callable[[Any], Any]:
    def read(given: Any) -> Any:
        if isinstance(given, Figure):
            return given
        if not isinstance(given, dict):
            raise PydanticCustomError(
                "figure",
                'must be a table such as { value = "{example}", from = "measured" }',
                {"example": f"1.0 {unit}".strip()},
            )
        read = dict(given)
        try:
            for key in ("value", "u"):
                if key in read:
                    read[key] = read_quantity(read[key], unit, difference=key == "u")
                    if abs(read[key]) > _LARGEST:
                        raise QuantityError(f"'{key}' is far too large")
            if read.get("value", low) < low:
                raise QuantityError(f"'value' cannot be below {low:g}")
        except QuantityError as error:
            raise PydanticCustomError("figure", "{reason}", {"reason": str(error)}) from None
        return read | {"unit": unit}

    return read


_ON_A_SCALE = re.compile(r"(?<=[\d\s.])(k?g)\s*$")


def _force(given: Any) -> Any:
    """Read a kitchen scale's grams as the force that they weigh (standard gravity, ISO 80000-4)."""
    if isinstance(given, dict):
        given = {
            key: _ON_A_SCALE.sub(r"\1f", value) if isinstance(value, str) else value
            for key, value in given.items()
            if key != "note"
        } | {key: given[key] for key in ("note",) if key in given}
    return _reader("N", 0)(given)


def _rise(given: Any) -> Any:
    """Refuse a rise in degrees: read as a temperature it would come out 273 off."""
    read = _reader("K")(given)
    if isinstance(given, dict) and "value" in given:
        rise = read_quantity(given["value"], "K", difference=True)
        if abs(rise - read["value"]) > 1.0:
            raise PydanticCustomError(
                "figure", 'a rise of temperature is written in kelvin, such as "60 K"'
            )
    return read


Length = Annotated[Figure, BeforeValidator(_reader("mm"))]
Force = Annotated[Figure, BeforeValidator(_force)]
Mass = Annotated[Figure, BeforeValidator(_reader("g", 0))]
MassPerLength = Annotated[Figure, BeforeValidator(_reader("g/mm", 0))]
Angle = Annotated[Figure, BeforeValidator(_reader("deg"))]
Modulus = Annotated[Figure, BeforeValidator(_reader("GPa", 0))]
Ratio = Annotated[Figure, BeforeValidator(_reader(""))]
Torque = Annotated[Figure, BeforeValidator(_reader("N m", 0))]
RotationSpeed = Annotated[Figure, BeforeValidator(_reader("rpm", 0))]
Temperature = Annotated[Figure, BeforeValidator(_reader("degC", -273.15))]
TemperatureRise = Annotated[Figure, BeforeValidator(_rise)]
PerKelvin = Annotated[Figure, BeforeValidator(_reader("1/K"))]
Inertia = Annotated[Figure, BeforeValidator(_reader("g cm^2", 0))]
SpecificHeat = Annotated[Figure, BeforeValidator(_reader("J/(kg K)", 0))]
Minutes = Annotated[Figure, BeforeValidator(_reader("min", 0))]
HeatLoss = Annotated[Figure, BeforeValidator(_reader("W/K", 0))]
Speed = Annotated[Figure, BeforeValidator(_reader("km/h", 0))]
Seconds = Annotated[Figure, BeforeValidator(_reader("s", 0))]
Volume = Annotated[Figure, BeforeValidator(_reader("ml", 0))]
