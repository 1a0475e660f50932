"""What a correction says: its reason, or what it changed when nobody gave one."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from pitwright.desk.wording import day_time
from pitwright.weekend.log import Replaced
from pitwright.weekend.records import AnyRecord, Correction
from pitwright.weekend.weekend import Weekend

__all__ = ["NO_REASON", "corrected_words", "field_differences", "reason_of"]

NO_REASON: Final = "corrected"
"""The reason of a correction that was kept without one."""

_NOT_NOTED: Final = "not noted"
_UNITS: Final = {"_mm": " mm", "_c": " °C", "_hpa": " hPa", "_ml": " ml"}
_LONGEST: Final = 24  # a value longer than this is not told in a line


def reason_of(correction: Correction) -> str:
    """Return why something was corrected, nothing when nobody said."""
    return "" if correction.reason == NO_REASON else correction.reason


def corrected_words(weekend: Weekend, replaced: Replaced) -> str:
    """Return why a record was corrected or taken back; without a reason, what was changed."""
    if replaced.last.replacement is None:
        return f"taken back: {replaced.last.reason}"
    words = reason_of(replaced.last) or ", ".join(_changes(weekend, replaced))
    return f"corrected: {words}" if words else "corrected"


def _changes(weekend: Weekend, replaced: Replaced) -> list[str]:
    new = next((r for r in weekend.log.records if r.id == replaced.last.id), None)
    if new is None:
        return []
    changes = []
    for label, *values in field_differences(replaced.record, new, weekend.event.zone):
        name = label[:1].lower() + label[1:]
        unit = next((u for u in _UNITS.values() if name.endswith(u)), "")
        name = name.removesuffix(unit)
        was, is_ = (v if v == _NOT_NOTED else v + unit for v in values)
        if max(len(was), len(is_)) > _LONGEST:
            changes.append(f"{name} changed")
        elif was != is_:
            changes.append(f"{name} {was} → {is_}")
    return changes


_NO_FIELDS = frozenset({"id", "format", "recorded_at", "laptop", "sequence", "kind"})


def field_differences(
    old: AnyRecord, new: AnyRecord, zone: ZoneInfo
) -> tuple[tuple[str, str, str], ...]:
    """Return the fields in which two records of one kind differ: name, was, is, in words."""
    before, after = _flat(old.model_dump()), _flat(new.model_dump())
    return tuple(
        (_field_name(key), _shown(before.get(key), zone), _shown(after.get(key), zone))
        for key in dict.fromkeys([*before, *after])
        if key not in _NO_FIELDS and before.get(key) != after.get(key)
    )


def _flat(table: dict[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            flat |= _flat(value)
        else:
            flat[key] = value
    return flat


def _field_name(key: str) -> str:
    if key == "happened_at":
        return "When"
    words = key
    for tail, unit in _UNITS.items():
        if key.endswith(tail):
            words = key.removesuffix(tail) + unit
    words = words.replace("_", " ")
    return words[:1].upper() + words[1:]  # capitalize() would make °c of °C


def _shown(value: object, zone: ZoneInfo) -> str:
    if value is None or value == "" or value == []:
        return _NOT_NOTED
    if isinstance(value, datetime):
        return day_time(value, zone)
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return " ".join(_shown(v, zone) for v in value)
    return str(value)
