"""The log folded once for a clutch: the state after every record, kept for all who ask."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from pitwright.weekend.card import ClutchCard
from pitwright.weekend.records import AnyRecord
from pitwright.weekend.state import State, bears_on, first_state, state_after
from pitwright.weekend.stock import Stock

__all__ = ["Story"]


class Story:
    """What became of one clutch, record by record.

    ``records`` are those in force, in order. ``before`` is the story as it was told of an
    earlier log: as far as that one held the very same records, of the same card and stock, its
    states are taken over, since nothing that a state depends on can have changed.
    """

    def __init__(
        self,
        card: ClutchCard,
        stock: Stock,
        records: Sequence[AnyRecord],
        before: Story | None = None,
    ) -> None:
        self._card = card
        self._stock = stock
        self.records = records
        self._first = first_state(card, stock)
        self._after: list[State] = []
        if before is not None and before.is_of(card, stock):
            self._after = before._after[: _same_at_first(records, before.records)]
        self.taken_over = len(self._after)
        state = self._after[-1] if self._after else self._first
        for record in records[self.taken_over :]:
            if bears_on(card, record):
                state = state_after(card, state, record)
            self._after.append(state)

    def is_of(self, card: ClutchCard, stock: Stock) -> bool:
        """Tell whether this is the story of this very card and stock."""
        return self._card is card and self._stock is stock

    def before(self, place: int) -> State:
        """Return the state before the record at a place of the log, 0 the first."""
        return self._after[place - 1] if place else self._first

    def at(self, moment: datetime | None = None) -> State:
        """Return the state at ``moment``, records of the moment itself counted; None is the end."""
        if moment is None:
            return self.before(len(self.records))
        place = bisect_right(self.records, moment, key=lambda record: record.happened_at)
        return replace(self.before(place), moment=moment)

    def walk(self) -> Iterator[tuple[AnyRecord, State, State]]:
        """Yield each record of the clutch with the state before and after it."""
        state = self._first
        for record, after in zip(self.records, self._after, strict=True):
            if bears_on(self._card, record):
                yield record, state, after
            state = after


def _same_at_first(records: Sequence[AnyRecord], earlier: Sequence[AnyRecord]) -> int:
    """Return how many records at the beginning are the very same ones."""
    count = 0
    for record, was in zip(records, earlier, strict=False):
        if record is not was:
            break
        count += 1
    return count
