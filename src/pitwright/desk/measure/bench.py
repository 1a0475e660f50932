"""What has been read of each quantity so far: gathered once, asked at every key stroke."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from pitwright.desk.measure.instruments import Tool, last_zero_checks, measures_length, tool
from pitwright.desk.measure.limits import in_force
from pitwright.desk.stock.fitting import PartChoice, part_age, parts_at
from pitwright.desk.wording import part_label
from pitwright.weekend.card import ClutchCard, Quantity
from pitwright.weekend.places import PART_PLACES
from pitwright.weekend.records import AnyRecord, CarryOver, Check, Reading, Setting
from pitwright.weekend.state import State, first_state
from pitwright.weekend.weekend import Weekend

__all__ = ["Bench", "Past", "gather"]


@dataclass(frozen=True)
class Past:
    """An earlier value of a quantity [mm]; ``reading`` is None when it was set, not read."""

    value_mm: float
    at: datetime
    record: str
    reading: Reading | None = None


@dataclass(frozen=True)
class Bench:
    """One clutch's measuring bench at a moment. Build it with ``gather``.

    ``part_c`` is how warm the parts on it are, None for cold ones.
    """

    card: ClutchCard
    now: datetime
    zone: ZoneInfo
    state: State
    past: Mapping[tuple[str, str | None], tuple[Past, ...]]
    tools: Mapping[str, Tool]
    used: Mapping[str, str]
    last_check: Check | None
    part_c: float | None = None

    def place(self, quantity: str) -> str | None:
        """Return the part place a quantity belongs to, None when it is of the clutch."""
        of = self.card.quantities[quantity].of
        return of if of in PART_PLACES else None

    def spec(self, quantity: str) -> Quantity:
        """Return a quantity of the card, with the limits that hold for what is fitted."""
        return in_force(self.card, quantity, self.state)

    def fitted_part(self, quantity: str) -> str | None:
        """Return the part fitted now that a quantity belongs to."""
        place = self.place(quantity)
        return next(
            (p.part for p in self.state.parts.values() if p.fitted and p.place == place), None
        )

    def parts(self, quantity: str) -> tuple[PartChoice, ...]:
        """Return the parts a quantity can be measured on, the fitted one first."""
        place = self.place(quantity)
        return tuple(
            PartChoice(
                p.part,
                part_label(p.label, p.part),
                ("fitted, " if p.fitted else "") + part_age(p),
                p.fitted,
            )
            for p in parts_at(self.state, place)
        )

    def part_name(self, part: str | None) -> str:
        """Return what a part is called."""
        if part is None:
            return ""
        known = self.state.parts.get(part)
        return part_label(known.label, part) if known is not None else part

    def instrument(self, quantity: str) -> str:
        """Return the instrument last used for a quantity, else the card's."""
        return self.used.get(quantity, self.card.quantities[quantity].instrument)

    def tool(self, quantity: str, instrument: str | None = None) -> Tool:
        """Return the named tool, or the one in use for a quantity.

        Raises KeyError for one that is not on the card or reads no length.
        """
        return self.tools[instrument or self.instrument(quantity)]

    def history(self, quantity: str, part: str | None) -> tuple[Past, ...]:
        """Return the earlier values of a quantity on a part, oldest first."""
        return self.past.get((quantity, part), ())


def gather(
    weekend: Weekend,
    now: datetime,
    clutch: str | None = None,
    *,
    without: str | None = None,
    part_c: float | None = None,
) -> Bench:
    """Gather what the log knows of every quantity of one clutch.

    ``without`` leaves one record out, the one that is about to be corrected; ``part_c`` is the
    temperature of the parts to be read. Raises KeyError when there is no such clutch.
    """
    card = weekend.card(clutch)
    past: dict[tuple[str, str | None], list[Past]] = {}
    used: dict[str, str] = {}
    repeats: dict[str, list[Sequence[float]]] = {}
    state = first_state(card, weekend.stock)
    last_check: Check | None = None
    log = weekend.log
    if without is not None:
        log = replace(log, records=tuple(r for r in log.records if r.id != without))
    for record, _before, state in log.story(card, weekend.stock).walk():
        readings = record.readings if isinstance(record, Check | CarryOver) else []
        for reading in readings:
            part = reading.part or _fitted(state, card, reading.quantity)
            past.setdefault((reading.quantity, part), []).append(
                Past(reading.value_mm, record.happened_at, record.id, reading)
            )
            if reading.instrument in card.instruments:
                used[reading.quantity] = str(reading.instrument)
            if len(reading.values_mm) > 1 and reading.instrument is not None:
                repeats.setdefault(reading.instrument, []).append(reading.values_mm)
        set_to = _set_recess(record)
        if set_to is not None:
            past.setdefault(("recess", None), []).append(
                Past(set_to, record.happened_at, record.id)
            )
        if isinstance(record, Check):
            last_check = record
    zeros = last_zero_checks(log.records)
    return Bench(
        card=card,
        now=now,
        zone=weekend.event.zone,
        state=state,
        past={key: tuple(found) for key, found in past.items()},
        tools={
            key: tool(key, instrument, zeros.get(key), now, repeats.get(key, ()))
            for key, instrument in card.instruments.items()
            if measures_length(instrument)
        },
        used=used,
        last_check=last_check,
        part_c=part_c,
    )


def _fitted(state: State, card: ClutchCard, quantity: str) -> str | None:
    known = card.quantities.get(quantity)
    place = known.of if known is not None and known.of in PART_PLACES else None
    return next((p.part for p in state.parts.values() if p.fitted and p.place == place), None)


def _set_recess(record: AnyRecord) -> float | None:
    if isinstance(record, Setting):
        return record.recess_mm
    return record.recess_mm if isinstance(record, CarryOver) else None
