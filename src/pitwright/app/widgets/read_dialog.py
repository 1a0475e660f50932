"""One reading asked for over a screen, with the entry of the Measure screen."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from pitwright.app.standing import Dialog
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.judged import Judged
from pitwright.desk.measure.measure import field_on

__all__ = ["ReadDialog"]


class ReadDialog(Dialog[Judged | None]):
    """Ask for one reading; the result is what was typed, judged, or None when left.

    ``on_typed`` is told every change, so that the caller can keep a draft.
    """

    DEFAULT_CSS = """
    ReadDialog ReadingEntry .label { display: none; }
    ReadDialog ReadingEntry .last { padding: 0 1; }
    ReadDialog ReadingInput { width: 26; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Back", id="dialog.back")
    ]

    def __init__(
        self,
        bench: Bench,
        quantity: str,
        *,
        typed: str = "",
        advice: str = "",
        on_typed: Callable[[str], None] = lambda _text: None,
    ) -> None:
        super().__init__()
        self._bench = bench
        self._quantity = quantity
        self._typed = typed
        self._advice = advice
        self._on_typed = on_typed
        self._said_of = ""

    def compose(self) -> ComposeResult:
        """Lay out what is measured, how, and the entry."""
        field = field_on(self._bench, self._quantity)
        title = field.label + (f" of {field.part_label}" if field.part_label else "")
        with Vertical(classes="dialog"):
            yield Static(
                Content(f"{title}, with the {field.instrument_label.lower()}"), classes="heading"
            )
            if field.how:
                yield Static(Content(field.how), classes="quiet")
            for note in field.instrument_notes:
                yield Static(Content(note), classes="caution")
            yield ReadingEntry(self._quantity, id="reading")
            yield Static("", classes="trouble", markup=False)
            if self._advice:
                yield Static(Content(self._advice), classes="quiet")
            yield Static(
                "several readings with blanks between; enter keeps it, escape goes back",
                classes="hint",
            )

    def on_mount(self) -> None:
        """Put back what was typed before, and wait for more."""
        entry = self.query_one(ReadingEntry)
        entry.use(self._bench)
        entry.typed = self._typed
        entry.line.cursor_position = len(self._typed)
        entry.line.focus()

    def on_reading_entry_judged(self, event: ReadingEntry.Judged) -> None:
        """Pass on what is typed; what was said of the text before no longer holds."""
        event.stop()
        self._on_typed(event.entry.typed)
        if event.entry.typed != self._said_of:
            self._say("")

    def on_reading_entry_move_asked(self, event: ReadingEntry.MoveAsked) -> None:
        """Say where it belongs; this question takes one reading only."""
        event.stop()
        label = self._bench.card.quantities[event.to].label
        self._say(f"Leave with escape and measure {label} at its own step or on Measure")

    def on_reading_entry_submitted(self, event: ReadingEntry.Submitted) -> None:
        """Answer with the reading, when there is one."""
        event.stop()
        judged = event.entry.finished()
        if judged.state == "empty":
            self._say("Nothing is typed yet")
        elif judged.needs_part:
            self._say("Record first which part is fitted: escape, then f")
        else:
            self.dismiss(judged)

    def _say(self, trouble: str) -> None:
        self._said_of = self.query_one(ReadingEntry).typed
        self.query_one(".trouble", Static).update(Content(trouble))
