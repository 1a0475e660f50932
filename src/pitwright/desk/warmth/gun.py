"""A bell read with the temperature gun, from what was typed to its record."""

from __future__ import annotations

from datetime import datetime, timedelta

from pitwright.desk.form_text import FormError
from pitwright.units import QuantityError, read_quantity
from pitwright.weekend.records import BellTemperature
from pitwright.weekend.weekend import Weekend

__all__ = ["COLDEST_C", "HOTTEST_C", "bell_trouble", "gun_record", "read_bell"]

COLDEST_C, HOTTEST_C = -10.0, 350.0


def read_bell(text: str) -> float:
    """Return a typed bell temperature that ``bell_trouble`` lets pass [°C]."""
    return read_quantity(text.strip(), "degC")


def bell_trouble(text: str) -> str:
    """Return what is wrong with a typed bell temperature, or nothing."""
    try:
        value = read_bell(text)
    except QuantityError as error:
        return f"the bell's temperature in °C, such as 96: {error}"
    if not COLDEST_C <= value <= HOTTEST_C:
        return f"between {COLDEST_C:.0f} and {HOTTEST_C:.0f} °C"
    return ""


def gun_record(
    weekend: Weekend,
    bell_c: float,
    *,
    now: datetime,
    clutch: str | None = None,
    heat: str | None = None,
    ago_minutes: float = 0.0,
) -> BellTemperature:
    """Return the record of a gun reading; ``heat`` is needed only when it is not the last one run.

    Raises FormError when there is no such heat.
    """
    if heat is not None:
        try:
            heat = weekend.heat(heat).run.heat
        except KeyError:
            raise FormError({"heat": f"there is no heat '{heat}' in the log"}) from None
    return BellTemperature(
        clutch=weekend.card(clutch).id,
        happened_at=now - timedelta(minutes=ago_minutes),
        bell_c=bell_c,
        heat=heat,
    )
