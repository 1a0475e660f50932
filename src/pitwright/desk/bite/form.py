"""What is typed on the Bite screen: read, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import cast

from pitwright.desk.clutch.air import AirRead
from pitwright.desk.clutch.observed import SourceWord, observation_record
from pitwright.desk.form_text import FieldError, read_humidity
from pitwright.desk.wording import day_time, fixed
from pitwright.units import QuantityError, read_quantity
from pitwright.weekend.records import Observation
from pitwright.weekend.weekend import Weekend

__all__ = [
    "air_trouble",
    "heat_choices",
    "observed_trouble",
    "read_air",
    "read_observed",
    "rpm_trouble",
    "speed_trouble",
]

_LOWEST_RPM, _HIGHEST_RPM = 1000.0, 60000.0
_AIR = {
    "air_c": ("°C", -10.0, 50.0),
    "pressure_hpa": ("hPa", 600.0, 1100.0),
}


def _number(text: str) -> float | None:
    try:
        return read_quantity(text.replace(" ", ""), "")
    except QuantityError:
        return None


def rpm_trouble(text: str) -> str:
    """Return what is wrong with a typed engine speed, or nothing."""
    value = _number(text)
    if value is None:
        return "an engine speed in rpm, such as 12350"
    if not _LOWEST_RPM < value < _HIGHEST_RPM:
        return f"between {_LOWEST_RPM:.0f} and {_HIGHEST_RPM:.0f} rpm"
    return ""


def speed_trouble(text: str) -> str:
    """Return what is wrong with a typed speed of the car, or nothing."""
    value = _number(text)
    if value is None or not 0 <= value < 100:
        return "a speed in m/s, such as 12; 1 m/s is 3.6 km/h"
    return ""


def air_trouble(values: dict[str, str]) -> tuple[str, str] | None:
    """Return the field and what is wrong there, or None."""
    for key, (unit, low, high) in _AIR.items():
        text = values[key].strip()
        if not text:
            continue
        value = _number(text)
        if value is None or not low <= value <= high:
            return key, f"a number between {low:g} and {high:g} {unit}, or nothing"
    try:
        read_humidity(values["humidity_percent"])
    except FieldError as error:
        return "humidity_percent", str(error)
    if not values["air_c"].strip() and any(text.strip() for text in values.values()):
        return "air_c", "the temperature is needed as well; or empty all three"
    return None


def read_air(values: dict[str, str]) -> AirRead | None:
    """Return the air of a form that ``air_trouble`` lets pass; None when nothing is typed."""
    air_c = _number(values["air_c"])
    if air_c is None:
        return None
    humidity = read_humidity(values["humidity_percent"])
    return AirRead(air_c, _number(values["pressure_hpa"]), humidity, "typed")


def observed_trouble(values: dict[str, str], heats: Sequence[str]) -> tuple[str, str] | None:
    """Return the field and what is wrong there, or None."""
    trouble = rpm_trouble(values["rpm"])
    if trouble:
        return "rpm", trouble
    if values["u_rpm"].strip():
        u = _number(values["u_rpm"])
        if u is None or not 0 < u <= 5000:
            return "u_rpm", "how far off it may be, in rpm, up to 5000; or nothing"
    heat = values["heat"].strip()
    if heat and heat.lower() not in [h.lower() for h in heats]:
        return (
            "heat",
            f"there is no heat '{heat}' in the log; leave it empty for the clutch as it is",
        )
    return None


def read_observed(
    how: str, source: str, values: dict[str, str], *, now: datetime, clutch: str
) -> Observation:
    """Return the record of a form that ``observed_trouble`` lets pass.

    What is typed as sure to ± is a two-sided limit, taken as twice the standard uncertainty.
    """
    u = _number(values["u_rpm"])
    rpm = _number(values["rpm"])
    assert rpm is not None
    return observation_record(
        "creep" if how == "creep" else "plateau",
        rpm,
        now=now,
        clutch=clutch,
        source=cast(SourceWord, source),
        u_rpm=None if u is None else u / 2,
        heat=values["heat"].strip() or None,
    )


def heat_choices(weekend: Weekend, clutch: str | None) -> list[tuple[str, str, str]]:
    """Return the heats whose recess and free length are known: name, name and what it ran on."""
    card = weekend.card(clutch)
    found: list[tuple[str, str, str]] = []
    for heat in reversed(weekend.heats):
        recess, length = heat.state.recess, heat.state.figure("free_length")
        if heat.run.clutch != card.id or heat.run.status == "cancelled":
            continue
        if recess is None or length is None or heat.run.heat in [f[0] for f in found]:
            continue
        rating = f", bite rated {heat.run.bite_rating} of 5" if heat.run.bite_rating else ""
        found.append(
            (
                heat.run.heat,
                f"{heat.run.heat:<5}",
                f"{day_time(heat.run.happened_at, weekend.event.zone)}  recess "
                f"{fixed(recess.value_mm)}, spring {fixed(length.value_mm)}{rating}",
            )
        )
    return found
