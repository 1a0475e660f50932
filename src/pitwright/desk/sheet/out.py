"""Readings that were out of limits, and what was done about each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.heats.changes import part_name
from pitwright.desk.heats.happenings import Happening
from pitwright.desk.measure.judged import limits_of, limits_words
from pitwright.desk.sheet.scope import Scope
from pitwright.desk.sizes import size_words
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.records import (
    AnyRecord,
    BoundSide,
    Build,
    Check,
    Fit,
    HeatRun,
    Reading,
    Setting,
)
from pitwright.weekend.weekend import Weekend

__all__ = ["OutReading", "out_readings"]


@dataclass(frozen=True)
class OutReading:
    """A reading that was out [mm], with the limits it was judged by, in words.

    ``reason`` is why it was accepted, as noted at its build step; ``done`` what was changed
    about it before it was read again or the clutch ran; ``after`` how it read then, or that the
    clutch ran. Empty where nothing was noted. ``settled`` is whether it read in limits again, or
    something was changed and it was not read since.
    """

    at: datetime
    clutch: str
    quantity: str
    label: str
    part: str
    value_mm: float
    decimals: int
    limits: str
    reason: str
    done: tuple[str, ...]
    after: str
    settled: bool
    bound: BoundSide | None = None


def out_readings(scope: Scope, told: Sequence[Happening]) -> tuple[OutReading, ...]:
    """Return the readings of the sheet that were out; ``told`` are all happenings in words."""
    words = {h.record: h.text for h in told}
    weekend = scope.weekend
    found = []
    for place, record in enumerate(weekend.log.records):
        if not isinstance(record, Check) or not scope.holds(record.happened_at):
            continue
        for reading in record.readings:
            if reading.verdict == "out":
                found.append(_told(weekend, place, record, reading, words))
    return tuple(found)


def _told(
    weekend: Weekend, place: int, check: Check, reading: Reading, words: Mapping[str, str]
) -> OutReading:
    card = weekend.clutches.get(check.clutch, weekend.card())
    quantity = card.quantities.get(reading.quantity)
    decimals = quantity.decimals if quantity is not None else 2
    done: list[str] = []
    after = ""
    settled: bool | None = None
    part = _part(weekend, place, reading, card)
    for index, record in enumerate(weekend.log.records[place + 1 :], place + 1):
        if record.clutch != check.clutch:
            continue
        if isinstance(record, HeatRun):
            if record.status == "cancelled":
                continue
            if settled is not None:
                break
            after = f"ran {record.heat}" + (" after that" if done else " as it was")
            break
        if isinstance(record, Check):
            again = next((r for r in record.readings if r.quantity == reading.quantity), None)
            if again is not None:
                word = f", {again.verdict}" if again.verdict else ""
                size = f"{size_words(again.value_mm, again.bound, decimals)}{word}"
                settled = again.verdict != "out"
                other = _part(weekend, index, again, card)
                if other == part:
                    after = f"read again {size}"
                    break
                # Another part has its place: what it read last before it ran is what counts.
                after = f"{other} read {size}"
        elif settled is None and _bears_on(card, reading.quantity, record):
            done.append(words.get(record.id, record.kind))
    return OutReading(
        at=check.happened_at,
        clutch=check.clutch,
        quantity=reading.quantity,
        label=quantity.label if quantity is not None else reading.quantity,
        part=part,
        value_mm=round(reading.value_mm, 6),
        decimals=decimals,
        limits=limits_words(limits_of(reading), decimals),
        reason=_reason(weekend, check, reading),
        done=tuple(done),
        after=after,
        settled=bool(done) if settled is None else settled,
        bound=reading.bound,
    )


def _bears_on(card: ClutchCard, quantity: str, record: AnyRecord) -> bool:
    """Tell whether a fit or a setting can put a quantity right."""
    if isinstance(record, Setting):
        return quantity == "recess"
    if not isinstance(record, Fit):
        return False
    spec = card.quantities.get(quantity)
    return spec is not None and (record.place == spec.of or record.place in spec.overtaken_by)


def _part(weekend: Weekend, place: int, reading: Reading, card: ClutchCard) -> str:
    spec = card.quantities.get(reading.quantity)
    if spec is None or spec.of == "clutch":
        return ""
    # Up to the reading itself: its moment may be that of the fit that put it right.
    state = weekend.log.story(card, weekend.stock).before(place)
    if reading.part is not None:
        return part_name(state, reading.part)
    fitted = next((p for p in state.parts.values() if p.fitted and p.place == spec.of), None)
    return part_name(state, fitted.part) if fitted is not None else ""


def _reason(weekend: Weekend, check: Check, reading: Reading) -> str:
    """Return why an out reading was accepted: noted with it, or at its step of the build."""
    if reading.reason:
        return reading.reason
    for record in weekend.log.records:
        if not isinstance(record, Build) or record.clutch != check.clutch:
            continue
        within = record.happened_at <= check.happened_at <= record.finished_at
        for result in record.results:
            named = check.id in result.checks or (within and check.step == result.step)
            if named and result.out_because:
                return result.out_because
    return ""
