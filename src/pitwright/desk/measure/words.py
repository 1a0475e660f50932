"""What the Measure screen says in words."""

from __future__ import annotations

from collections.abc import Sequence

from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.judged import (
    RULE_NAMES,
    RULE_WORDS,
    Judged,
    advice_after,
    judge_reading,
)
from pitwright.desk.measure.measure import MeasureField
from pitwright.desk.wording import day_time, mm
from pitwright.weekend.weekend import Weekend

__all__ = ["detail_lines", "nut_line", "past_rows", "saved_words", "to_reckon_with"]

_NO_TURN = 0.005  # turns: what would be shown as none


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


def nut_line(
    weekend: Weekend,
    clutch: str | None,
    *,
    spring: Judged | None = None,
    recess: Judged | None = None,
    doubtful: bool = False,
) -> str:
    """Return the nut advice for bringing the last heat back, in a line.

    ``spring`` and ``recess`` are the free length and the recess as typed, which stand in for the
    last ones; ``doubtful`` is set while one of them looks like a slip. A spring that is out gets
    no setting.
    """
    from pitwright.desk.nut.nut import nut_advice

    if doubtful:
        return "Nut: first settle what was typed"
    out = _spring_out(weekend, clutch, spring)
    if out is not None:
        return f"Nut: no setting for a spring that is out{f'. {out}' if out else ''}"
    found = nut_advice(
        weekend,
        free_length_mm=to_reckon_with(spring),
        recess_mm=to_reckon_with(recess),
        clutch=clutch,
    )
    name = f"Nut for the {found.hold} of {found.reference}" if found.reference else "Nut"
    if found.unknown:
        return f"{name}: {found.unknown}"
    if found.refused:
        return f"{name}: {found.refused}"
    parts = [f"{mm(found.wanted_mm)}"] if found.wanted_mm is not None else []
    if found.direction == "leave it" or (found.turns is not None and found.turns < _NO_TURN):
        out_there = recess is not None and recess.word == "out"
        parts.append("where it is, which is out" if out_there else "leave it where it is")
    elif found.turns is not None and found.direction is not None:
        parts.append(f"{found.turns:.2f} turns {found.direction} ({found.rotation})")
    elif found.present_mm is None:
        parts += [caution for caution in found.cautions if caution.startswith("no turns")]
        if found.turns_out is not None:
            parts.append(f"{found.turns_out:.2f} turns out from bottomed")
    if found.solid_share is not None:
        parts.append(f"{100 * found.solid_share:.0f} % of the way to solid")
    return f"{name}: {', '.join(parts)}"


def to_reckon_with(typed: Judged | None) -> float | None:
    """Return what was typed as a value to reckon with; a bound is none."""
    if typed is None or (typed.reading is not None and typed.reading.bound is not None):
        return None
    return typed.value_mm


def _spring_out(weekend: Weekend, clutch: str | None, typed: Judged | None) -> str | None:
    """Return what to do about a spring that is out, as typed or last read; None when it is not."""
    if typed is not None and typed.word is not None:
        return typed.advice if typed.word == "out" else None
    last = weekend.state(None, clutch).told("free_length")
    if last is None or last.reading is None or last.reading.verdict != "out":
        return None
    return advice_after(last.reading, weekend.card(clutch).quantities["free_length"])
