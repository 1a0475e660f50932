"""Parts and shims at a place: what may be picked, what was typed, and the record of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from pydantic import ValidationError

from pitwright.desk.sizes import shims_listed, shims_words, size_words
from pitwright.desk.wording import minutes_words, part_label
from pitwright.metrology.entry import parse_entry
from pitwright.weekend.places import SHIM_PLACES, PartPlace, Place, ShimPlace
from pitwright.weekend.records import Fit, VerdictWord
from pitwright.weekend.state import PartState, State
from pitwright.weekend.weekend import Weekend

__all__ = [
    "PartChoice",
    "StandIn",
    "TypedShims",
    "as_shim_place",
    "fitted_now",
    "name_trouble",
    "part_age",
    "part_choices",
    "part_fit",
    "part_to_fit",
    "parts_at",
    "read_shims",
    "shim_fit",
    "stand_in",
]

_WORST_FIRST: tuple[VerdictWord, ...] = ("out", "too close to call", "good")
_NO_SHIMS = frozenset({"none", "no", "-", "0"})


@dataclass(frozen=True)
class PartChoice:
    """A part that can be fitted or measured, with what is known of it."""

    part: str
    label: str
    detail: str
    fitted: bool


@dataclass(frozen=True)
class TypedShims:
    """A shim stack as typed [mm]; ``trouble`` says why it cannot be kept.

    ``not_in_tin`` are thicknesses that stock.toml does not list, ``short`` those of which it
    lists fewer.
    """

    shims_mm: tuple[float, ...] = ()
    trouble: str = ""
    not_in_tin: tuple[float, ...] = ()
    short: tuple[float, ...] = ()

    @property
    def question(self) -> str:
        """What to ask before it is kept, nothing when the tin has them all."""
        parts = []
        if self.not_in_tin:
            parts.append(f"{shims_listed(self.not_in_tin)} is not in stock.toml")
        if self.short:
            parts.append(f"stock.toml has fewer of {shims_listed(self.short)}")
        return "; ".join(parts)


def as_shim_place(place: Place) -> ShimPlace | None:
    """Return the place as a place of shims, None when a part belongs there."""
    return next((p for p in SHIM_PLACES if p == place), None)


def fitted_now(weekend: Weekend, place: Place, clutch: str) -> str:
    """Return what is fitted at a place as far as recorded, nothing when nobody recorded it."""
    if clutch not in weekend.clutches:
        return ""
    state = weekend.state(None, clutch)
    shims = as_shim_place(place)
    if shims is not None:
        stack = state.shims.get(shims)
        if stack is None:
            return ""
        return shims_words(stack.shims_mm)
    part = next((p for p in state.parts.values() if p.fitted and p.place == place), None)
    return part_label(part.label, part.part) if part is not None else ""


def part_age(part: PartState) -> str:
    """Return how long a part has run: ``23 min run``, ``at least 23 min run``, ``not run yet``."""
    age = f"{minutes_words(part.run_minutes)} run" if part.run_minutes else "not run yet"
    if part.unknown_runs:
        age = f"at least {age}" if part.run_minutes else "run, not timed"
    return age


def _word(part: PartState) -> VerdictWord | None:
    """Return the worst verdict of what was last read of a part, None when nothing was judged."""
    words = {f.reading.verdict for f in part.figures.values() if f.reading is not None}
    return next((w for w in _WORST_FIRST if w in words), None)


def _detail(part: PartState) -> str:
    lengths = []
    for figure in part.figures.values():
        word = figure.reading.verdict if figure.reading is not None else None
        size = size_words(figure.value_mm, figure.bound)
        lengths.append(size if word in (None, "good") else f"{word}: {size}")
    there = ["fitted now" if _word(part) == "out" else "stays"] if part.fitted else []
    return ", ".join([*there, *lengths, part_age(part)])


def part_choices(weekend: Weekend, place: PartPlace, clutch: str) -> tuple[PartChoice, ...]:
    """Return the parts that can be fitted at ``place``: the one there first, none thrown away.

    What was last read out, or too close to call, says so.
    """
    return tuple(
        PartChoice(p.part, part_label(p.label, p.part), _detail(p), p.fitted)
        for p in parts_at(weekend.state(None, clutch), place)
    )


def part_to_fit(weekend: Weekend, place: PartPlace, clutch: str) -> str | None:
    """Return the part that a choice should begin at, never one that is out; None without one.

    The one that is there stays unless it is out; else one that is not in doubt comes before one
    that is, and one that ran less before one that ran more.
    """
    sound = [p for p in parts_at(weekend.state(None, clutch), place) if _word(p) != "out"]
    best = min(
        sound,
        key=lambda p: (
            not p.fitted,
            _word(p) == "too close to call",
            p.unknown_runs,
            p.run_minutes,
        ),
        default=None,
    )
    return best.part if best is not None else None


@dataclass(frozen=True)
class StandIn:
    """A part that can take the place of one that is gone; ``alike`` when their kinds say so."""

    part: PartState
    alike: bool


def stand_in(
    weekend: Weekend, place: PartPlace, gone: str, *, clutch: str, now: datetime
) -> StandIn | None:
    """Return what can take the place of a part that is gone, None when nothing is left.

    One of another kind cannot, nor one that is out or on another clutch. Of the others one of the
    same kind comes first, then the one that is fitted, then the one that ran least.
    """
    kinds = {p.id: p.kind for p in weekend.stock.parts(place)}
    wanted = kinds.get(gone, "")
    elsewhere = {
        p.part
        for other in weekend.clutches
        if other != clutch
        for p in weekend.state(now, other).parts.values()
        if p.fitted or p.discarded
    }

    def other_kind(part: PartState) -> bool:
        kind = kinds.get(part.part, "")
        return bool(wanted and kind) and kind != wanted

    found = [
        StandIn(p, bool(wanted) and kinds.get(p.part, "") == wanted)
        for p in parts_at(weekend.state(now, clutch), place)
        if p.part != gone and p.part not in elsewhere and _word(p) != "out" and not other_kind(p)
    ]
    return min(
        found,
        key=lambda s: (not s.alike, not s.part.fitted, s.part.unknown_runs, s.part.run_minutes),
        default=None,
    )


def parts_at(state: State, place: str | None) -> tuple[PartState, ...]:
    """Return the parts of a place that are still owned, the one fitted there first."""
    found = (p for p in state.parts.values() if p.place == place and not p.discarded)
    return tuple(sorted(found, key=lambda p: not p.fitted))


def part_fit(
    weekend: Weekend,
    place: PartPlace,
    part: str,
    *,
    clutch: str,
    now: datetime,
    fate: Literal["kept", "discarded"] = "kept",
    reason: str = "",
    step: str | None = None,
) -> Fit:
    """Return the record of a part fitted; the part it replaces is looked up, not asked for."""
    there = weekend.state(None, clutch).fitted(place)
    removed = there.part if there is not None and there.part != part else None
    return Fit(
        clutch=clutch,
        happened_at=now,
        place=place,
        part=part,
        removed=removed,
        fate=fate if removed is not None else "kept",
        reason=reason.strip() if removed is not None else "",
        step=step,
    )


def read_shims(weekend: Weekend, text: str) -> TypedShims:
    """Read a stack as typed: ``0.10 0.15`` or ``0.10+0.15``, with decimal commas, or ``none``."""
    text = text.replace("+", " ").replace("*", " ")
    if text.strip().lower() in _NO_SHIMS:
        return TypedShims()
    entry = parse_entry(text, largest=5.0)
    if entry.state != "complete":
        reason = entry.reason or "not finished"
        return TypedShims(trouble=f"{reason}. Type each shim, such as 0.10 0.15, or none")
    shims = tuple(round(value, 4) for value in entry.values)
    if any(s <= 0 for s in shims):
        return TypedShims(trouble="a shim is thicker than nothing; type none for no shims")
    if len(shims) > 50:
        return TypedShims(trouble="more than 50 shims")
    tin = {round(s.thickness.value * 1000): s.count for s in weekend.stock.shim}
    kinds = sorted(set(shims))
    missing = tuple(s for s in kinds if round(s * 1000) not in tin)
    short = tuple(s for s in kinds if s not in missing and shims.count(s) > tin[round(s * 1000)])
    return TypedShims(shims, not_in_tin=missing, short=short)


def shim_fit(
    place: ShimPlace,
    shims_mm: tuple[float, ...],
    *,
    clutch: str,
    now: datetime,
    step: str | None = None,
) -> Fit:
    """Return the record of a shim stack fitted."""
    return Fit(clutch=clutch, happened_at=now, place=place, shims_mm=list(shims_mm), step=step)


def name_trouble(text: str, place: PartPlace) -> str:
    """Return what is wrong with a part's short name, or nothing."""
    try:
        Fit(happened_at=datetime(2000, 1, 1, tzinfo=UTC), place=place, part=text.strip())
    except ValidationError as error:
        return str(error.errors()[0]["msg"]).removeprefix("Value error, ")
    return ""
