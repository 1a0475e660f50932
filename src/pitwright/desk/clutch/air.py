"""The air at the track: its density, and the most it takes from or gives to the engine."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitwright.mechanics import air
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.records import Conditions
from pitwright.weekend.weekend import Weekend

__all__ = ["AirDesk", "AirRead", "air_desk", "air_lines", "air_of", "last_air"]

_KELVIN = 273.15
_STANDARD_HPA = 1013.25
_HALF_WET = 50.0


@dataclass(frozen=True)
class AirRead:
    """Air as far as it was read: degrees Celsius, hectopascal where the car runs, per cent."""

    air_c: float
    pressure_hpa: float | None = None
    humidity_percent: float | None = None
    source: str = ""


@dataclass(frozen=True)
class AirDesk:
    """What the air does.

    ``factor`` divides the engine's torque in the standard's reference air (ISO 1585 form, recalled
    from memory); ``torque_percent`` is the change of torque, the most it can be for a fuel that
    carries oxygen; ``trusted`` is false outside the factors the standard holds good. ``assumed``
    says what was not read. ``refused`` is why it cannot be computed.
    """

    read: AirRead
    density: float | None = None
    factor: float | None = None
    other_factor: float | None = None
    torque_percent: float | None = None
    trusted: bool = True
    assumed: tuple[str, ...] = ()
    refused: str = ""


def air_of(conditions: Conditions, source: str = "") -> AirRead | None:
    """Return the air of a heat's conditions, None when its temperature was not read."""
    if conditions.air_c is None:
        return None
    return AirRead(conditions.air_c, conditions.pressure_hpa, conditions.humidity_percent, source)


def last_air(weekend: Weekend) -> AirRead | None:
    """Return the air of the last heat that read it."""
    for heat in reversed(weekend.heats):
        found = air_of(heat.run.conditions, heat.run.heat)
        if found is not None:
            return found
    return None


def air_desk(read: AirRead) -> AirDesk:
    """Return density and torque correction; a pressure or humidity not read is assumed and named.

    Density by CIPM-2007; correction in the forms of ISO 1585 and SAE J1349, both recalled.
    """
    assumed = []
    if read.pressure_hpa is None:
        assumed.append("pressure not read: taken as 1013 hPa, as at sea level")
    if read.humidity_percent is None:
        assumed.append("humidity not read: taken as 50 %")
    pressure = (read.pressure_hpa if read.pressure_hpa is not None else _STANDARD_HPA) * 100
    wet = read.humidity_percent if read.humidity_percent is not None else _HALF_WET
    kelvin = read.air_c + _KELVIN
    found = AirDesk(read, assumed=tuple(assumed))
    try:
        dry = air.dry_pressure(pressure, kelvin, wet / 100)
        factor = air.correction_iso1585(dry, kelvin)
        return replace(
            found,
            density=air.density(pressure, kelvin, wet / 100),
            factor=factor,
            other_factor=air.correction_j1349(dry, kelvin),
            torque_percent=(air.torque_today(1.0, factor) - 1) * 100,
            trusted=air.correction_trusted(factor),
        )
    except RangeError as error:
        name = {"p": "the pressure", "T": "the temperature", "h": "the humidity"}
        return replace(
            found, refused=f"{name.get(error.argument, 'the air')} is outside what can be computed"
        )


def air_lines(found: AirDesk) -> list[str]:
    """Return the air as lines of text."""
    read = found.read
    seen = [f"{read.air_c:.0f} °C"]
    if read.pressure_hpa is not None:
        seen.append(f"{read.pressure_hpa:.0f} hPa")
    if read.humidity_percent is not None:
        seen.append(f"{read.humidity_percent:.0f} % humidity")
    lines = [f"Air {', '.join(seen)}{f' ({read.source})' if read.source else ''}"]
    if found.refused:
        return [*lines, f"  Refused: {found.refused}"]
    if found.density is not None and found.torque_percent is not None:
        lines += [
            f"  Density         {found.density:.3f} kg/m3",
            f"  Engine torque   {found.torque_percent:+.1f} % against 25 °C, 99 kPa of dry air",
            "  Note: the most it can be; a fuel that carries oxygen feels less",
        ]
    if not found.trusted:
        lines.append("  Note: beyond the air the standards hold their formula good for")
    return [*lines, *(f"  Note: {each}" for each in found.assumed)]
