"""One quantity to be measured: its entry line with the verdict beside it at every key."""

from __future__ import annotations

from dataclasses import dataclass, replace

from textual import work
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, Static

from pitwright.app.standing import Standing
from pitwright.app.widgets.decimals import lead_in
from pitwright.app.widgets.flag import GLYPHS, flag
from pitwright.app.widgets.reading_input import ReadingInput
from pitwright.app.widgets.slip_dialog import AskSlip, SlipAnswer
from pitwright.desk.measure import judged as desk
from pitwright.desk.measure.bench import Bench
from pitwright.desk.measure.judging import judge_on
from pitwright.desk.measure.measure import MeasureField, field_on

__all__ = ["ReadingEntry"]

_WHOLE = 2  # digits before the point: nothing at a clutch is a hundred millimetres


class ReadingEntry(Standing, Vertical):
    """One quantity: label, entry line, flag, value; below it the last value and what to do.

    Give it a bench with ``use`` before it is shown and whenever the weekend has changed. While
    typing ``judged`` follows each key; ``finished`` takes the entry as it stands, for keeping.
    ``squeezes`` is how often a spring was squeezed before, None when nobody said.
    """

    DEFAULT_CSS = """
    ReadingEntry { height: 2; }
    ReadingEntry .top, ReadingEntry .below { height: 1; }
    ReadingEntry .label { width: 24; padding: 0 1; }
    ReadingEntry ReadingInput { width: 18; }
    ReadingEntry .flag { width: 21; padding: 0 1; }
    ReadingEntry .shown { width: 1fr; }
    ReadingEntry .last { width: 34; padding: 0 1 0 3; color: $foreground 65%; }
    ReadingEntry .told { width: 1fr; color: $foreground 80%; }
    ReadingEntry Static { text-wrap: nowrap; text-overflow: ellipsis; }
    ReadingEntry.current .label { text-style: bold; color: $primary; }
    """

    @dataclass
    class Judged(Message):
        """The entry changed and was judged."""

        entry: ReadingEntry
        judged: desk.Judged

        @property
        def control(self) -> ReadingEntry:
            """The entry, for handlers that select one."""
            return self.entry

    @dataclass
    class Submitted(Message):
        """Enter was pressed on an entry that is empty or can be kept; any doubt is settled."""

        entry: ReadingEntry

        @property
        def control(self) -> ReadingEntry:
            """The entry, for handlers that select one."""
            return self.entry

    @dataclass
    class MoveAsked(Message):
        """What was typed belongs to another quantity, and the user wants it moved there."""

        entry: ReadingEntry
        to: str

        @property
        def control(self) -> ReadingEntry:
            """The entry, for handlers that select one."""
            return self.entry

    def __init__(self, quantity: str, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self.quantity = quantity
        self._bench: Bench | None = None
        self._part: str | None = None
        self._instrument: str | None = None
        self._accepted: str | None = None
        self.squeezes: int | None = None
        self._judged = desk.Judged("empty", quantity, quantity)
        self._field: MeasureField | None = None
        # Asked for at every key by everything that follows what is typed: not searched for.
        self._line = ReadingInput()

    def compose(self) -> ComposeResult:
        """Lay out the two lines."""
        with Horizontal(classes="top"):
            yield Static("", classes="label", markup=False)
            yield self._line
            yield Static("", classes="flag", markup=False)
            yield Static("", classes="shown", markup=False)
        with Horizontal(classes="below"):
            yield Static("", classes="last", markup=False)
            yield Static("", classes="told", markup=False)

    def on_mount(self) -> None:
        """Show the bench given before the entry was on screen."""
        self._show_field()

    # What is measured, and with what

    def use(self, bench: Bench) -> None:
        """Take a fresh bench and judge again what is typed."""
        self._bench = bench
        if self._instrument not in bench.tools:
            self._instrument = None
        self._show_field()

    @property
    def field(self) -> MeasureField | None:
        """What is measured here, None before a bench was given."""
        return self._field

    @property
    def part(self) -> str | None:
        """The part chosen, None for the one that is fitted."""
        return self._part

    @part.setter
    def part(self, part: str | None) -> None:
        self._part = part
        self._accepted = None
        self._show_field()

    @property
    def instrument(self) -> str | None:
        """The instrument chosen, None for the one used last."""
        return self._instrument

    @instrument.setter
    def instrument(self, instrument: str | None) -> None:
        self._instrument = instrument
        self._accepted = None
        self._show_field()

    # What is typed

    @property
    def line(self) -> ReadingInput:
        """The entry line."""
        return self._line

    @property
    def typed(self) -> str:
        """What is typed."""
        return self.line.value

    @typed.setter
    def typed(self, text: str) -> None:
        self.line.value = text
        self.line.cursor_position = len(text)

    @property
    def judged(self) -> desk.Judged:
        """What is typed, judged as a number that may still grow."""
        return self._judged

    @property
    def doubtful(self) -> bool:
        """Tell whether a likely slip has not been answered yet."""
        return self.finished().slip is not None and self._accepted != self.typed

    def finished(self) -> desk.Judged:
        """Return what is typed, judged as it stands."""
        return self._judge(final=True)

    def accept(self) -> None:
        """Take the doubt about what is typed as answered."""
        self._accepted = self.typed
        self._judge_live()

    def clear(self) -> None:
        """Empty the line and forget its undo, the part and the instrument chosen."""
        self.line.value = ""
        self.line.forget_steps()
        self._part = self._instrument = self._accepted = self.squeezes = None
        self._show_field()

    def _judge(self, *, final: bool) -> desk.Judged:
        if self._bench is None:
            return self._judged
        return judge_on(
            self._bench,
            self.quantity,
            self.typed,
            part=self._part,
            instrument=self._instrument,
            final=final,
        )

    def on_input_changed(self, event: Input.Changed) -> None:
        """Judge at every key."""
        event.stop()
        if self._accepted is not None and self._accepted != event.value:
            self._accepted = None
        self._judge_live()

    def _judge_live(self) -> None:
        self._judged = self._judge(final=False)
        self._show_judged(self._judged)
        self.post_message(self.Judged(self, self._judged))

    def on_descendant_blur(self) -> None:
        """Take the entry as it stands once the cursor has left it."""
        if self.typed.strip():
            self._judged = self._judge(final=True)
            self._show_judged(self._judged)
            self.post_message(self.Judged(self, self._judged))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Settle doubts, then pass on that the entry is done."""
        event.stop()
        self._submit()

    @work(exclusive=True)
    async def _submit(self) -> None:
        answer = await self.settle_slip()
        if answer == "edit":
            self.line.focus()
            return
        judged = self.finished()
        if judged.state in ("empty", "read"):
            self.post_message(self.Submitted(self))
        else:
            self._show_judged(judged)

    async def settle_slip(self) -> SlipAnswer:
        """Ask about a likely slip; must run in a worker. ``keep`` when there is no doubt."""
        judged = self.finished()
        if judged.slip is None or self._accepted == self.typed:
            return "keep"
        other = ""
        if self._bench is not None and judged.slip.belongs_to is not None:
            other = self._bench.card.quantities[judged.slip.belongs_to].label
        answer = await self.app.push_screen_wait(
            AskSlip(
                judged.label,
                self.typed.strip(),
                judged.slip,
                other,
                may_keep=judged.reading is not None,
                verdict=self._verdict(judged),
            )
        )
        if answer == "keep":
            self.accept()
        elif answer == "take" and judged.slip.replacement is not None:
            self.typed = judged.slip.replacement
            # the suggestion was seen and chosen: it is not asked about again
            self._accepted = judged.slip.replacement
        elif answer == "move" and judged.slip.belongs_to is not None:
            self.post_message(self.MoveAsked(self, judged.slip.belongs_to))
            return "edit"
        return answer

    # Showing

    def _verdict(self, judged: desk.Judged) -> Content | None:
        """Return the verdict to show beside a question that does not doubt the number itself."""
        if judged.word is None or judged.slip is None or judged.slip.explained:
            return None
        return Content("\n").join([flag(judged.word), Content(f"{judged.size}, {judged.told()}")])

    def _show_field(self) -> None:
        if self._bench is None:
            return
        field = field_on(self._bench, self.quantity, self._part, self._instrument)
        self._field = field
        self._put(".label", Content(field.label))
        last = field.last
        if last is None:
            words = "not measured yet"
        else:
            glyph = f"{GLYPHS.get(last.word or '', ' ')} "
            value = lead_in(last.shown, _WHOLE).replace(" mm", "")
            doubt = " ?" if last.overtaken else ""
            # a change of nothing carries no sign; its point stands under the others all the same
            change = last.change.replace(" mm", "")
            change = change if not change or change[0] in "+-" else f" {change}"
            words = f"last {glyph}{value + doubt:<14} {change}".rstrip()
        self._put(".last", Content(words))
        self._judge_live()

    def _show_judged(self, judged: desk.Judged) -> None:
        doubtful = judged.slip is not None and self._accepted != self.typed
        if not doubtful and judged.slip is not None:
            judged = replace(judged, slip=None)
        if judged.slip is not None and judged.slip.explained:
            self._put(".flag", Content.styled("? a slip", "$warning"))
        elif judged.state == "refused":
            self._put(".flag", Content.styled("! not a reading", "$warning"))
        elif judged.word is not None:
            self._put(".flag", flag(judged.word))
        elif judged.state == "partial":
            self._put(".flag", Content.styled("…", "$foreground 65%"))
        elif judged.state == "read":
            self._put(".flag", Content.styled("no limit", "$foreground 65%"))
        else:
            self._put(".flag", Content(""))
        self._put(".shown", Content(lead_in(judged.shown, _WHOLE)))
        self._put(".told", Content(judged.in_few_words() or self._standing()))

    def _standing(self) -> str:
        """Return what stands while nothing is typed: the limits, and what the last value asks."""
        if self._field is None:
            return ""
        last = self._field.last
        asks = last.advice if last is not None else ""
        return f"{asks} ({self._field.limits})" if asks else self._field.limits

    def _put(self, where: str, content: Content) -> None:
        cell = self.query_one(where, Static)
        # what stands there already need not be painted again
        if cell.content != content:
            # every cell has a fixed size, so no layout is needed at each key
            cell.update(content, layout=False)
