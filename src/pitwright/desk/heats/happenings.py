"""What happened besides heats, record by record, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Final, Literal, TypeAlias
from zoneinfo import ZoneInfo

from pitwright.desk.heats.changes import part_name, turn_words
from pitwright.desk.heats.corrected import corrected_words
from pitwright.desk.sizes import shims_words, size_words
from pitwright.desk.wording import (
    change_words,
    clock_time,
    counted,
    day_time,
    fixed,
    minutes_words,
    mm,
    signed_mm,
    when_words,
)
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.log import Replaced
from pitwright.weekend.records import (
    AnyRecord,
    BellTemperature,
    Build,
    CarryOver,
    Check,
    Fit,
    HeatRun,
    NoteRecord,
    NutCalibration,
    Observation,
    Reading,
    ScheduleChange,
    Setting,
    StockChange,
    ZeroCheck,
)
from pitwright.weekend.state import State, first_state
from pitwright.weekend.weekend import Weekend

__all__ = ["Happening", "happenings", "record_words", "taken_back"]

Sort = Literal[
    "fit", "setting", "build", "reading", "note", "schedule", "bite", "stock", "carried", "gone"
]

_Owner: TypeAlias = tuple[str, str, str]
"""Whose reading it is: clutch, quantity, part (empty for one of the clutch itself)."""

_NOTHING: Final[Mapping[str, Reading]] = MappingProxyType({})


@dataclass(frozen=True)
class Happening:
    """One record in words.

    ``word`` is the worst verdict among its readings; ``corrected`` says why it was corrected;
    ``quiet`` marks what is not worth a line between two heats, such as readings in order.
    """

    record: str
    at: datetime
    sort: Sort
    text: str
    word: str = ""
    corrected: str = ""
    quiet: bool = False


def taken_back(weekend: Weekend) -> tuple[Replaced, ...]:
    """Return the records that were taken back and not replaced."""
    return tuple(r for r in weekend.log.replaced if r.last.replacement is None)


def happenings(weekend: Weekend) -> tuple[Happening, ...]:
    """Return everything that happened besides heats, in order, taken-back records among it."""
    return weekend.once(_happenings)


def _happenings(weekend: Weekend) -> tuple[Happening, ...]:
    corrected = {r.last.id: corrected_words(weekend, r) for r in weekend.log.replaced}
    before = _states_before(weekend)
    several = len(weekend.clutches) > 1
    found: list[tuple[tuple[datetime, datetime, str, int], Happening]] = []
    last: dict[_Owner, Reading] = {}
    for record in weekend.log.records:
        if isinstance(record, HeatRun):
            continue
        card = weekend.clutches.get(record.clutch, weekend.card())
        state = before.get(record.id) or first_state(card, weekend.stock)
        was_out = _was_out(card, state, record, last) if isinstance(record, Check) else {}
        sort, text, word, quiet = _told(card, state, record, weekend.event.zone, was_out)
        if several and sort in ("fit", "setting", "build", "reading"):
            text = f"Clutch {record.clutch}: {text}"
        why = corrected.get(record.id, "")
        told = Happening(
            record.id, _told_at(record), sort, text, word, why, quiet and record.id not in corrected
        )
        found.append((_place(record), told))
    for replaced in taken_back(weekend):
        was = replaced.record
        text, why = record_words(weekend, was), corrected_words(weekend, replaced)
        found.append((_place(was), Happening(was.id, _told_at(was), "gone", text, corrected=why)))
    return tuple(told for _at, told in sorted(found, key=lambda pair: pair[0]))


def _told_at(record: AnyRecord) -> datetime:
    """Return where a record stands: a build where it was finished, after what was done in it."""
    return record.finished_at if isinstance(record, Build) else record.happened_at


def _place(record: AnyRecord) -> tuple[datetime, datetime, str, int]:
    """Return the order of a line, the same whether the record still counts or was taken back."""
    return (_told_at(record), record.happened_at, record.laptop, record.sequence)


def record_words(weekend: Weekend, record: AnyRecord) -> str:
    """Return a record in a line, as a question about it needs."""
    card = weekend.clutches.get(record.clutch, weekend.card())
    if isinstance(record, HeatRun):
        return f"Heat {record.heat}, {day_time(record.happened_at, weekend.event.zone)}"
    state = weekend.state(record.happened_at, card.id)
    # Parts are named from the state; what they were before does not matter here.
    return _told(card, state, record, weekend.event.zone, compare=False)[1]


def _was_out(
    card: ClutchCard, before: State, check: Check, last: dict[_Owner, Reading]
) -> dict[str, Reading]:
    """Return, by quantity, the out reading that a check answers, and take its own as the last.

    Only the same part's reading answers: another part's is told by the fit.
    """
    found: dict[str, Reading] = {}
    for reading in check.readings:
        quantity = card.quantities.get(reading.quantity)
        place = quantity.of if quantity is not None else "clutch"
        part = reading.part
        if part is None:
            fitted = next((p for p in before.parts.values() if p.fitted and p.place == place), None)
            part = fitted.part if fitted is not None else ""
        owner = (check.clutch, reading.quantity, part)
        earlier = last.get(owner)
        if earlier is not None and earlier.verdict == "out" and reading.verdict != "out":
            found[reading.quantity] = earlier
        last[owner] = reading
    return found


def _states_before(weekend: Weekend) -> Mapping[str, State]:
    return {
        record.id: state
        for card in weekend.clutches.values()
        for record, state, _after in weekend.walk(card)
        if record.clutch == card.id
    }


def _told(
    card: ClutchCard,
    before: State,
    record: AnyRecord,
    zone: ZoneInfo,
    was_out: Mapping[str, Reading] = _NOTHING,
    *,
    compare: bool = True,
) -> tuple[Sort, str, str, bool]:
    """Return sort, text, verdict word and whether it is quiet."""
    match record:
        case Fit():
            return ("fit", _fit(before, record, compare=compare), "", False)
        case Setting():
            return ("setting", _setting(before, record, zone, compare=compare), "", False)
        case Build():
            took = (record.finished_at - record.happened_at).total_seconds() / 60
            skipped = sum(1 for r in record.results if r.skipped_because)
            tail = f", {counted(skipped, 'step')} skipped" if skipped else ""
            return (
                "build",
                f"{record.route.capitalize()} finished, {minutes_words(took)}{tail}",
                "",
                False,
            )
        case Check():
            telling = [
                r
                for r in record.readings
                if r.verdict in ("out", "too close to call") or r.quantity in was_out
            ]
            shown = telling if telling and compare else record.readings
            text = ", ".join(_reading(card, r, was_out.get(r.quantity)) for r in shown)
            judged = any(r.verdict is not None for r in telling)
            return ("reading", text, _worst(telling) if judged else "", not telling)
        case NoteRecord():
            about = f" ({record.about})" if record.about else ""
            point = "To be seen to" if record.open_point else "Note"
            return ("note", f"{point}{about}: {' '.join(record.text.split())}", "", False)
        case Observation():
            how = "wheels creep" if record.how == "creep" else "take-up plateau"
            rpm = f"{record.rpm:,.0f}".replace(",", " ")
            return ("bite", f"{how.capitalize()} at {rpm} rpm, {record.source}", "", False)
        case BellTemperature():
            return ("reading", f"Bell {record.bell_c:.0f} °C, by the gun", "", True)
        case ScheduleChange():
            return ("schedule", _schedule(record, zone), "", False)
        case StockChange():
            return ("stock", _stock(before, record), "", record.part is None)
        case CarryOver():
            return ("carried", f"Carried over from {record.event}", "", False)
        case NutCalibration():
            pairs = len(record.pairs)
            return ("reading", f"Nut calibrated from {pairs} readings of turns", "", True)
        case ZeroCheck():
            tool = card.instruments.get(record.instrument)
            name = tool.label if tool is not None else record.instrument
            return ("reading", f"{name}: zero checked", "", True)
        case _:
            return ("note", record.kind.capitalize(), "", True)


def _worst(readings: list[Reading]) -> str:
    for word in ("out", "too close to call"):
        if any(r.verdict == word for r in readings):
            return word
    return "good"


def _fit(before: State, record: Fit, *, compare: bool) -> str:
    if record.part is None:
        text = f"{record.place.capitalize()} {shims_words(record.shims_mm)}"
        old = next((s for s in before.shims.values() if s.place == record.place), None)
        if compare and old is not None:
            change = sum(record.shims_mm) - old.total_mm
            text += f", {signed_mm(change)}" if round(change, 3) else ", as thick as before"
        return text
    text = f"{record.place.capitalize()}: {part_name(before, record.part)} fitted"
    if record.removed is not None:
        text += f", {part_name(before, record.removed)} {record.fate}"
    reason = f": {record.reason}" if record.reason else ""
    return text + reason


def _setting(before: State, record: Setting, zone: ZoneInfo, *, compare: bool) -> str:
    text = f"Recess set to {mm(record.recess_mm)}"
    there = before.recess
    if compare and there is not None:
        if there.reading is not None:
            # A reading in order has no line of its own: the change could not be checked by eye.
            when = when_words(there.at, record.happened_at, zone)
            text += f" from {fixed(there.value_mm)} as read {when}"
        change = change_words(there.value_mm, record.recess_mm)
        if change[0] in "+-":
            text += f", {change[1:]} {'deeper' if change[0] == '+' else 'shallower'}"
        else:
            text += ", as before"
    if record.turns_in is not None:
        text += f", {turn_words(record.turns_in)}"
    note = f": {' '.join(record.note.split())}" if record.note else ""
    return text + note


def _reading(card: ClutchCard, reading: Reading, was_out: Reading | None) -> str:
    quantity = card.quantities.get(reading.quantity)
    label = quantity.label if quantity is not None else reading.quantity
    decimals = quantity.decimals if quantity is not None else 2
    text = f"{label} {size_words(reading.value_mm, reading.bound, decimals)}"
    if reading.verdict not in (None, "good"):
        text += f" is {reading.verdict}{_nearest_limit(reading)}"
    if was_out is None:
        return text
    if reading.verdict == "good":
        text += " is good"
    return f"{text}, was {size_words(was_out.value_mm, was_out.bound, decimals)} and out"


def _nearest_limit(reading: Reading) -> str:
    limits = [
        limit
        for limit in (
            reading.discard_below_mm,
            reading.low_mm,
            reading.high_mm,
            reading.discard_above_mm,
        )
        if limit is not None
    ]
    if not limits:
        return ""
    return f" (limit {mm(min(limits, key=lambda limit: abs(limit - reading.value_mm)))})"


def _schedule(record: ScheduleChange, zone: ZoneInfo) -> str:
    note = f": {' '.join(record.note.split())}" if record.note else ""
    if record.change == "delay" and record.minutes is not None:
        word = "delayed" if record.minutes >= 0 else "brought forward"
        return f"{record.heat} and later {word} by {minutes_words(record.minutes)}{note}"
    if record.change == "move" and record.starts_at is not None:
        return f"{record.heat} moved to {clock_time(record.starts_at, zone)}{note}"
    if record.change == "add" and record.starts_at is not None:
        return f"{record.heat} put on the schedule, {day_time(record.starts_at, zone)}{note}"
    return f"{record.heat} taken off the schedule{note}"


def _stock(before: State, record: StockChange) -> str:
    if record.part is not None:
        what = record.label or part_name(before, record.part)
    elif record.shim_mm is not None:
        what = f"{record.count} of shim {mm(record.shim_mm)}"
    else:
        what = f"{record.count} of {record.label or record.supply}"
    reason = f": {record.reason}" if record.reason else ""
    return f"{what} {record.change}{reason}"
