"""The lines that can be turned on the Bite screen, and what they try."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pitwright.desk.bite.bite import BiteDesk, Tries
from pitwright.desk.clutch.air import AirRead
from pitwright.desk.clutch.model import ClutchModel
from pitwright.desk.wording import fixed
from pitwright.metrology.entry import parse_entry

__all__ = ["LINES", "tried_rows", "turned", "typed", "typed_trouble"]

LINES: Mapping[str, str] = {
    "recess": "Nut recess",
    "free_length": "Spring length",
    "worn": "Shoe wear",
    "hot": "Hot spring",
    "air": "Air",
}
_STEP_MM = 0.01
_STEP_C = 1.0
_RANGE_MM = {"recess": (0.01, 20.0), "free_length": (0.1, 50.0), "worn": (0.0, 5.0)}
_AIR_C = (-10.0, 50.0)
_DEFAULT_C = 25.0


def _standing(now: ClutchModel, key: str) -> float:
    """Return where a line stands as every screen shows it: what is turned is a hundredth seen."""
    return float(fixed(float(getattr(now.clutch, key)) * 1000))


def turned(
    tries: Tries, key: str, steps: int, now: ClutchModel | None, last: AirRead | None
) -> Tries:
    """Return the tries with one line turned by steps: hundredths of a millimetre, or degrees."""
    if key == "hot":
        return replace(tries, hot=not tries.hot)
    if key == "air":
        start = tries.air or last or AirRead(_DEFAULT_C)
        # The first touch shows the air last read; from there on it moves.
        moved = start.air_c + (steps * _STEP_C if tries.air is not None else 0.0)
        low, high = _AIR_C
        return replace(tries, air=replace(start, air_c=min(max(moved, low), high)))
    if now is None:
        return tries
    standing = _standing(now, key)
    value = getattr(tries, f"{key}_mm")
    value = (standing if value is None else value) + steps * _STEP_MM
    low, high = _RANGE_MM[key]
    value = min(max(round(value, 6), low), high)
    back = abs(value - standing) < 1e-9
    return _with(tries, key, None if back else value)


def _with(tries: Tries, key: str, value: float | None) -> Tries:
    change: dict[str, Any] = {f"{key}_mm": value}
    return replace(tries, **change)


def typed_trouble(key: str, text: str) -> str:
    """Return what is wrong with a typed length, or nothing."""
    entry = parse_entry(text, largest=_RANGE_MM[key][1])
    if entry.state != "complete" or len(entry.values) != 1:
        return entry.reason or "one length in millimetres, such as 1.45"
    low, high = _RANGE_MM[key]
    return "" if low <= entry.values[0] <= high else f"between {low:g} and {high:g} mm"


def typed(tries: Tries, key: str, text: str, now: ClutchModel) -> Tries:
    """Return the tries with one line set to a typed length that ``typed_trouble`` lets pass."""
    value = parse_entry(text, largest=_RANGE_MM[key][1]).values[0]
    return _with(tries, key, value)


def tried_rows(tries: Tries, now: ClutchModel | None, found: BiteDesk) -> dict[str, str]:
    """Return each line as text: its name, where it stands, and how far it was turned."""
    rows = {}
    for key in ("recess", "free_length", "worn"):
        value = getattr(tries, f"{key}_mm")
        if now is None:
            rows[key] = f"{LINES[key]:<14}  not known"
            continue
        standing = _standing(now, key)
        shown = standing if value is None else value
        moved = "" if value is None else f"  {value - standing:+.2f}"
        rows[key] = f"{LINES[key]:<14}{fixed(shown):>6} mm{moved}"
    rows["hot"] = f"{LINES['hot']:<14}{'   yes' if tries.hot else '    no'}"
    air = found.air
    if air is None:
        rows["air"] = f"{LINES['air']:<14}   engine's reference"
    else:
        percent = "" if air.torque_percent is None else f"  torque {air.torque_percent:+.1f} %"
        rows["air"] = f"{LINES['air']:<14}{air.read.air_c:6.0f} °C{percent}"
    return rows
