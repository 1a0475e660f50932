"""The state of a clutch at a moment, folded from the log and never typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import TypeVar

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import PART_PLACES, PartPlace, Place, ShimPlace
from pitwright.weekend.records import (
    AnyRecord,
    BoundSide,
    Build,
    CarryOver,
    Check,
    Fit,
    HeatRun,
    Reading,
    Setting,
    StockChange,
)
from pitwright.weekend.stock import Stock

_K = TypeVar("_K")
_V = TypeVar("_V")

__all__ = [
    "FigureInForce",
    "PartState",
    "ShimsFitted",
    "State",
    "bears_on",
    "first_state",
    "state_after",
]


@dataclass(frozen=True)
class FigureInForce:
    """A figure as last read or set: its value, the record it comes from and how old it is.

    ``value_mm`` in millimetres, ``u_mm`` its standard uncertainty when stated; ``run_minutes``
    and ``unknown_runs`` count the running since, on this clutch; ``overtaken`` is set when a part
    fitted later makes the figure doubtful; ``reading`` is None for a figure that was set.
    """

    quantity: str
    value_mm: float
    record: str
    at: datetime
    u_mm: float | None = None
    run_minutes: float = 0.0
    unknown_runs: int = 0
    overtaken: bool = False
    reading: Reading | None = None

    @property
    def bound(self) -> BoundSide | None:
        """Which side ``value_mm`` bounds, None when it is a value."""
        return self.reading.bound if self.reading is not None else None


@dataclass(frozen=True)
class PartState:
    """A part with its age: running minutes known, and runs whose length nobody noted."""

    part: str
    place: PartPlace
    label: str = ""
    run_minutes: float = 0.0
    unknown_runs: int = 0
    heats: int = 0
    fitted: bool = False
    fitted_record: str | None = None
    fitted_at: datetime | None = None
    discarded: bool = False
    discarded_because: str = ""
    figures: Mapping[str, FigureInForce] = field(default_factory=dict)


@dataclass(frozen=True)
class ShimsFitted:
    """The shim stack at one place, thicknesses in millimetres."""

    place: ShimPlace
    shims_mm: tuple[float, ...]
    record: str
    at: datetime

    @property
    def total_mm(self) -> float:
        """The stack's nominal height."""
        return round(sum(self.shims_mm), 6)


@dataclass(frozen=True)
class State:
    """One clutch at one moment. ``figures`` are those of the clutch; parts keep their own."""

    clutch: str
    moment: datetime | None = None
    parts: Mapping[str, PartState] = field(default_factory=dict)
    figures: Mapping[str, FigureInForce] = field(default_factory=dict)
    shims: Mapping[ShimPlace, ShimsFitted] = field(default_factory=dict)
    build: Build | None = None
    run_minutes: float = 0.0
    unknown_runs: int = 0

    def fitted(self, place: PartPlace) -> PartState | None:
        """Return the part fitted at ``place``, None when nobody recorded one."""
        return next((p for p in self.parts.values() if p.fitted and p.place == place), None)

    @property
    def spring(self) -> PartState | None:
        """The spring fitted."""
        return self.fitted("spring")

    @property
    def shoes(self) -> PartState | None:
        """The shoe set fitted."""
        return self.fitted("shoes")

    def refitted(self, card: ClutchCard, place: PartPlace, part: str) -> State:
        """Return this state as it would be with another part at ``place``, all else the same.

        For what-ifs; nothing is recorded. The part brings its own figures along, and what was read
        of the clutch with the other is overtaken. Raises KeyError when nobody knows the part.
        """
        if part not in self.parts:
            raise KeyError(part)
        parts = {
            key: replace(p, fitted=key == part) if p.place == place else p
            for key, p in self.parts.items()
        }
        if self.parts[part].fitted:
            return self
        figures = _overtaken(card, self.figures, place)
        return replace(self, parts=MappingProxyType(parts), figures=figures)

    @property
    def recess(self) -> FigureInForce | None:
        """The nut recess as last set or read; None while only a bound of it is known."""
        return self.figure("recess")

    def figure(self, quantity: str) -> FigureInForce | None:
        """Return the figure in force, to reckon with; None while only a bound of it is known."""
        found = self.told(quantity)
        return None if found is None or found.bound is not None else found

    def told(self, quantity: str) -> FigureInForce | None:
        """Return what was last told of a quantity, a bound too, of the clutch or a fitted part."""
        own = self.figures.get(quantity)
        if own is not None:
            return own
        for part in self.parts.values():
            if part.fitted and quantity in part.figures:
                return part.figures[quantity]
        return None


def first_state(card: ClutchCard, stock: Stock) -> State:
    """Return the state before any record: the parts owned, none fitted."""
    parts = {
        part.id: PartState(part.id, place, part.label, run_minutes=part.run_minutes)
        for place in PART_PLACES
        for part in stock.parts(place)
    }
    return State(clutch=card.id, parts=MappingProxyType(parts))


def bears_on(card: ClutchCard, record: AnyRecord) -> bool:
    """Tell whether a record says something of a clutch; what the stock holds is everybody's."""
    return record.clutch == card.id or isinstance(record, StockChange)


def state_after(card: ClutchCard, state: State, record: AnyRecord) -> State:
    """Return the state that a record which bears on the clutch leaves behind."""
    match record:
        case Check():
            for reading in record.readings:
                state = _read(card, state, reading, record.id, record.happened_at)
        case Setting():
            figure = FigureInForce(
                "recess", record.recess_mm, record.id, record.happened_at, record.u_mm
            )
            state = replace(state, figures=_with(state.figures, "recess", figure))
        case Fit():
            state = _fit(card, state, record)
        case HeatRun():
            state = _run(state, record)
        case Build():
            state = replace(state, build=record)
        case CarryOver():
            state = _carry(card, state, record)
        case StockChange():
            return _stock(state, record)
        case _:
            return state
    return replace(state, moment=record.happened_at)


def _with(mapping: Mapping[_K, _V], key: _K, value: _V) -> Mapping[_K, _V]:
    return MappingProxyType({**mapping, key: value})


def _read(card: ClutchCard, state: State, reading: Reading, record: str, at: datetime) -> State:
    figure = FigureInForce(
        reading.quantity, reading.value_mm, record, at, reading.u_mm, reading=reading
    )
    quantity = card.quantities.get(reading.quantity)
    place = quantity.of if quantity is not None else "clutch"
    part = reading.part
    if part is None and place in PART_PLACES:
        fitted = next((p for p in state.parts.values() if p.fitted and p.place == place), None)
        part = fitted.part if fitted is not None else None
    if part is None:
        return replace(state, figures=_with(state.figures, reading.quantity, figure))
    owner = state.parts.get(part)
    if owner is None:
        owner = PartState(part, next((p for p in PART_PLACES if p == place), "spring"))
    owner = replace(owner, figures=_with(owner.figures, reading.quantity, figure))
    return replace(state, parts=_with(state.parts, part, owner))


def _fit(card: ClutchCard, state: State, record: Fit) -> State:
    parts = dict(state.parts)
    if record.place == "height shims" or record.place == "end play shims":
        shims = ShimsFitted(record.place, tuple(record.shims_mm), record.id, record.happened_at)
        state = replace(state, shims=_with(state.shims, record.place, shims))
    else:
        for key, part in parts.items():
            if part.fitted and part.place == record.place:
                parts[key] = replace(part, fitted=False)
        if record.removed in parts and record.fate == "discarded":
            parts[record.removed] = replace(
                parts[record.removed], discarded=True, discarded_because=record.reason
            )
        assert record.part is not None
        fresh = parts.get(record.part) or PartState(record.part, record.place)
        parts[record.part] = replace(
            fresh,
            fitted=True,
            fitted_record=record.id,
            fitted_at=record.happened_at,
            discarded=False,
        )
    figures = _overtaken(card, state.figures, record.place)
    return replace(state, parts=MappingProxyType(parts), figures=figures)


def _overtaken(
    card: ClutchCard, figures: Mapping[str, FigureInForce], place: Place
) -> Mapping[str, FigureInForce]:
    """Return the figures with those marked that a part fitted at ``place`` makes doubtful."""
    return MappingProxyType(
        {
            key: replace(figure, overtaken=True)
            if (quantity := card.quantities.get(key)) is not None and place in quantity.overtaken_by
            else figure
            for key, figure in figures.items()
        }
    )


def _run(state: State, record: HeatRun) -> State:
    if record.status == "cancelled":
        return state
    unknown = 1 if record.run_minutes is None else 0
    minutes = (record.run_minutes or 0.0) + (record.warm_up_minutes or 0.0)

    def older(figure: FigureInForce) -> FigureInForce:
        return replace(
            figure,
            run_minutes=figure.run_minutes + minutes,
            unknown_runs=figure.unknown_runs + unknown,
        )

    parts = {
        key: replace(
            part,
            run_minutes=part.run_minutes + minutes,
            unknown_runs=part.unknown_runs + unknown,
            heats=part.heats + 1,
            figures=MappingProxyType({q: older(f) for q, f in part.figures.items()}),
        )
        if part.fitted
        else part
        for key, part in state.parts.items()
    }
    return replace(
        state,
        parts=MappingProxyType(parts),
        figures=MappingProxyType({q: older(f) for q, f in state.figures.items()}),
        run_minutes=state.run_minutes + minutes,
        unknown_runs=state.unknown_runs + unknown,
    )


def _carry(card: ClutchCard, state: State, record: CarryOver) -> State:
    parts = dict(state.parts)
    for carried in record.parts:
        fresh = parts.get(carried.part) or PartState(carried.part, carried.place, carried.label)
        parts[carried.part] = replace(
            fresh,
            run_minutes=carried.run_minutes,
            unknown_runs=carried.unknown_runs,
            fitted=carried.fitted,
            fitted_record=record.id if carried.fitted else None,
            fitted_at=record.happened_at if carried.fitted else None,
            discarded=carried.discarded,
        )
    state = replace(state, parts=MappingProxyType(parts))
    for reading in record.readings:
        state = _read(card, state, reading, record.id, record.happened_at)
    if record.recess_mm is not None:
        figure = FigureInForce("recess", record.recess_mm, record.id, record.happened_at)
        state = replace(state, figures=_with(state.figures, "recess", figure))
    stacks: tuple[tuple[ShimPlace, list[float]], ...] = (
        ("height shims", record.height_shims_mm),
        ("end play shims", record.end_play_shims_mm),
    )
    for place, stack in stacks:
        if stack:
            shims = ShimsFitted(place, tuple(stack), record.id, record.happened_at)
            state = replace(state, shims=_with(state.shims, place, shims))
    return state


def _stock(state: State, record: StockChange) -> State:
    if record.part is None or record.place is None:
        return state
    part = state.parts.get(record.part) or PartState(record.part, record.place, record.label)
    if record.change in ("discarded", "lost"):
        part = replace(part, discarded=True, discarded_because=record.reason, fitted=False)
    return replace(state, parts=_with(state.parts, record.part, part))
