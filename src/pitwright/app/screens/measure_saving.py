"""Keeping what is typed on Measure: as one check, or as the correction of the last one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual import work

from pitwright.app.screens.measure_tools import MeasureTools
from pitwright.app.widgets.dialogs import AskLine, Confirm
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.desk.measure import measure as desk
from pitwright.desk.measure.words import saved_words

if TYPE_CHECKING:
    from pitwright.weekend.records import Check

__all__ = ["MeasureSaving"]


class MeasureSaving(MeasureTools):
    """The keys that keep, correct and empty."""

    def action_save(self) -> None:
        """Keep all that is filled in as one check."""
        self.save(ask=False)

    def action_save_typed(self) -> None:
        """Keep all that is filled in, from within an entry."""
        self.save(ask=False)

    @work(exclusive=True, group="save")
    async def save(self, *, ask: bool) -> None:
        """Keep all that is filled in; with ``ask`` only after a yes."""
        filled = self.filled
        if not filled and self.correcting is None:
            self.notify("Nothing is typed yet")
            return
        for entry in filled:
            if not await self._ready(entry):
                return
        check = self.wrong_check()
        if check is not None:
            await self._save_correction(check)
            return
        if ask:
            count = "this reading" if len(filled) == 1 else f"these {len(filled)} readings"
            if not await self.app.push_screen_wait(Confirm(f"Save {count} as one check?")):
                return
        judged = [e.finished() for e in filled]
        record = desk.check_record(
            judged,
            now=self.pitwright.clock(),
            clutch=self.bench.card.id,
            squeezes=_squeezes(filled),
        )
        if self.pitwright.keep(record) is not None:
            self._emptied(filled)
            words, is_out = saved_words(judged)
            self.notify(
                words,
                severity="warning" if is_out else "information",
                markup=False,
                timeout=8,
            )

    async def _ready(self, entry: ReadingEntry) -> bool:
        """Settle what stands between an entry and the log; False when it must be edited."""
        answer = await entry.settle_slip()
        if answer == "edit":
            if self.focused is None:
                entry.line.focus()
            return False
        judged = entry.finished()
        if judged.state != "read":
            entry.line.focus()
            self.notify(
                f"{judged.label}: {judged.reason or 'the entry is not finished'}",
                severity="warning",
                markup=False,
            )
            return False
        if not judged.needs_part:
            return True
        part = await self.ask_part(entry)
        if part is None:
            return False
        entry.part = part
        # another part has another history, so the doubt may be a new one
        return await entry.settle_slip() != "edit"

    def _emptied(self, filled: list[ReadingEntry]) -> None:
        for entry in filled:
            part = entry.part
            entry.clear()
            if self.bench.fitted_part(entry.quantity) is None:
                # with nothing fitted, the part just measured is the one in hand
                entry.part = part
        if self.correcting is not None:
            self.correcting = None
            # how warm the parts were belongs to the check that was corrected
            self.set_part_c(None)
        self.keep_draft()
        self.pitwright.drafts.flush()
        self.show_weekend()

    def action_correct_last(self) -> None:
        """Put the last check back into the entries, to be corrected."""
        if self.filled:
            self.notify("Save or clear what is typed first", severity="warning")
            return
        wrong = self.bench.last_check
        if wrong is None:
            self.notify("There is no check to correct yet")
            return
        self.correcting = wrong.id
        warm = [r.part_c for r in wrong.readings if r.part_c is not None]
        self.set_part_c(warm[0] if warm else None)
        self.show_weekend()
        for reading in reversed(wrong.readings):
            entry = self.entry(reading.quantity)
            if entry is None:
                continue
            entry.part = reading.part
            entry.instrument = (
                reading.instrument if reading.instrument in self.bench.tools else None
            )
            entry.squeezes = reading.squeezes
            entry.typed = reading.typed or " ".join(f"{v:g}" for v in reading.values_mm)
            entry.accept()
            entry.line.focus()

    async def _save_correction(self, wrong: Check) -> None:
        judged = [e.finished() for e in self.entries]
        title = "What was wrong with it?"
        if not any(one.state == "read" for one in judged):
            title = "Nothing is left, so the whole check is taken back. Why?"
        reason = await self.app.push_screen_wait(
            AskLine(
                title,
                check=lambda t: "" if t.strip() else "a word or two, for later",
                draft="measure why",
            )
        )
        if reason is None:
            return
        record = desk.correction_record(
            wrong,
            judged,
            now=self.pitwright.clock(),
            reason=reason.strip()[:200],
            squeezes=_squeezes(self.entries),
        )
        if self.pitwright.keep(record) is not None:
            self._emptied(self.filled)
            self.notify("Corrected; the first one stays in the log")

    def action_clear(self) -> None:
        """Empty the entry in hand; give a correction up."""
        if self.correcting is not None:
            self._emptied(self.entries)
            self.notify("Correction given up; the check stays as it was")
        elif self.current is not None:
            self.current.clear()


def _squeezes(entries: list[ReadingEntry]) -> dict[str, int]:
    return {e.quantity: e.squeezes for e in entries if e.squeezes is not None}
