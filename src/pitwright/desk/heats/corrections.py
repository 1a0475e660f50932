"""Corrections of what was noted: edited, or taken back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pydantic import ValidationError

from pitwright.desk.form_text import (
    FormError,
    FormField,
    FormReader,
    read_choice,
    refused,
    when_field,
)
from pitwright.desk.heats.changes import part_name
from pitwright.desk.heats.corrected import NO_REASON
from pitwright.desk.heats.note_forms import note_form, read_note, read_setting, setting_form
from pitwright.desk.stock.fitting import read_shims
from pitwright.weekend.records import AnyRecord, Correction, Fit, HeatRun, NoteRecord, Setting
from pitwright.weekend.weekend import Weekend

__all__ = ["can_edit", "corrected", "edit_form", "read_edit", "take_back"]


def can_edit(record: AnyRecord) -> bool:
    """Tell whether a record has a form of its own; any other can be taken back."""
    return isinstance(record, HeatRun | NoteRecord | Setting | Fit)


def edit_form(weekend: Weekend, record: AnyRecord) -> tuple[FormField, ...]:
    """Return the form to correct a setting, a note or a fit, with a field for the reason.

    A heat has its own form.
    """
    now = record.happened_at
    match record:
        case Setting():
            fields = setting_form(weekend, now, record.clutch, record)
        case NoteRecord():
            fields = note_form(weekend, now, base=record)
        case Fit():
            fields = _fit_form(weekend, record)
        case _:
            raise TypeError(f"a {record.kind} record has no form")
    return (*fields, FormField("reason", "Why corrected", "", "mistyped", half=False))


def read_edit(
    weekend: Weekend, record: AnyRecord, values: Mapping[str, str], now: datetime
) -> Setting | NoteRecord | Fit:
    """Return what replaces a setting, a note or a fit. Raises FormError."""
    match record:
        case Setting():
            return read_setting(weekend, values, now, base=record)
        case NoteRecord():
            return read_note(weekend, values, now, base=record)
        case Fit():
            return _read_fit(weekend, record, values, now)
        case _:
            raise TypeError(f"a {record.kind} record has no form")


def _fit_form(weekend: Weekend, fit: Fit) -> tuple[FormField, ...]:
    what = (
        FormField("part", "Part fitted", fit.part, "its short name in stock.toml", half=False)
        if fit.part is not None
        else FormField(
            "shims", "Shims mm", " ".join(f"{s:g}" for s in fit.shims_mm), "0.10 0.05", half=False
        )
    )
    fate = (
        (FormField("fate", "The old one", fit.fate, "kept, discarded", half=False),)
        if fit.removed is not None
        else ()
    )
    return (
        what,
        *fate,
        FormField("why", "Because", fit.reason, half=False),
        when_field(fit.happened_at, weekend.event.zone),
    )


def _read_fit(weekend: Weekend, fit: Fit, values: Mapping[str, str], now: datetime) -> Fit:
    read = FormReader(values)
    at = read.moment(weekend.event.zone, fit.happened_at, now)
    changes: dict[str, Any] = {"happened_at": at, "reason": read.line("why")}
    if fit.part is None:
        typed = read_shims(weekend, values.get("shims", ""))
        if typed.trouble:
            read.errors["shims"] = f"Shims: {typed.trouble}"
        changes["shims_mm"] = list(typed.shims_mm)
    else:
        parts = weekend.state(None, fit.clutch).parts
        names = {p.part.casefold(): p.part for p in parts.values() if p.place == fit.place}
        part = names.get(read.line("part").casefold())
        if part is None:
            read.errors["part"] = "Part fitted: one of " + ", ".join(names.values())
        changes["part"] = part
        fate = read("fate", "The old one", lambda text: read_choice(text, ("kept", "discarded")))
        changes["fate"] = fate or "kept"
        if fit.removed is not None and fit.removed == part:
            name = part_name(weekend.state(None, fit.clutch), part)
            read.errors["part"] = f"Part fitted: {name} is the one taken off; take this back with x"
    if read.errors:
        raise FormError(read.errors)
    return fit.model_copy(update=changes | {"id": "", "recorded_at": None, "sequence": 0})


def corrected(
    record: AnyRecord,
    replacement: HeatRun | Setting | NoteRecord | Fit,
    reason: str,
    now: datetime,
) -> Correction:
    """Return the correction that puts ``replacement`` in a record's place."""
    try:
        return Correction(
            clutch=record.clutch,
            happened_at=now,
            replaces=record.id,
            reason=" ".join(reason.split()) or NO_REASON,
            replacement=replacement,
        )
    except ValidationError as error:
        raise refused(error, {}) from None


def take_back(record: str, clutch: str, reason: str, now: datetime) -> Correction:
    """Return the correction that takes a record back.

    A correction taken back brings what it had replaced back into force.
    """
    try:
        return Correction(
            clutch=clutch,
            happened_at=now,
            replaces=record,
            reason=" ".join(reason.split()) or "noted by mistake",
        )
    except ValidationError as error:
        raise refused(error, {}) from None
