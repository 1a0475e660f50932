"""What is noted between heats: a setting of the nut, a note, a delay."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from pydantic import ValidationError

from pitwright.desk.form_text import (
    FormError,
    FormField,
    FormReader,
    plain_number,
    read_choice,
    read_quantity_field,
    read_signed_minutes,
    read_turns,
    refused,
    when_field,
)
from pitwright.desk.measure.limits import spring_is_new
from pitwright.desk.wording import day_time, fixed, mm
from pitwright.weekend.records import NoteRecord, ScheduleChange, Setting
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import Weekend

__all__ = [
    "delay_form",
    "note_form",
    "read_delay",
    "read_note",
    "read_setting",
    "setting_doubt",
    "setting_form",
]


# The nut


def setting_form(
    weekend: Weekend, now: datetime, clutch: str | None = None, base: Setting | None = None
) -> tuple[FormField, ...]:
    """Return the form of a nut setting; ``base`` is the one being edited."""
    recess = weekend.state(base.happened_at if base else now, clutch).recess
    there = f"{fixed(recess.value_mm)} before" if recess is not None else "1.35"
    return (
        FormField(
            "recess",
            "Recess mm",
            plain_number(base.recess_mm, 3) if base else "",
            there if base is None else "",
            half=False,
        ),
        FormField(
            "turns",
            "Turned",
            plain_number(base.turns_in, 3) if base else "",
            "0.25 in, 1/4 out; empty: not counted",
            half=False,
        ),
        FormField("note", "Note", base.note if base else "", half=False),
        when_field(base.happened_at if base else now, weekend.event.zone),
    )


def read_setting(
    weekend: Weekend,
    values: Mapping[str, str],
    now: datetime,
    clutch: str | None = None,
    base: Setting | None = None,
) -> Setting:
    """Return the setting of a filled-in form.

    With turns only, the recess follows from where the nut was and the card's pitch. Raises
    FormError with every field that is wrong.
    """
    card = weekend.card(base.clutch if base else clutch)
    read = FormReader(values)
    at = read.moment(weekend.event.zone, base.happened_at if base else now, now)
    recess = read("recess", "Recess", lambda text: read_quantity_field(text, "mm"))
    turns = read("turns", "Turned", read_turns)
    if recess is None and "recess" not in read.errors:
        before = weekend.state(at, card.id).recess
        if turns is None:
            read.errors.setdefault("recess", "Recess: give the recess, or the turns")
        elif before is None or base is not None:
            read.errors["recess"] = "Recess: it cannot be worked out here; measure it and type it"
        else:
            recess = round(before.value_mm + turns * card.nut.pitch.value, 3)
    bottomed = card.nut.recess_bottomed
    slack = 3 * (bottomed.u or 0.02)
    if recess is not None and recess > bottomed.value + slack:
        read.errors["recess"] = (
            f"Recess: {mm(recess)} is deeper than bottomed out, {mm(bottomed.value)} on the card"
        )
    if read.errors:
        raise FormError(read.errors)
    try:
        return Setting(
            clutch=card.id,
            happened_at=at,
            recess_mm=recess,
            turns_in=turns,
            u_mm=base.u_mm if base is not None and base.recess_mm == recess else None,
            step=base.step if base is not None else None,
            note=read.line("note"),
        )
    except ValidationError as error:
        raise refused(error, {"recess_mm": "recess", "turns_in": "turns"}) from None


def setting_doubt(weekend: Weekend, setting: Setting) -> str:
    """Return what is odd about a setting: past the card's range, turns that do not fit."""
    card = weekend.card(setting.clutch)
    nut, state = card.nut, weekend.state(setting.happened_at, setting.clutch)
    new = spring_is_new(card, state)
    most = nut.recess_new_spring_high if new else nut.recess_max
    if setting.recess_mm > most.value:
        whose = " for a new spring" if new else ""
        return f"{mm(setting.recess_mm)} is past the most the card allows{whose}, {mm(most.value)}"
    before = weekend.state(setting.happened_at - timedelta(seconds=1), setting.clutch).recess
    if setting.turns_in is not None and before is not None:
        by_turns = before.value_mm + setting.turns_in * nut.pitch.value
        if abs(by_turns - setting.recess_mm) > 0.15:
            return (
                f"from {mm(before.value_mm)} those turns would give {mm(by_turns)}, "
                f"not {mm(setting.recess_mm)}; measure it again"
            )
    return ""


# Notes


def note_form(
    weekend: Weekend, now: datetime, about: str = "", base: NoteRecord | None = None
) -> tuple[FormField, ...]:
    """Return the form of a note, about a heat or a part when one is named."""
    return (
        FormField("text", "Note", " ".join(base.text.split()) if base else "", half=False),
        FormField("about", "About", base.about if base else about, "a heat or a part", half=False),
        FormField(
            "open",
            "To be seen to?",
            "yes" if base and base.open_point else "",
            "y puts it on the day's list",
            half=False,
        ),
        when_field(base.happened_at if base else now, weekend.event.zone),
    )


def read_note(
    weekend: Weekend, values: Mapping[str, str], now: datetime, base: NoteRecord | None = None
) -> NoteRecord:
    """Return the note of a filled-in form. Raises FormError with every field that is wrong."""
    read = FormReader(values)
    at = read.moment(weekend.event.zone, base.happened_at if base else now, now)
    point = read("open", "To be seen to?", lambda text: read_choice(text, ("yes", "no")))
    text = values.get("text", "").strip()
    if not text:
        read.errors.setdefault("text", "Note: nothing is written yet")
    if read.errors:
        raise FormError(read.errors)
    try:
        return NoteRecord(
            clutch=base.clutch if base else weekend.card().id,
            happened_at=at,
            text=text,
            about=read.line("about"),
            open_point=point == "yes",
        )
    except ValidationError as error:
        raise refused(error, {}) from None


# The schedule


def delay_form(weekend: Weekend, now: datetime, heat: str = "") -> tuple[FormField, ...]:
    """Return the form of a delay, from the next heat on when none is named."""
    coming = [h.name for h in _to_come(weekend) if h.starts_at >= now]
    first = heat or (coming[0] if coming else "")
    return (
        FormField("minutes", "Later by", "", "15 min; -5 for earlier", half=False),
        FormField("heat", "From heat", first, "this one and later ones of its day", half=False),
        FormField("note", "Why", "", half=False),
    )


def read_delay(weekend: Weekend, values: Mapping[str, str], now: datetime) -> ScheduleChange:
    """Return the delay of a filled-in form. Raises FormError with every field that is wrong."""
    read = FormReader(values)
    minutes = read("minutes", "Later by", read_signed_minutes)
    if minutes is None:
        read.errors.setdefault("minutes", "Later by: how many minutes?")
    typed = read.line("heat").casefold()
    heat = next((h for h in weekend.schedule if h.name.casefold() == typed), None)
    over = "" if heat is None else _over(weekend, heat)
    if heat is None or over:
        to_come = _to_come(weekend)
        coming = [h for h in to_come if h.starts_at >= now] or to_come
        names = ", ".join(h.name for h in coming)
        one_of = f"one of {names}" if names else "none is to come"
        read.errors["heat"] = f"From heat: {over}; {one_of}" if over else f"From heat: {one_of}"
    if read.errors or heat is None:
        raise FormError(read.errors)
    try:
        return ScheduleChange(
            clutch=weekend.card().id,
            happened_at=now,
            change="delay",
            heat=heat.name,
            minutes=minutes,
            note=read.line("note"),
        )
    except ValidationError as error:
        raise refused(error, {}) from None


def _to_come(weekend: Weekend) -> list[PlannedHeat]:
    """Return the planned heats that nobody has started, noted or called off."""
    return [heat for heat in weekend.schedule if not _over(weekend, heat)]


def _over(weekend: Weekend, heat: PlannedHeat) -> str:
    """Return why a planned heat cannot be late any more, nothing when it can."""
    name = heat.name.lower()
    running = weekend.open.heat
    if running is not None and running.heat.heat.lower() == name:
        return f"{heat.name} has started already"
    run = next((h.run for h in weekend.heats if h.run.heat.lower() == name), None)
    if run is not None and run.status != "cancelled":
        return f"{heat.name} was run already, {day_time(run.happened_at, weekend.event.zone)}"
    if run is not None or heat.cancelled:
        return f"{heat.name} was called off"
    return ""
