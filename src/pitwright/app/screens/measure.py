"""Measure: every quantity of the card, judged as it is typed, kept as one check."""

from __future__ import annotations

from typing import ClassVar

from textual import events, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.timer import Timer
from textual.widgets import Input, Static

from pitwright.app.screens.measure_saving import MeasureSaving
from pitwright.app.widgets.decimals import lead_in
from pitwright.app.widgets.flag import GLYPHS, flag_style
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.app.widgets.wear_line import WearLine
from pitwright.desk.measure.gap_line import gap_line
from pitwright.desk.measure.measure import MeasureField
from pitwright.desk.measure.words import detail_lines, nut_line, past_rows, to_reckon_with
from pitwright.desk.wear.forecast import short_line
from pitwright.desk.wear.history import WEARS
from pitwright.desk.wording import day_time

__all__ = ["MeasureScreen"]

_COOL_CHECK_S = 30.0
_DETAIL_AFTER_S = 0.1
_IN_ENTRY = frozenset({"save_typed", "leave_entry"})
_OUT_OF_ENTRY = frozenset(
    {
        "save",
        "pick_instrument",
        "pick_part",
        "clear",
        "correct_last",
        "check_zero",
        "warm_parts",
        "enter_entry",
        "wear",
    }
)


class MeasureScreen(MeasureSaving):
    """The measuring form of one clutch."""

    TITLE = "Measure"
    PURPOSE = "Type what the tool reads, repeats with blanks: 10.15 10,18 or 0.4 in"
    HELP_TEXT = """
Type a reading and watch its flag: good, too close to call, or out. Several readings of the
same thing, with blanks between, are better than one; on a keypad + or * parts them. Commas and
points both work; inches are written behind the number: 0.4 in.

Only what you filled in is kept, all of it as one check. A reading that looks like a slip is
asked about first. What you type is safe at once, even if the laptop dies.

In an entry: arrows go up and down, enter goes on, ctrl+z undoes. Escape leaves the entry, and
then the letters below work.

Measure cold and clean. A bell that has just run burns, and the engine stays off. If it must be
warm, t takes its temperature and sizes are given at 20 °C. With a new spring, n says how often
it was squeezed, so that what the squeezes take off is not counted as wear.
"""
    CSS_PATH = "measure.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (96, "-middle"), (126, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-short"), (32, "-tall"), (48, "-lofty")]  # noqa: RUF012
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave_entry", "Letter keys", id="measure.leave",
                tooltip="Leave the entry, so that letters act as keys"),
        Binding("ctrl+s", "save_typed", "Save", id="measure.save-typed",
                tooltip="Keep all that is filled in as one check"),
        Binding("s", "save", "Save", id="measure.save",
                tooltip="Keep all that is filled in as one check"),
        Binding("enter", "enter_entry", "Type", id="measure.enter",
                tooltip="Back into the entry"),
        Binding("i", "pick_instrument", "Tool", id="measure.instrument",
                tooltip="Choose the tool this quantity is measured with"),
        Binding("p", "pick_part", "Part", id="measure.part",
                tooltip="Choose which part is measured, fitted or not"),
        Binding("c", "clear", "Clear", id="measure.clear",
                tooltip="Empty the entry; with a correction open, give it up"),
        Binding("e", "correct_last", "Correct", id="measure.correct",
                tooltip="Correct the last check; the first one stays in the log"),
        Binding("z", "check_zero", "Zero", id="measure.zero",
                tooltip="Note what a tool shows at zero"),
        Binding("t", "warm_parts", "Warm", id="measure.warm",
                tooltip="Say how warm the parts are; sizes are then given at 20 °C"),
        Binding("n", "squeezes", "Squeezes", id="measure.squeezes",
                tooltip="Say how often the spring was squeezed before this reading"),
        # The wear line stands on this screen; its key gives up its room in a full footer.
        Binding("w", "wear", "Wear", show=False, id="measure.wear",
                tooltip="Will spring and shoes last?"),
        Binding("up", "move(-1)", "Up", show=False, id="measure.up"),
        Binding("down", "move(1)", "Down", show=False, id="measure.down"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._detail_timer: Timer | None = None

    def on_mount(self) -> None:
        """Start in the first entry, so that a reading can be typed at once."""
        self.call_after_refresh(self.action_enter_entry)
        self.set_interval(_COOL_CHECK_S, self._cool)

    def compose_body(self) -> ComposeResult:
        """Lay out one entry a quantity, and the panel about the one in hand."""
        yield Static("", id="banner", markup=False)
        with Vertical(id="measure"):
            with VerticalScroll(id="form", can_focus=False):
                yield from self._make_entries()
            with VerticalScroll(id="detail", can_focus=False):
                yield Static("", id="about", markup=False)
                yield Static("", id="nut-advice", markup=False)
                yield WearLine(id="wear-line")
                yield Static("", id="more", markup=False)
                yield Static("", id="past", markup=False)

    def _make_entries(self) -> list[ReadingEntry]:
        quantities = self.weekend.card(self.pitwright.clutch).quantities
        self._entries = {k: ReadingEntry(k, id=f"entry-{_slug(k)}") for k in quantities}
        return self.entries

    # Showing

    def show_weekend(self) -> None:
        """Give every entry the log as it stands now."""
        wanted = list(self.weekend.card(self.pitwright.clutch).quantities)
        if list(self._entries) != wanted:
            self._remount()
            return
        self.restore()
        self.cool_down()
        bench = self.gather()
        for entry in self.entries:
            entry.use(bench)
        self._show_banner()
        self.show_detail()

    @work(exclusive=True, group="remount")
    async def _remount(self) -> None:
        """Lay the form out afresh, when the card was edited or another clutch chosen."""
        self.keep_draft()
        form = self.query_one("#form")
        await form.remove_children()
        await form.mount_all(self._make_entries())
        self.forget_restored()
        self.correcting = None
        self.show_weekend()

    def on_descendant_focus(self, event: events.DescendantFocus) -> None:
        """Speak of the entry the cursor is in."""
        entry = next((a for a in event.widget.ancestors if isinstance(a, ReadingEntry)), None)
        if entry is None:
            return
        self._current = entry.quantity
        for each in self.entries:
            each.set_class(each is entry, "current")
        self.show_detail()

    def on_reading_entry_judged(self, event: ReadingEntry.Judged) -> None:
        """Follow what is typed in the panel, and keep a draft shortly after."""
        event.stop()
        if event.entry is self.current:
            self._show_detail_soon()
        self.keep_draft()

    def _show_detail_soon(self) -> None:
        """Show the panel once the keys pause: it needs a layout, which no key may wait for."""
        if self._detail_timer is not None:
            self._detail_timer.stop()
        self._detail_timer = self.set_timer(_DETAIL_AFTER_S, self.show_detail)

    def show_detail(self) -> None:
        """Show what there is to know of the entry in hand."""
        entry = self.current
        if entry is None or entry.field is None:
            return
        first, rest = detail_lines(entry.field, entry.judged, entry.squeezes)
        self._tell("#about", "\n".join(first))
        self._tell("#more", "\n".join(rest))
        if self.has_class("-wide"):
            self._show_past(entry.field)
        self._show_nut(entry)
        self._ask_wear(entry, entry.field)

    def _show_past(self, field: MeasureField) -> None:
        rows = past_rows(self.bench, field)
        lines = [Content.styled(f"Readings of {field.part_label or 'this'}", "$primary bold")]
        for when, size, word in rows:
            mark = Content.styled(f"{GLYPHS[word]} {word}", flag_style(word)) if word else ""
            lines.append(Content.assemble(f"{when}  {lead_in(size, 2):<18}", mark))
        self._tell("#past", Content("\n").join(lines) if rows else Content(""))

    def _ask_wear(self, entry: ReadingEntry, field: MeasureField) -> None:
        typed = entry.judged
        a_slip = typed.slip is not None and typed.slip.explained and entry.doubtful
        if field.key in WEARS.values() and typed.word == "out" and not a_slip:
            # What was kept may leave it minutes; what is typed leaves it none.
            self.query_one(WearLine).say(f"Out as typed: {typed.advice or typed.distance}")
            return
        about = f"{field.key} {field.part}" if field.key in WEARS.values() else ""
        self.query_one(WearLine).ask(
            about,
            self.weekend,
            self.pitwright.clock(),
            self.pitwright.clutch,
            lambda weekend, now, clutch: short_line(weekend, field.key, now, clutch, field.part),
        )

    def _show_nut(self, entry: ReadingEntry) -> None:
        panel = self.query_one("#nut-advice", Static)
        gap = gap_line(
            self.weekend, self.pitwright.clutch, entry.quantity, to_reckon_with(entry.judged)
        )
        moves_nut = entry.quantity in ("recess", "free_length")
        panel.set_class(moves_nut or bool(gap), "shown")
        if not moves_nut:
            self._tell("#nut-advice", gap)
            return
        spring, recess = self.entry("free_length"), self.entry("recess")
        if spring is not None and spring.part not in (None, self.bench.fitted_part("free_length")):
            spring = None  # a spare's length moves no nut
        typed = [e for e in (spring, recess) if e is not None]
        line = nut_line(
            self.weekend,
            self.pitwright.clutch,
            spring=spring.judged if spring is not None else None,
            recess=recess.judged if recess is not None else None,
            doubtful=any(e.judged.slip is not None and e.doubtful for e in typed),
        )
        self._tell("#nut-advice", line)

    def _tell(self, where: str, text: str | Content) -> None:
        panel = self.query_one(where, Static)
        content = text if isinstance(text, Content) else Content(text)
        # each update lays the screen out afresh, and a key may be waiting behind it
        if panel.content != content:
            panel.update(content)

    def _show_banner(self) -> None:
        banner = self.query_one("#banner", Static)
        check, warm = self.wrong_check(), self.part_c is not None
        told = f"Parts at {self.part_c:g} °C: sizes are given at 20 °C" if warm else ""
        if check is not None:
            when = day_time(check.happened_at, self.weekend.event.zone)
            also = f" (parts at {self.part_c:g} °C)" if warm else ""
            told = f"Correcting the check of {when}{also}: save keeps it, c gives it up"
        # it stands in place of the purpose, so that the form keeps its room
        banner.set_class(bool(told), "shown")
        self.query_one("#purpose").display = not told
        banner.update(Content(told))

    def _cool(self) -> None:
        if self.cool_down():
            self.show_weekend()
            self.notify("The parts are taken as cold again")

    # Moving about

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer letter keys outside an entry only."""
        typing = isinstance(self.focused, Input)
        if action == "squeezes":
            return not typing and self.current is not None and self.of_spring(self.current)
        if action in _OUT_OF_ENTRY:
            return not typing
        if action in _IN_ENTRY:
            return typing
        return True

    def action_leave_entry(self) -> None:
        """Leave the entry, so that letters act as keys."""
        super().action_leave_entry()
        self.refresh_bindings()

    def action_enter_entry(self) -> None:
        """Go back into the entry in hand."""
        if self.current is not None:
            self.current.line.focus()

    def action_move(self, step: int) -> None:
        """Go to the next or the previous entry."""
        entries = self.entries
        if self.current is not None:
            at = entries.index(self.current) + step
            entries[max(0, min(at, len(entries) - 1))].line.focus()

    def on_reading_entry_submitted(self, event: ReadingEntry.Submitted) -> None:
        """Go on to the next entry; offer to save behind the last one."""
        event.stop()
        entries = self.entries
        at = entries.index(event.entry)
        if at + 1 < len(entries):
            entries[at + 1].line.focus()
        elif self.filled:
            self.save(ask=True)

    def on_reading_entry_move_asked(self, event: ReadingEntry.MoveAsked) -> None:
        """Move what was typed into the wrong entry to the right one, if that is free."""
        event.stop()
        target = self.entry(event.to)
        if target is None:
            return
        if target.typed.strip():
            self.notify("There is something typed there already", severity="warning")
            return
        target.typed = event.entry.typed
        event.entry.typed = ""
        target.line.focus()


def _slug(key: str) -> str:
    """Return a quantity's key as part of a widget's id."""
    return "".join(sign if sign.isalnum() else "-" for sign in key)
