"""What is typed on Measure, kept at each key and brought back when it opens again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwright.app.screens.measure_form import MeasureForm
from pitwright.desk.wording import minutes_words

if TYPE_CHECKING:
    from datetime import datetime

    from pitwright.weekend.open_work import Draft

__all__ = ["MeasureDrafts"]

_CORRECTING = "correcting"
_WARM = "part temperature"


class MeasureDrafts(MeasureForm):
    """The draft of the form: ``keep_draft`` at each key, ``restore`` when it opens."""

    def __init__(self) -> None:
        super().__init__()
        self._restored = False

    @property
    def _draft_name(self) -> str:
        clutch = self.pitwright.clutch
        return "measure" if clutch is None else f"measure {clutch}"

    def keep_draft(self) -> None:
        """Keep what is typed, with the part and the tool it is of."""
        if not self._restored:
            return
        fields: dict[str, str] = {}
        for entry in self.filled:
            fields[entry.quantity] = entry.typed
            fields[f"{entry.quantity} part"] = entry.part or ""
            fields[f"{entry.quantity} tool"] = entry.instrument or ""
            if entry.squeezes is not None:
                fields[f"{entry.quantity} squeezes"] = str(entry.squeezes)
        if self.correcting is not None:
            fields[_CORRECTING] = self.correcting
        if self.part_c is not None:
            fields[_WARM] = f"{self.part_c:g}"
        self.pitwright.drafts.typed(self._draft_name, fields)

    def set_part_c(self, part_c: float | None, at: datetime | None = None) -> None:
        """Take the parts as this warm, and keep that with what is typed."""
        super().set_part_c(part_c, at)
        self.keep_draft()

    def forget_restored(self) -> None:
        """Bring the draft back again at the next ``restore``, over entries made afresh."""
        self._restored = False

    def restore(self) -> None:
        """Bring back what was typed when the form was last left, once.

        Who only reads leaves it to the one who types it, until writing is picked up; by then an
        entry may have been filled here, which stays as it is.
        """
        if self._restored or not self.pitwright.session.writable:
            return
        draft = self.weekend.open.drafts.get(self._draft_name)
        if draft is not None:
            self._bring_back(draft)
        self._restored = True

    def _bring_back(self, draft: Draft) -> None:
        fields = draft.fields
        self.correcting = fields.get(_CORRECTING)
        if self.wrong_check() is None:
            self.correcting = None
        if _WARM in fields:
            self.set_part_c(_warmth(fields[_WARM]), draft.saved_at)
        bench = self.gather()
        filled = 0
        for entry in self.entries:
            typed = fields.get(entry.quantity, "")
            entry.use(bench)
            if not typed or entry.typed.strip():
                continue
            filled += 1
            entry.part = fields.get(f"{entry.quantity} part") or None
            tool = fields.get(f"{entry.quantity} tool")
            entry.instrument = tool if tool in bench.tools else None
            squeezes = fields.get(f"{entry.quantity} squeezes", "")
            entry.squeezes = int(squeezes) if squeezes.isdecimal() else None
            entry.typed = typed
        if filled:
            age = (self.pitwright.clock() - draft.saved_at).total_seconds() / 60
            self.notify(f"What you typed {minutes_words(age)} ago is back; it is not saved yet")


def _warmth(text: str) -> float | None:
    from pitwright.desk.measure.gauging import read_part_c

    try:
        return read_part_c(text)
    except ValueError:
        return None
