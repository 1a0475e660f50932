"""What the Measure screen says in words."""

from __future__ import annotations

from collections.abc import Sequence

from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.judged import RULE_NAMES, RULE_WORDS, Judged, judge_reading
from pitwright.desk.measure.measure import MeasureField
from pitwright.desk.wording import day_time, mm
from pitwright.weekend.weekend import Weekend

__all__ = ["detail_lines", "nut_line", "past_rows", "saved_words"]

_MOVES_NUT = ("free_length", "recess")


def detail_lines(
    field: MeasureField, judged: Judged, squeezes: int | None = None
) -> tuple[list[str], list[str]]:
    """Return what to know of the quantity in hand: first what matters now, then the rest.

    ``squeezes`` is how often the spring was squeezed before, where that was said.
    """
    part = field.part_label or (f"no {field.place} fitted yet" if field.place else "")
    if squeezes is not None:
        part += f", squeezed {squeezes} time{'' if squeezes == 1 else 's'}"
    what = " · ".join(
        x
        for x in (
            field.label,
            part,
            field.instrument_label,
            RULE_NAMES[judged.rule],
        )
        if x
    )
    first = [what]
    if judged.state == "read" and (judged.slip is None or not judged.slip.explained):
        first.append(judged.told())
    elif judged.state == "refused":
        first.append(f"Cannot be read: {judged.reason}")
    elif judged.slip is None:
        first.append(field.how)
    if judged.slip is not None:
        first.append(judged.slip.question)
    notes = [_capital(n) for n in dict.fromkeys((*judged.notes, *field.instrument_notes))]
    rest = [f"{_capital(field.limits)}. {_capital(RULE_WORDS[judged.rule])}"]
    if field.last is not None:
        rest.append(f"Last: {field.last.line()}")
    rest.append(f"{field.instrument_label}: {field.instrument_words}")
    if field.key in _MOVES_NUT:
        rest.append("The nut advice holds the preload; worn shoes are not counted")
    room = 1 if judged.slip is not None else 2
    return [line for line in (*first, *notes[:room]) if line], [*notes[room:], *rest]


def past_rows(bench: Bench, field: MeasureField) -> list[tuple[str, str, str]]:
    """Return the readings of a quantity on its part, the newest first: when, size, verdict."""
    rows = []
    for each in reversed(bench.history(field.key, field.part)):
        if each.reading is None:
            size, word = f"{mm(each.value_mm, field.decimals)} set", ""
        else:
            judged = judge_reading(each.reading, field.label, field.decimals)
            size, word = judged.shown, judged.word or ""
        rows.append((day_time(each.at, bench.zone), size, word))
    return rows


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def saved_words(judged: Sequence[Judged]) -> tuple[str, bool]:
    """Return what to say once readings are kept, and whether any of them is out."""
    count = "1 reading kept" if len(judged) == 1 else f"{len(judged)} readings kept"
    out = [one for one in judged if one.word == "out"]
    if not out:
        return count, False
    told = [f"{one.label} is out: {one.advice or one.distance}" for one in out]
    return ". ".join([count, *told]), True


def nut_line(weekend: Weekend, free_length_mm: float | None, clutch: str | None) -> str:
    """Return the nut advice for holding the preload, in a line: it counts no worn shoes."""
    from pitwright.desk.nut.nut import nut_advice

    found = nut_advice(weekend, free_length_mm=free_length_mm, clutch=clutch)
    name = f"Nut for the preload of {found.reference}" if found.reference else "Nut"
    if found.unknown:
        return f"{name}: {found.unknown}"
    if found.refused:
        return f"{name}: {found.refused}"
    parts = [f"{mm(found.wanted_mm)}"] if found.wanted_mm is not None else []
    if found.direction == "leave it":
        parts.append("leave it where it is")
    elif found.turns is not None and found.direction is not None:
        parts.append(f"{found.turns:.2f} turns {found.direction} ({found.rotation})")
    elif found.present_mm is None:
        parts += [caution for caution in found.cautions if caution.startswith("no turns")]
        if found.turns_out is not None:
            parts.append(f"{found.turns_out:.2f} turns out from bottomed")
    return f"{name}: {', '.join(parts)}"
