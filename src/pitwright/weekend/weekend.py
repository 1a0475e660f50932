"""A weekend in memory: its cards, its log and what is in progress."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, TypeVar

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.event import EventCard
from pitwright.weekend.log import Log
from pitwright.weekend.open_work import OpenWork
from pitwright.weekend.procedure import Procedure
from pitwright.weekend.records import AnyRecord, HeatRun
from pitwright.weekend.schedule import PlannedHeat, schedule_now
from pitwright.weekend.state import State
from pitwright.weekend.stock import Stock

__all__ = ["HeatOnClutch", "Weekend"]

_T = TypeVar("_T")


@dataclass(frozen=True)
class HeatOnClutch:
    """A heat with the clutch state it started on and the laps kept for it, in seconds.

    ``marks``: what stood beside a lap where it came from (best, pit), by its number from 1.
    """

    run: HeatRun
    state: State
    laps: tuple[float, ...] = ()
    marks: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Weekend:
    """All that is known of one weekend. ``laps`` maps a heat's name to its lap times [s].

    ``marks`` maps it to what stood beside them, by the number of the lap.
    """

    event: EventCard
    clutches: Mapping[str, ClutchCard]
    procedure: Procedure
    stock: Stock
    log: Log = field(default_factory=Log)
    laps: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    open: OpenWork = field(default_factory=OpenWork)
    marks: Mapping[str, Mapping[int, str]] = field(default_factory=dict)

    def card(self, clutch: str | None = None) -> ClutchCard:
        """Return the named clutch's card, or the first one.

        Raises KeyError when there is no such clutch.
        """
        return self.clutches[clutch] if clutch is not None else next(iter(self.clutches.values()))

    def state(self, moment: datetime | None = None, clutch: str | None = None) -> State:
        """Return what the log makes of one clutch up to ``moment``, its records counted."""
        return self.log.story(self.card(clutch), self.stock).at(moment)

    def walk(self, card: ClutchCard) -> Iterator[tuple[AnyRecord, State, State]]:
        """Yield each record in force of a clutch with the state before and after it."""
        return self.log.story(card, self.stock).walk()

    def once(self, question: Callable[[Weekend], _T]) -> _T:
        """Return the answer to a question about this weekend, worked out when it is first asked."""
        if question not in self._answers:
            self._answers[question] = question(self)
        answer: _T = self._answers[question]
        return answer

    @cached_property
    def _answers(self) -> dict[Callable[[Weekend], Any], Any]:
        return {}

    @cached_property
    def schedule(self) -> tuple[PlannedHeat, ...]:
        """The schedule as it stands now."""
        return schedule_now(self.event, self.log.records)

    @cached_property
    def heats(self) -> tuple[HeatOnClutch, ...]:
        """The heats run or called off, in order, each with the state it started on."""
        found = [
            HeatOnClutch(
                record,
                before,
                self.laps.get(record.heat, ()),
                self.marks.get(record.heat, {}),
            )
            for card in self.clutches.values()
            for record, before, _after in self.walk(card)
            if isinstance(record, HeatRun)
        ]
        return tuple(sorted(found, key=lambda h: (h.run.happened_at, h.run.heat)))

    def heat(self, name: str) -> HeatOnClutch:
        """Return the heat of that name, the last one when it was rerun.

        Raises KeyError when no such heat is in the log.
        """
        for heat in reversed(self.heats):
            if heat.run.heat.lower() == name.lower():
                return heat
        raise KeyError(name)
