"""Measure: every quantity of the card, judged as it is typed, kept as one check."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual import events, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.timer import Timer
from textual.widgets import Input, Static

from pitwright.app.screens.measure_tools import MeasureTools
from pitwright.app.widgets.dialogs import AskLine, Confirm
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.app.widgets.wear_line import WearLine
from pitwright.desk import measure as desk
from pitwright.desk.bench import Bench, gather
from pitwright.desk.forecast import short_line
from pitwright.desk.measure import MeasureField
from pitwright.desk.measure_words import detail_lines, nut_line, saved_words
from pitwright.desk.wear_history import WEARS
from pitwright.desk.wording import day_time, minutes_words
from pitwright.store.files import StoreError

if TYPE_CHECKING:
    from pitwright.weekend.records import Check

__all__ = ["MeasureScreen"]

_DRAFT_AFTER_S = 0.5
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
        "enter_entry",
        "wear",
    }
)


class MeasureScreen(MeasureTools):
    """The measuring form of one clutch."""

    TITLE = "Measure"
    PURPOSE = "Type what the tool reads, repeats with blanks: 10.15 10,18 or 0.4 in"
    HELP_TEXT = """
Type a reading and watch its flag: good, too close to call, or out. Several readings of the
same thing, with blanks between, are better than one. Commas and points both work; inches are
written behind the number: 0.4 in.

Only what you filled in is kept, all of it as one check. A reading that looks like a slip is
asked about first. What you type is safe at once, even if the laptop dies.

In an entry: arrows go up and down, enter goes on, ctrl+z undoes. Escape leaves the entry, and
then the letters below work.

Measure cold and clean. A bell that has just run burns, and the engine stays off.
"""
    CSS_PATH = "measure.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (126, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-short"), (32, "-tall")]  # noqa: RUF012
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
        Binding("e", "correct_last", "Correct last", id="measure.correct",
                tooltip="Correct the last check; the first one stays in the log"),
        Binding("z", "check_zero", "Zero", id="measure.zero",
                tooltip="Note what a tool shows at zero"),
        Binding("up", "move(-1)", "Up", show=False, id="measure.up"),
        Binding("down", "move(1)", "Down", show=False, id="measure.down"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._bench: Bench | None = None
        self._current = ""
        self._correcting: str | None = None
        self._restored = False
        self._typed: dict[str, str] = {}
        self._draft_timer: Timer | None = None
        self._detail_timer: Timer | None = None
        self._entries: dict[str, ReadingEntry] = {}

    def on_mount(self) -> None:
        """Start in the first entry, so that a reading can be typed at once."""
        self.call_after_refresh(self.action_enter_entry)

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

    def _make_entries(self) -> list[ReadingEntry]:
        quantities = self.weekend.card(self.pitwright.clutch).quantities
        self._entries = {k: ReadingEntry(k, id=f"entry-{_slug(k)}") for k in quantities}
        return self.entries

    # Showing

    @property
    def entries(self) -> list[ReadingEntry]:
        """The entries, in the card's order."""
        return list(self._entries.values())

    @property
    def bench(self) -> Bench:
        """The bench as last gathered."""
        if self._bench is None:
            self._bench = self._gather()
        return self._bench

    def _gather(self) -> Bench:
        return gather(
            self.weekend,
            self.pitwright.clock(),
            self.pitwright.clutch,
            without=self._correcting,
        )

    def show_weekend(self) -> None:
        """Give every entry the log as it stands now."""
        wanted = list(self.weekend.card(self.pitwright.clutch).quantities)
        if list(self._entries) != wanted:
            self._remount()
            return
        self._bench = self._gather()
        for entry in self.entries:
            entry.use(self._bench)
        if not self._restored:
            self._restored = True
            self._restore()
        self._show_banner()
        self.show_detail()

    @work(exclusive=True, group="remount")
    async def _remount(self) -> None:
        """Lay the form out afresh, when the card was edited or another clutch chosen."""
        self._keep_draft()
        form = self.query_one("#form")
        await form.remove_children()
        await form.mount_all(self._make_entries())
        self._restored = False
        self._correcting = None
        self.show_weekend()

    def _entry(self, quantity: str) -> ReadingEntry | None:
        return self._entries.get(quantity)

    @property
    def current(self) -> ReadingEntry | None:
        """The entry in hand: the one with the cursor, or that had it last."""
        return self._entry(self._current) or next(iter(self.entries), None)

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
        if self._restored:
            self._draft_soon()

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
        first, rest = detail_lines(entry.field, entry.judged)
        self.query_one("#about", Static).update(Content("\n".join(first)))
        self.query_one("#more", Static).update(Content("\n".join(rest)))
        self._show_nut(entry)
        self._ask_wear(entry.field)

    def _ask_wear(self, field: MeasureField) -> None:
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
        shown = entry.quantity in ("recess", "free_length")
        panel.set_class(shown, "shown")
        if not shown:
            return
        spring = self._entry("free_length")
        typed = None
        if spring is not None and spring.field is not None and not spring.doubtful:
            fitted = spring.field.part == self.bench.fitted_part("free_length")
            typed = spring.judged.value_mm if fitted else None
        panel.update(Content(nut_line(self.weekend, typed, self.pitwright.clutch)))

    def _show_banner(self) -> None:
        banner = self.query_one("#banner", Static)
        banner.set_class(self._correcting is not None, "shown")
        check = self._wrong_check()
        if check is not None:
            when = day_time(check.happened_at, self.weekend.event.zone)
            banner.update(Content(f"Correcting the check of {when}: save keeps it, c gives it up"))

    def on_unmount(self) -> None:
        """Keep what is typed when the app closes."""
        self._keep_draft()

    def on_screen_suspend(self) -> None:
        """Keep what is typed when another screen comes up."""
        self._keep_draft()

    # Drafts

    @property
    def _draft_name(self) -> str:
        clutch = self.pitwright.clutch
        return "measure" if clutch is None else f"measure {clutch}"

    def _note_typed(self) -> None:
        """Take down what is typed; entries are gone by the time the app closes."""
        fields: dict[str, str] = {}
        for entry in self.entries:
            if entry.typed.strip():
                fields[entry.quantity] = entry.typed
                fields[f"{entry.quantity} part"] = entry.part or ""
                fields[f"{entry.quantity} tool"] = entry.instrument or ""
        if self._correcting is not None:
            fields["correcting"] = self._correcting
        self._typed = fields

    def _draft_soon(self) -> None:
        self._note_typed()
        if self._draft_timer is not None:
            self._draft_timer.stop()
        self._draft_timer = self.set_timer(_DRAFT_AFTER_S, self._keep_draft)

    def _keep_draft(self) -> None:
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

    def _restore(self) -> None:
        draft = self.weekend.open.drafts.get(self._draft_name)
        if draft is None:
            return
        self._correcting = draft.fields.get("correcting")
        if self._wrong_check() is None:
            self._correcting = None
        self._bench = self._gather()
        filled = 0
        for entry in self.entries:
            typed = draft.fields.get(entry.quantity, "")
            entry.use(self._bench)
            if not typed:
                continue
            filled += 1
            entry.part = draft.fields.get(f"{entry.quantity} part") or None
            tool = draft.fields.get(f"{entry.quantity} tool")
            entry.instrument = tool if tool in self._bench.tools else None
            entry.typed = typed
        if filled:
            age = (self.pitwright.clock() - draft.saved_at).total_seconds() / 60
            self.notify(f"What you typed {minutes_words(age)} ago is back; it is not saved yet")

    # Moving about

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer letter keys outside an entry only."""
        typing = isinstance(self.focused, Input)
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
        elif any(e.typed.strip() for e in entries):
            self._save(ask=True)

    def on_reading_entry_move_asked(self, event: ReadingEntry.MoveAsked) -> None:
        """Move what was typed into the wrong entry to the right one, if that is free."""
        event.stop()
        target = self._entry(event.to)
        if target is None:
            return
        if target.typed.strip():
            self.notify("There is something typed there already", severity="warning")
            return
        target.typed = event.entry.typed
        event.entry.typed = ""
        target.line.focus()

    # Saving

    def action_save(self) -> None:
        """Keep all that is filled in as one check."""
        self._save(ask=False)

    def action_save_typed(self) -> None:
        """Keep all that is filled in, from within an entry."""
        self._save(ask=False)

    @work(exclusive=True, group="save")
    async def _save(self, *, ask: bool) -> None:
        filled = [e for e in self.entries if e.typed.strip()]
        if not filled and self._correcting is None:
            self.notify("Nothing is typed yet")
            return
        for entry in filled:
            if not await self._ready(entry):
                return
        check = self._wrong_check()
        if check is not None:
            await self._save_correction(check)
            return
        if ask:
            count = "this reading" if len(filled) == 1 else f"these {len(filled)} readings"
            if not await self.app.push_screen_wait(Confirm(f"Save {count} as one check?")):
                return
        judged = [e.finished() for e in filled]
        record = desk.check_record(judged, now=self.pitwright.clock(), clutch=self.bench.card.id)
        if self.pitwright.keep(record) is not None:
            self._emptied(filled)
            self._tell_saved(judged)

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
        self._correcting = None
        self._note_typed()
        self._keep_draft()
        self.show_weekend()

    def _tell_saved(self, judged: list[desk.Judged]) -> None:
        words, is_out = saved_words(judged)
        self.notify(words, severity="warning" if is_out else "information", markup=False, timeout=8)

    # Correcting

    def _wrong_check(self) -> Check | None:
        from pitwright.weekend.records import Check

        return next(
            (
                r
                for r in self.weekend.log.records
                if r.id == self._correcting and isinstance(r, Check)
            ),
            None,
        )

    def action_correct_last(self) -> None:
        """Put the last check back into the entries, to be corrected."""
        if any(e.typed.strip() for e in self.entries):
            self.notify("Save or clear what is typed first", severity="warning")
            return
        wrong = self.bench.last_check
        if wrong is None:
            self.notify("There is no check to correct yet")
            return
        self._correcting = wrong.id
        self.show_weekend()
        for reading in reversed(wrong.readings):
            entry = self._entry(reading.quantity)
            if entry is None:
                continue
            entry.part = reading.part
            entry.instrument = (
                reading.instrument if reading.instrument in self.bench.tools else None
            )
            entry.typed = reading.typed or " ".join(f"{v:g}" for v in reading.values_mm)
            entry.accept()
            entry.line.focus()

    async def _save_correction(self, wrong: Check) -> None:
        judged = [e.finished() for e in self.entries]
        title = "What was wrong with it?"
        if not any(one.state == "read" for one in judged):
            title = "Nothing is left, so the whole check is taken back. Why?"
        reason = await self.app.push_screen_wait(
            AskLine(title, check=lambda t: "" if t.strip() else "a word or two, for later")
        )
        if reason is None:
            return
        record = desk.correction_record(
            wrong, judged, now=self.pitwright.clock(), reason=reason.strip()[:200]
        )
        if self.pitwright.keep(record) is not None:
            self._emptied([e for e in self.entries if e.typed.strip()])
            self.notify("Corrected; the first one stays in the log")

    # Keys outside an entry

    def action_clear(self) -> None:
        """Empty the entry in hand; give a correction up."""
        if self._correcting is not None:
            self._emptied(self.entries)
            self.notify("Correction given up; the check stays as it was")
        elif self.current is not None:
            self.current.clear()


def _slug(key: str) -> str:
    """Return a quantity's key as part of a widget's id."""
    return "".join(sign if sign.isalnum() else "-" for sign in key)
