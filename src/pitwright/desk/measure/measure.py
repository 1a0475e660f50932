"""Measuring: the quantities of the card with their last values, and the records of readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.instruments import tool_words
from pitwright.desk.measure.judged import (
    Judged,
    advice_after,
    judge_reading,
    limits_words,
)
from pitwright.desk.measure.judging import usable_limits
from pitwright.desk.wording import ago, change_words, minutes_words, mm
from pitwright.metrology.verdict import Rule
from pitwright.weekend.card import Quantity
from pitwright.weekend.records import Check, Correction, Reading, VerdictWord

__all__ = [
    "LastValue",
    "MeasureField",
    "check_record",
    "correction_record",
    "field_on",
]


@dataclass(frozen=True)
class LastValue:
    """The value in force of a quantity: when, by which record, how old, and what changed.

    ``advice`` what to do when it was out; ``change_mm`` since the value before; ``was_set`` when
    the figure was set and not read; ``overtaken`` when a part fitted later makes it doubtful.
    """

    value_mm: float
    shown: str
    word: VerdictWord | None
    at: datetime
    record: str
    age: str
    advice: str = ""
    change_mm: float | None = None
    change: str = ""
    was_set: bool = False
    overtaken: bool = False
    at_20: bool = False

    def line(self) -> str:
        """Return the value with its change and age as one line."""
        how = " set" if self.was_set else " at 20 °C" if self.at_20 else ""
        value = f"{self.shown}{how}"
        doubt = "doubtful, a part was fitted since" if self.overtaken else ""
        change = f"{self.change} since the one before" if self.change else ""
        if self.change and self.change[0] not in "+-":  # a change of nothing has no sign
            change = "as the one before"
        return ", ".join(x for x in (value, self.word, change, self.age, self.advice, doubt) if x)


@dataclass(frozen=True)
class MeasureField:
    """One quantity of the card, ready to be measured."""

    key: str
    label: str
    how: str
    place: str | None
    part: str | None
    part_label: str
    instrument: str
    instrument_label: str
    instrument_words: str
    instrument_notes: tuple[str, ...]
    limits: str
    rule: Rule
    decimals: int
    last: LastValue | None = None


def field_on(
    bench: Bench, key: str, part: str | None = None, instrument: str | None = None
) -> MeasureField:
    """Return one quantity of the card, on a part other than the fitted one when named."""
    quantity = bench.spec(key)
    part = part or bench.fitted_part(key)
    tool = bench.tool(key, instrument)
    return MeasureField(
        key=key,
        label=quantity.label,
        how=quantity.how,
        place=bench.place(key),
        part=part,
        part_label=bench.part_name(part),
        instrument=tool.key,
        instrument_label=tool.label,
        instrument_words=tool_words(tool),
        instrument_notes=tool.notes,
        limits=limits_words(usable_limits(quantity)[0], quantity.decimals),
        rule=quantity.rule or bench.card.rule,
        decimals=quantity.decimals,
        last=_last(bench, key, part, quantity),
    )


def _last(bench: Bench, key: str, part: str | None, quantity: Quantity) -> LastValue | None:
    past = bench.history(key, part)
    if not past:
        return None
    last, decimals = past[-1], quantity.decimals
    owner = bench.state.parts.get(part) if part is not None else None
    figure = (owner.figures if owner is not None else bench.state.figures).get(key)
    age = ago(last.at, bench.now)
    if figure is not None and (figure.run_minutes or figure.unknown_runs):
        ran = f"{minutes_words(figure.run_minutes)} of running since"
        age = f"{'at least ' if figure.unknown_runs else ''}{ran}"
    change = None
    if len(past) > 1 and not any(p.reading is not None and p.reading.bound for p in past[-2:]):
        change = last.value_mm - past[-2].value_mm
    judged = advice = None
    if last.reading is not None:
        judged = judge_reading(last.reading, quantity.label, decimals)
        advice = advice_after(last.reading, quantity)
    return LastValue(
        value_mm=last.value_mm,
        shown=mm(last.value_mm, decimals) if judged is None else judged.shown,
        at_20=judged is not None and judged.at_20,
        word=None if judged is None else judged.word,
        at=last.at,
        record=last.record,
        age=age,
        advice=advice or "",
        change_mm=change,
        change="" if change is None else change_words(past[-2].value_mm, last.value_mm, decimals),
        was_set=judged is None,
        overtaken=figure.overtaken if figure is not None else False,
    )


def check_record(
    judged: Sequence[Judged],
    *,
    now: datetime,
    clutch: str,
    step: str | None = None,
    reasons: Mapping[str, str] | None = None,
    squeezes: Mapping[str, int] | None = None,
    note: str = "",
) -> Check:
    """Return one check of all that was read; what was left empty is left out.

    ``reasons`` says by quantity why a reading out of limits was accepted; ``squeezes`` how often
    a spring was squeezed before. Raises ValueError when nothing was read, when an entry cannot be
    used as it stands, or when a reading does not say which part it is of.
    """
    readings: list[Reading] = []
    for one in judged:
        if one.state == "empty":
            continue
        if one.reading is None:
            raise ValueError(f"{one.label}: {one.reason or 'the entry is not finished'}")
        if one.needs_part:
            raise ValueError(f"{one.label}: say which part was measured")
        update: dict[str, object] = {}
        if reasons and one.quantity in reasons:
            update["reason"] = reasons[one.quantity]
        if squeezes and one.quantity in squeezes:
            update["squeezes"] = squeezes[one.quantity]
        readings.append(Reading.model_validate({**one.reading.model_dump(), **update}))
    if not readings:
        raise ValueError("nothing was read yet")
    return Check(clutch=clutch, happened_at=now, readings=readings, step=step, note=note)


def correction_record(
    wrong: Check,
    judged: Sequence[Judged],
    *,
    now: datetime,
    reason: str,
    squeezes: Mapping[str, int] | None = None,
) -> Correction:
    """Return the correction of a check: the same moment and step, with the readings as judged.

    Readings of quantities that ``judged`` does not speak of stay as they were; one that it leaves
    empty goes. ``squeezes`` replaces how often a spring was squeezed. With nothing left the check
    is taken back. Raises ValueError as ``check_record``.
    """
    spoken = {one.quantity: one for one in judged}
    old = {r.quantity: r for r in reversed(wrong.readings)}
    untouched = [r for r in wrong.readings if r.quantity not in spoken or r is not old[r.quantity]]
    filled = [one for one in judged if one.state != "empty"]
    readings = list(untouched)
    if filled:
        fresh = check_record(
            filled,
            now=wrong.happened_at,
            clutch=wrong.clutch,
            reasons={key: r.reason for key, r in old.items() if r.reason},
            squeezes={
                **{key: r.squeezes for key, r in old.items() if r.squeezes is not None},
                **(squeezes or {}),
            },
        )
        readings = [*fresh.readings, *untouched]
    replacement = (
        Check(
            clutch=wrong.clutch,
            happened_at=wrong.happened_at,
            readings=readings,
            step=wrong.step,
            note=wrong.note,
        )
        if readings
        else None
    )
    return Correction(
        clutch=wrong.clutch,
        happened_at=now,
        replaces=wrong.id,
        reason=reason,
        replacement=replacement,
    )
