"""Judge a reading as it is typed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.gauging import bring_to_20, gauged, warm_note
from pitwright.desk.measure.instruments import Tool
from pitwright.desk.measure.judged import Judged, card_limits, limits_of, with_verdict
from pitwright.desk.measure.plausible import apart, can_come, doubt, expected_next, growing
from pitwright.desk.sizes import size_words
from pitwright.desk.wording import mm
from pitwright.metrology.entry import Entry, parse_entry
from pitwright.metrology.instruments import InstrumentKind, StepReading, step_reading
from pitwright.metrology.slips import Expected
from pitwright.metrology.uncertainty import Measurement, measure_steps
from pitwright.metrology.verdict import SIMPLE, Limits, judge_steps
from pitwright.metrology.verdict import judge as judge_measurement
from pitwright.weekend.card import Quantity
from pitwright.weekend.records import Reading

__all__ = ["judge_on", "usable_limits"]

_LARGEST_KEPT_MM: Final = 500.0
# far more than any reading, so that a lost decimal point is still asked about
_LARGEST_TYPED_MM: Final = 100_000.0
_MOST_READINGS: Final = 50


def judge_on(
    bench: Bench,
    quantity: str,
    typed: str,
    *,
    part: str | None = None,
    instrument: str | None = None,
    final: bool = False,
) -> Judged:
    """Judge what was typed for a quantity of the card.

    While typing (``final`` False) a number that more digits can still make plausible counts as
    half-typed, so that the ``1`` of ``10.15`` does not flash up as out; with ``final`` it is taken
    as it stands. ``part`` defaults to the fitted one, ``instrument`` to the one used last.
    Raises KeyError for a quantity or an instrument that is not on the card.
    """
    spec = bench.spec(quantity)
    tool = bench.tool(quantity, instrument)
    part = part or bench.fitted_part(quantity)
    blank = Judged(
        "empty",
        quantity,
        spec.label,
        typed=typed,
        part=part,
        instrument=tool.key,
        rule=spec.rule or bench.card.rule,
        notes=tool.notes,
        needs_part=part is None and bool(bench.parts(quantity)),
    )
    if not typed.strip():
        return blank
    entry = parse_entry(typed, largest=_LARGEST_TYPED_MM)
    if entry.state == "complete" and len(entry.values) > _MOST_READINGS:
        entry = Entry("refused", (), f"more than {_MOST_READINGS} readings")
    if entry.state == "refused":
        return replace(blank, state="refused", reason=entry.reason)
    tool = tool.reading(entry.inch_step)
    blank = replace(blank, notes=tool.notes)
    expected = expected_next(bench, quantity, part, tool)
    possible = can_come(bench, quantity, tool, expected)
    if entry.state == "complete" and not final and growing(typed, entry.values, expected, possible):
        entry = Entry("partial", entry.values[:-1])
    if entry.state == "partial" and (final or not entry.values):
        return replace(blank, state="partial", reason=entry.reason)
    slip = None
    if entry.state == "complete":
        slip = doubt(bench, quantity, part, entry.values, expected, possible)
        if slip is None or not slip.explained:
            slip = apart(tool, entry.values) or slip
    largest = max(entry.values)
    if largest > _LARGEST_KEPT_MM:
        reason = f"{largest:g} mm is far too large"
        # what cannot be kept is not asked about, unless it is known what was meant
        kept = slip if slip is not None and slip.explained else None
        return replace(blank, state="refused", reason=reason, slip=kept)
    if tool.gauge is not None and tool.gauge.kind is InstrumentKind.STEP_TOOL:
        judged = _judge_steps(blank, spec, tool, entry)
    else:
        judged = _judge_values(blank, spec, tool, entry.values, bench.part_c)
    if entry.state == "partial":
        return replace(judged, state="partial", reason=entry.reason, reading=None)
    if slip is not None and judged.word == "good" and not _fit(entry.values, possible):
        # one limit alone would call a shoe of twice its size good
        slip = replace(slip, beyond=True)
    elif (
        slip is not None
        and judged.word == "out"
        and _fit(entry.values, possible)
        and not (slip.apart and _turns_on_one(judged, entry.values))
    ):
        slip = replace(slip, dangerous=True)
    return replace(judged, slip=slip)


def _turns_on_one(judged: Judged, values: tuple[float, ...]) -> bool:
    """Tell whether what makes a mean out is the one reading far from the rest."""
    limits = None if judged.reading is None else limits_of(judged.reading)
    if limits is None:
        return False
    low, high = limits.span
    return any(low < value < high for value in values)


def _fit(values: tuple[float, ...], possible: Expected | None) -> bool:
    return possible is None or all(possible.fits(value) for value in values)


def usable_limits(quantity: Quantity) -> tuple[Limits | None, tuple[str, ...]]:
    """Return the card's limits of a quantity, and a note when they cannot be used."""
    try:
        return card_limits(quantity), ()
    except ValueError:
        return None, ("the card's limits leave no room for a good value",)


def _judge_values(
    blank: Judged, spec: Quantity, tool: Tool, values: tuple[float, ...], part_c: float | None
) -> Judged:
    limits, notes = usable_limits(spec)
    rule = blank.rule
    u: float | None
    mean = sum(values) / len(values)
    warm = bring_to_20(spec, part_c)
    if tool.gauge is None:
        # nothing can be proven without an uncertainty, so the reading is taken as it stands
        value = mean if warm is None else warm.to_reference(mean)
        found = Measurement(value, 0.0, float("inf"), 2.0, len(values), None, float("inf"), ())
        u, rule = None, SIMPLE
        shown = mm(value, spec.decimals)
    else:
        found = gauged(tool, spec, values, part_c)
        u, shown = found.u, found.text()
    judged = replace(
        blank,
        state="read",
        value_mm=found.value,
        u_mm=u,
        shown=shown,
        rule=rule,
        notes=tuple(
            note
            for note in (
                warm_note(spec, part_c, mean, found),
                *blank.notes,
                *notes,
                *found.notes,
            )
            if note
        ),
        at_20=warm is not None,
    )
    if limits is not None:
        judged = with_verdict(judged, judge_measurement(found, limits, rule), spec)
    reading = _reading(judged, limits, values, blank.typed, found.k)
    if warm is not None:
        reading = reading.model_copy(
            update={"part_c": warm.celsius, "at_20_mm": float(f"{found.value:.8g}")}
        )
    return replace(judged, reading=reading)


def _judge_steps(blank: Judged, spec: Quantity, tool: Tool, entry: Entry) -> Judged:
    """Judge the largest step of a go/no-go tool that goes; 0 when not even the smallest does."""
    assert tool.gauge is not None
    if len(entry.values) != 1:
        return replace(blank, state="refused", reason="type the one largest step that goes in")
    largest = entry.values[0]
    try:
        found = step_reading(tool.gauge, largest if largest > 0.0 else None)
    except ValueError:
        steps = ", ".join(f"{step:g}" for step in tool.gauge.steps)
        return replace(
            blank, state="refused", reason=f"the steps are {steps}; type the largest that goes in"
        )
    value, u, shown = _from_steps(found, spec.decimals)
    limits, notes = usable_limits(spec)
    judged = replace(
        blank,
        state="read",
        value_mm=value,
        u_mm=u,
        shown=shown,
        notes=(*blank.notes, *notes),
    )
    if limits is not None:
        judged = with_verdict(judged, judge_steps(found, limits, blank.rule), spec)
    reading = _reading(judged, limits, (value,), shown)
    if not found.closed:
        side = "at least" if found.high is None else "at most"
        reading = reading.model_copy(update={"bound": side})
        beyond = "beyond the tool's last step: only a bound, no value to reckon with"
        judged = replace(judged, notes=(beyond, *judged.notes))
    return replace(judged, reading=reading)


def _from_steps(found: StepReading, decimals: int) -> tuple[float, float | None, str]:
    """Return value, uncertainty and words; an open side gives the bound and no uncertainty."""
    if found.low is not None and found.high is not None:
        measured = measure_steps(found)
        shown = f"{found.low:.{decimals}f} to {mm(found.high, decimals)}"
        return measured.value, measured.u, shown
    if found.high is not None:
        return found.high, None, size_words(found.high, "at most", decimals)
    low = found.low or 0.0
    return low, None, size_words(low, "at least", decimals)


def _reading(
    judged: Judged,
    limits: Limits | None,
    values: Sequence[float],
    typed: str,
    k: float | None = None,
) -> Reading:
    return Reading(
        quantity=judged.quantity,
        values_mm=list(values),
        part=judged.part,
        instrument=judged.instrument,
        u_mm=None if judged.u_mm is None else float(f"{judged.u_mm:.6g}"),
        k=None if k is None or judged.u_mm is None else float(f"{k:.4g}"),
        low_mm=limits.low if limits is not None else None,
        high_mm=limits.high if limits is not None else None,
        discard_below_mm=limits.discard_below if limits is not None else None,
        discard_above_mm=limits.discard_above if limits is not None else None,
        rule=judged.rule,
        verdict=judged.word,
        typed=" ".join(typed.split())[:200],
    )
