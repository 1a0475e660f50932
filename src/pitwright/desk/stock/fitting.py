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
from pitwright.weekend.records import Fit
from pitwright.weekend.state import PartState, State
from pitwright.weekend.weekend import Weekend

__all__ = [
    "PartChoice",
    "TypedShims",
    "as_shim_place",
    "fitted_now",
    "name_trouble",
    "part_age",
    "part_choices",
    "part_fit",
    "parts_at",
    "read_shims",
    "shim_fit",
]

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


def _detail(part: PartState) -> str:
    lengths = [size_words(f.value_mm, f.bound) for f in part.figures.values()]
    return ", ".join([*lengths, part_age(part)])


def part_choices(weekend: Weekend, place: PartPlace, clutch: str) -> tuple[PartChoice, ...]:
    """Return the parts that can be fitted at ``place``: the one there first, none thrown away."""
    return tuple(
        PartChoice(
            p.part,
            part_label(p.label, p.part),
            f"stays, {_detail(p)}" if p.fitted else _detail(p),
            p.fitted,
        )
        for p in parts_at(weekend.state(None, clutch), place)
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
