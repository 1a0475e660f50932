"""What is typed on Measure, kept shortly after each key and brought back when it opens again."""

from __future__ import annotations

from textual.timer import Timer

from pitwright.app.screens.measure_form import MeasureForm
from pitwright.desk.wording import minutes_words
from pitwright.store.files import StoreError

__all__ = ["MeasureDrafts"]

_DRAFT_AFTER_S = 0.5
_CORRECTING = "correcting"
_WARM = "part temperature"


class MeasureDrafts(MeasureForm):
    """The draft of the form: ``draft_soon`` at each key, ``keep_draft`` at once, ``restore``."""

    def __init__(self) -> None:
        super().__init__()
        self._restored = False
        self._typed: dict[str, str] = {}
        self._draft_timer: Timer | None = None

    def on_unmount(self) -> None:
        """Keep what is typed when the app closes."""
        self.keep_draft()

    def on_screen_suspend(self) -> None:
        """Keep what is typed when another screen comes up."""
        self.keep_draft()

    @property
    def _draft_name(self) -> str:
        clutch = self.pitwright.clutch
        return "measure" if clutch is None else f"measure {clutch}"

    def note_typed(self) -> None:
        """Take down what is typed; entries are gone by the time the app closes."""
        fields: dict[str, str] = {}
        for entry in self.filled:
            fields[entry.quantity] = entry.typed
            fields[f"{entry.quantity} part"] = entry.part or ""
            fields[f"{entry.quantity} tool"] = entry.instrument or ""
            if entry.squeezes is not None:
                fields[f"{entry.quantity} squeezes"] = str(entry.squeezes)
        if self.correcting is not None:
            fields[_CORRECTING] = self.correcting
        if fields and self.part_c is not None:
            fields[_WARM] = f"{self.part_c:g}"
        self._typed = fields

    def draft_soon(self) -> None:
        """Keep a draft once the keys pause."""
        if not self._restored:
            return
        self.note_typed()
        if self._draft_timer is not None:
            self._draft_timer.stop()
        self._draft_timer = self.set_timer(_DRAFT_AFTER_S, self.keep_draft)

    def keep_draft(self) -> None:
        """Keep what is typed, when it differs from what is kept already."""
        if self._draft_timer is not None:
            self._draft_timer.stop()
            self._draft_timer = None
        if not self._restored or not self.pitwright.session.writable:
            return
        fields = self._typed
        kept = self.weekend.open.drafts.get(self._draft_name)
        typed = {key: text for key, text in fields.items() if text.strip()}
        if typed == (kept.fields if kept is not None else {}):
            return
        try:
            self.pitwright.session.keep_draft(self._draft_name, fields)
        except StoreError as error:
            if self.is_running:
                self.notify(
                    error.strerror or str(error),
                    title="The draft is not kept",
                    severity="error",
                    markup=False,
                )

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
        self._restored = True
        draft = self.weekend.open.drafts.get(self._draft_name)
        if draft is None:
            return
        fields = draft.fields
        self.correcting = fields.get(_CORRECTING)
        if self.wrong_check() is None:
            self.correcting = None
        if _WARM in fields:
            self.set_part_c(_warmth(fields[_WARM]))
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
