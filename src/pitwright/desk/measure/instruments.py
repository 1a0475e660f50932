"""The card's hand tools as the metrology knows them, with what their zero checks told."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from pitwright.desk.wording import minutes_words
from pitwright.metrology.entry import parse_entry
from pitwright.metrology.instruments import Instrument, InstrumentKind
from pitwright.metrology.uncertainty import Repeatability, pooled
from pitwright.weekend import card as cards
from pitwright.weekend.figures import Figure
from pitwright.weekend.records import AnyRecord, ZeroCheck

__all__ = [
    "Tool",
    "ZeroJudged",
    "judge_zero",
    "last_zero_checks",
    "measures_length",
    "tool",
    "tool_words",
    "zero_record",
]

_KINDS: Final[Mapping[cards.InstrumentKind, InstrumentKind]] = {
    "caliper": InstrumentKind.CALIPER,
    "depth rod": InstrumentKind.DEPTH_ROD,
    "depth steps": InstrumentKind.STEP_TOOL,
    "feeler gauge": InstrumentKind.FEELER,
    "torque driver": InstrumentKind.TORQUE_DRIVER,
    "shim micrometer": InstrumentKind.MICROMETER,
}
_HAVE_ZERO: Final = frozenset(
    {InstrumentKind.CALIPER, InstrumentKind.DEPTH_ROD, InstrumentKind.MICROMETER}
)
_LARGEST_ZERO_MM: Final = 50.0
_INCH_MM: Final = 25.4
_THOU_MM: Final = 0.001 * _INCH_MM


@dataclass(frozen=True)
class Tool:
    """One hand tool, ready for use.

    ``gauge`` is None when the card says too little of the tool to give an uncertainty;
    ``scatter`` what the card knows of its repeatability; ``notes`` what to know before trusting
    it, in words; ``inch_step`` what its inch display resolves [mm], None where the card does not
    say; ``has_zero`` whether a zero check makes sense; ``zero_off_mm`` what it showed at
    the last one, when that was more than its permissible error.
    """

    key: str
    label: str
    gauge: Instrument | None
    scatter: Repeatability | None = None
    notes: tuple[str, ...] = ()
    has_zero: bool = False
    zero_off_mm: float = 0.0
    inch_step: float | None = None

    def reading(self, inch_step: float | None) -> Tool:
        """Return the tool as it is read: in inches it resolves what its inch display does.

        ``inch_step`` is what was typed to [mm], None for millimetres. Where the card does not state
        the display's step, the typed one counts, but no finer than in millimetres, and no coarser
        than a thousandth, for who types 0.4 in leaves out noughts (common practice, no source).
        """
        gauge = self.gauge
        if gauge is None or inch_step is None or not gauge.resolution:
            return self
        step = self.inch_step or max(gauge.resolution, min(inch_step, _THOU_MM))
        if step == gauge.resolution:
            return self
        words = f"read in inches, to {step / _INCH_MM:.4g} in ({step:.3f} mm)"
        read = replace(gauge, resolution=step)
        return replace(self, gauge=read, notes=(*self.notes, words))


def measures_length(instrument: cards.Instrument) -> bool:
    """Tell whether a card's instrument reads millimetres."""
    return instrument.kind != "torque driver"


def last_zero_checks(records: Iterable[AnyRecord]) -> dict[str, ZeroCheck]:
    """Return the last zero check of each instrument, by its name on the card."""
    return {r.instrument: r for r in records if isinstance(r, ZeroCheck)}


def _mm(figure: Figure | None) -> float:
    return 0.0 if figure is None else figure.value


def tool(
    key: str,
    card: cards.Instrument,
    zero: ZeroCheck | None,
    now: datetime,
    repeats: Iterable[Sequence[float]] = (),
) -> Tool:
    """Map one instrument of the card, and its last zero check, to a tool.

    A zero read several times gives the scatter of setting zero; one that lies further off than
    the permissible error is pointed out and counts as further error. Readings are not shifted by
    it: the cure is to set zero again, and whether that was done is not known. Where the card does
    not know its scatter, earlier ``repeats`` with it tell, once there are enough of them.
    """
    kind = _KINDS[card.kind]
    notes: list[str] = []
    u_zero: float | None = None
    age: float | None = None
    error = _mm(card.permissible_error)
    off = 0.0
    if zero is not None:
        age = max(0.0, (now - zero.happened_at).total_seconds() / 3600.0)
        offset = statistics.fmean(zero.values_mm)
        if len(zero.values_mm) > 1:
            step = _mm(card.resolution) / math.sqrt(12.0)
            u_zero = math.hypot(step, statistics.stdev(zero.values_mm))
        if abs(offset) > max(error, _mm(card.resolution)) + 1e-9:
            off = offset
            size = f"{abs(offset):.2f} mm"
            how = f"{size} long at zero: set it again, or take {size} off"
            if offset < 0:
                how = f"{size} short at zero: set it again, or add {size}"
            notes.append(f"{card.label} reads {how}")
    try:
        gauge: Instrument | None = Instrument(
            card.label,
            kind,
            resolution=_mm(card.resolution),
            max_permissible_error=error,
            relative_error=_mm(card.permissible_error_ratio),
            zero_uncertainty=u_zero,
            zero_age_h=age,
            steps=tuple(step.value for step in card.steps),
        )
    except ValueError:
        gauge = None
        notes.append(f"the card says too little of the {card.label.lower()} to know its error")
    known = card.repeatability
    scatter = pooled(repeats) if known is None else Repeatability(known.value)
    inches = None if card.resolution_inch is None else card.resolution_inch.value
    return Tool(key, card.label, gauge, scatter, tuple(notes), kind in _HAVE_ZERO, off, inches)


def tool_words(found: Tool) -> str:
    """Return what a tool can resolve and how long ago its zero was checked, in words."""
    gauge = found.gauge
    if gauge is None:
        return "its error is not known"
    parts: list[str] = []
    if gauge.steps:
        parts.append("steps " + ", ".join(f"{step:g}" for step in gauge.steps))
    elif gauge.resolution:
        parts.append(f"reads to {gauge.resolution:g} mm")
    if gauge.max_permissible_error:
        parts.append(f"good to ± {gauge.max_permissible_error:g} mm")
    if found.has_zero:
        age = gauge.zero_age_h
        parts.append(
            "zero never checked" if age is None else f"zero checked {minutes_words(age * 60)} ago"
        )
    return ", ".join(parts)


@dataclass(frozen=True)
class ZeroJudged:
    """A zero being typed: ``text`` says what it means; ``record`` is ready when it can be kept."""

    state: str
    text: str
    record: ZeroCheck | None = None


def judge_zero(
    key: str, card: cards.Instrument, typed: str, *, now: datetime, clutch: str
) -> ZeroJudged:
    """Read what was typed as an instrument's zero (negative values allowed), and judge it."""
    entry = parse_entry(typed, largest=_LARGEST_ZERO_MM, allow_negative=True)
    if not typed.strip():
        return ZeroJudged("empty", "what it shows when closed, several times if you can")
    if entry.state != "complete":
        return ZeroJudged(entry.state, entry.reason)
    offset = statistics.fmean(entry.values)
    allowed = max(_mm(card.permissible_error), _mm(card.resolution))
    if abs(offset) > allowed + 1e-9:
        text = f"{offset:+.2f} mm is more than the {allowed:.2f} mm allowed: set zero again"
    else:
        text = f"{offset:+.2f} mm, within the {allowed:.2f} mm allowed"
    return ZeroJudged("complete", text, zero_record(key, entry.values, now=now, clutch=clutch))


def zero_record(key: str, values_mm: Iterable[float], *, now: datetime, clutch: str) -> ZeroCheck:
    """Return the record of an instrument's zero, read one or more times [mm]."""
    return ZeroCheck(clutch=clutch, happened_at=now, instrument=key, values_mm=list(values_mm)[:50])
