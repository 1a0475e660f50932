"""The form of a heat: its fields, and the record it makes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from pydantic import ValidationError

from pitwright.desk.form_text import (
    FieldError,
    FormError,
    FormField,
    plain_number,
    read_choice,
    read_humidity,
    read_minutes,
    read_moment,
    read_quantity_field,
    read_rating,
    read_teeth,
    refused,
    shown_moment,
)
from pitwright.desk.heats.heats import HEAT_KINDS, rerun_name, running, taken_names
from pitwright.weekend.open_work import OpenHeat
from pitwright.weekend.records import HeatRun
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["add_form", "finish_form", "heat_form", "read_heat"]

_UNNAMED = "Heat"
_STATUSES = ("run", "stopped early", "cancelled")


def heat_form(weekend: Weekend, heat: HeatRun) -> tuple[FormField, ...]:
    """Return the fields of a heat's form, filled with what is known of it."""
    air = heat.conditions
    when = shown_moment(heat.happened_at, weekend.event.zone)
    return (
        FormField("heat", "Heat", "" if heat.heat == _UNNAMED else heat.heat, "Q2", "Heat"),
        FormField("kind", "Kind", heat.heat_kind, ", ".join(HEAT_KINDS), "Heat"),
        FormField("start", "Started", when, "Sat 10:32", "Heat"),
        FormField("round", "Round", plain_number(heat.round, 0), "", "Heat"),
        FormField(
            "minutes", "Run minutes", plain_number(heat.run_minutes), "empty: not known", "Heat"
        ),
        FormField(
            "warm_up", "Warm-up minutes", plain_number(heat.warm_up_minutes), "counts too", "Heat"
        ),
        FormField("status", "Went", heat.status, ", ".join(_STATUSES), "Heat", half=False),
        FormField("result", "Result", heat.result, "P3, 24 laps", "Heat", half=False),
        FormField(
            "bite", "Bite", plain_number(heat.bite_rating, 0), "1 to 5", "Driver, 5 is just right"
        ),
        FormField(
            "bottom_end",
            "Bottom end",
            plain_number(heat.bottom_end_rating, 0),
            "1 to 5",
            "Driver, 5 is just right",
        ),
        FormField(
            "consistency",
            "Consistency",
            plain_number(heat.consistency_rating, 0),
            "1 to 5",
            "Driver, 5 is just right",
        ),
        FormField("grip", "Grip", plain_number(air.grip, 0), "1 to 5", "Driver, 5 is just right"),
        FormField("air", "Air °C", plain_number(air.air_c), "24 or 75 F", "Air, track and car"),
        FormField("track", "Track °C", plain_number(air.track_c), "31", "Air, track and car"),
        FormField(
            "humidity", "Humidity %", plain_number(air.humidity_percent), "", "Air, track and car"
        ),
        FormField(
            "pressure", "Pressure hPa", plain_number(air.pressure_hpa), "1013", "Air, track and car"
        ),
        FormField("engine", "Engine °C", plain_number(heat.engine_c), "105", "Air, track and car"),
        FormField(
            "fuel", "Fuel used ml", plain_number(heat.fuel_used_ml), "", "Air, track and car"
        ),
        FormField(
            "pinion", "Pinion teeth", _teeth(heat.pinion_teeth), "17 21", "Air, track and car"
        ),
        FormField("spur", "Spur teeth", _teeth(heat.spur_teeth), "46 42", "Air, track and car"),
        FormField("tyres", "Tyres", heat.tyres, "", "In words", half=False),
        FormField("trouble", "Trouble", heat.trouble, "", "In words", half=False),
        FormField("note", "Note", " ".join(heat.note.split()), "", "In words", half=False),
    )


def _teeth(teeth: list[int]) -> str:
    return " ".join(str(n) for n in teeth)


def finish_form(weekend: Weekend, heat: OpenHeat, now: datetime) -> HeatRun:
    """Return a stopped heat as far as it is known, for its form: the minutes are the clock's.

    Gearing and tyres are those of the heat before, as nobody changes them unknowingly.
    """
    seconds = running(heat, now).seconds
    known: dict[str, Any] = {"run_minutes": round(seconds / 60, 2)}
    return _with_gearing(weekend, heat.heat).model_copy(update=known)


def add_form(weekend: Weekend, now: datetime, planned: PlannedHeat | None = None) -> HeatRun:
    """Return an empty heat for the form of one that was run already."""
    run = HeatRun(
        clutch=weekend.card().id,
        happened_at=planned.starts_at if planned is not None else now,
        heat=planned.name if planned is not None else _UNNAMED,
        heat_kind=planned.kind if planned is not None else "practice",
        round=planned.round if planned is not None else None,
        planned_minutes=planned.minutes if planned is not None else None,
    )
    return _with_gearing(weekend, run)


def _with_gearing(weekend: Weekend, run: HeatRun) -> HeatRun:
    earlier = [
        h.run
        for h in weekend.heats
        if h.run.happened_at < run.happened_at and h.run.clutch == run.clutch
    ]
    last = next((h for h in reversed(earlier) if h.pinion_teeth or h.spur_teeth), None)
    if last is None or run.pinion_teeth or run.spur_teeth:
        return run
    return run.model_copy(update={"pinion_teeth": last.pinion_teeth, "spur_teeth": last.spur_teeth})


def read_heat(weekend: Weekend, base: HeatRun, values: Mapping[str, str], now: datetime) -> HeatRun:
    """Return the heat of a filled-in form; what the form has no field for comes from ``base``.

    ``base.id`` is empty for a new heat. Raises FormError with every field that is wrong.
    """
    errors: dict[str, str] = {}

    def read(key: str, reader: Callable[[str], Any]) -> Any:
        try:
            return reader(values.get(key, ""))
        except FieldError as error:
            errors[key] = f"{_LABELS.get(key, key)}: {error}"
            return None

    def as_number(unit: str) -> Callable[[str], float | None]:
        return lambda text: read_quantity_field(text, unit)

    zone = weekend.event.zone
    start = read("start", lambda text: read_moment(text, zone, base.happened_at))
    name = " ".join(values.get("heat", "").split())
    others = taken_names(weekend) - {base.heat.lower() if _own(weekend, base) else ""}
    if not name:
        errors["heat"] = "Heat: give it a name"
    elif name.lower() in others:
        errors["heat"] = f"Heat: {name} is there already; call it {rerun_name(weekend, name)}"
    kind = read("kind", lambda text: read_choice(text, HEAT_KINDS))
    if kind is None and "kind" not in errors:
        errors["kind"] = "Kind: one of " + ", ".join(HEAT_KINDS)
    if start is None and "start" not in errors:
        errors["start"] = "Started: a time such as 10:32 or Sat 10:32"
    elif start is not None and start > now + timedelta(minutes=1):
        errors["start"] = "Started: that is still to come"
    fields = {
        "happened_at": start,
        "heat": name,
        "heat_kind": kind,
        "round": _whole(read("round", as_number("")), "round", errors),
        "status": read("status", lambda text: read_choice(text, _STATUSES)) or "run",
        "run_minutes": read("minutes", read_minutes),
        "warm_up_minutes": read("warm_up", read_minutes),
        "conditions": {
            "air_c": read("air", as_number("degC")),
            "track_c": read("track", as_number("degC")),
            "humidity_percent": read("humidity", read_humidity),
            "pressure_hpa": read("pressure", as_number("hPa")),
            "grip": read("grip", read_rating),
        },
        "bite_rating": read("bite", read_rating),
        "bottom_end_rating": read("bottom_end", read_rating),
        "consistency_rating": read("consistency", read_rating),
        "engine_c": read("engine", as_number("degC")),
        "fuel_used_ml": read("fuel", as_number("ml")),
        "pinion_teeth": read("pinion", read_teeth),
        "spur_teeth": read("spur", read_teeth),
        "tyres": " ".join(values.get("tyres", "").split()),
        "result": " ".join(values.get("result", "").split()),
        "trouble": " ".join(values.get("trouble", "").split()),
        "note": values.get("note", "").strip(),
    }
    if errors:
        raise FormError(errors)
    try:
        return HeatRun(
            clutch=base.clutch,
            planned_minutes=base.planned_minutes,
            **fields,
        )
    except ValidationError as error:
        raise refused(error, _FIELD_OF) from None


def _own(weekend: Weekend, base: HeatRun) -> bool:
    """Tell whether the form is about a heat that is in the log, or open, under its own name."""
    if base.id:
        return True
    open_ = weekend.open.heat
    return (
        open_ is not None
        and open_.heat.heat == base.heat
        and open_.heat.happened_at == base.happened_at
    )


def _whole(value: float | None, key: str, errors: dict[str, str]) -> int | None:
    if value is None:
        return None
    if value != int(value):
        errors[key] = f"{_LABELS[key]}: a whole number"
        return None
    return int(value)


_FIELD_OF = {
    "happened_at": "start",
    "heat_kind": "kind",
    "run_minutes": "minutes",
    "warm_up_minutes": "warm_up",
    "air_c": "air",
    "track_c": "track",
    "humidity_percent": "humidity",
    "pressure_hpa": "pressure",
    "engine_c": "engine",
    "fuel_used_ml": "fuel",
    "pinion_teeth": "pinion",
    "spur_teeth": "spur",
}
_LABELS = {
    "start": "Started",
    "kind": "Kind",
    "round": "Round",
    "minutes": "Run minutes",
    "warm_up": "Warm-up minutes",
    "status": "Went",
    "bite": "Bite",
    "bottom_end": "Bottom end",
    "consistency": "Consistency",
    "grip": "Grip",
    "air": "Air",
    "track": "Track",
    "humidity": "Humidity",
    "pressure": "Pressure",
    "engine": "Engine",
    "fuel": "Fuel used",
    "pinion": "Pinion teeth",
    "spur": "Spur teeth",
}
