"""What the parts of Measure share: the entries, the bench, and how warm the parts are."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.desk.measure.bench import Bench, gather

if TYPE_CHECKING:
    from pitwright.weekend.records import Check

__all__ = ["MeasureForm"]

# A small part is as cold as the bench by then; common practice, no source.
_COOL_AFTER = timedelta(minutes=15)


class MeasureForm(WeekendScreen):
    """The entries of one clutch over a bench that is gathered afresh whenever something changed.

    ``correcting`` is the record being corrected; ``part_c`` how warm the parts are, while known.
    """

    def __init__(self) -> None:
        super().__init__()
        self.correcting: str | None = None
        self.part_c: float | None = None
        self._part_c_at: datetime | None = None
        self._bench: Bench | None = None
        self._current = ""
        self._entries: dict[str, ReadingEntry] = {}

    @property
    def entries(self) -> list[ReadingEntry]:
        """The entries, in the card's order."""
        return list(self._entries.values())

    @property
    def filled(self) -> list[ReadingEntry]:
        """The entries in which something is typed."""
        return [entry for entry in self.entries if entry.typed.strip()]

    @property
    def current(self) -> ReadingEntry | None:
        """The entry in hand: the one with the cursor, or that had it last."""
        return self.entry(self._current) or next(iter(self.entries), None)

    def entry(self, quantity: str) -> ReadingEntry | None:
        """Return the entry of a quantity."""
        return self._entries.get(quantity)

    @property
    def bench(self) -> Bench:
        """The bench as last gathered."""
        return self._bench if self._bench is not None else self.gather()

    def gather(self) -> Bench:
        """Gather the bench afresh."""
        self._bench = gather(
            self.weekend,
            self.pitwright.clock(),
            self.pitwright.clutch,
            without=self.correcting,
            part_c=self.part_c,
        )
        return self._bench

    def set_part_c(self, part_c: float | None, at: datetime | None = None) -> None:
        """Take the parts as this warm since ``at``, by default from now on; None for cold."""
        self.part_c = part_c
        self._part_c_at = None if part_c is None else at or self.pitwright.clock()

    def cool_down(self) -> bool:
        """Take the parts as cold once nothing waits to be kept and their warmth is long gone."""
        at = self._part_c_at
        if at is None or self.filled or self.pitwright.clock() - at < _COOL_AFTER:
            return False
        self.set_part_c(None)
        return True

    def wrong_check(self) -> Check | None:
        """Return the check being corrected."""
        from pitwright.weekend.records import Check

        return next(
            (
                r
                for r in self.weekend.log.records
                if r.id == self.correcting and isinstance(r, Check)
            ),
            None,
        )

    def show_detail(self) -> None:
        """Show what there is to know of the entry in hand."""
        raise NotImplementedError
