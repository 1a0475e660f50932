"""Shims: the tin, the measured play, and the stacks that bring both places nearest."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Literal

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.widgets.dialogs import AskLine, Confirm
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.app.widgets.sheet import rows
from pitwright.desk.measure import measure
from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.words import saved_words
from pitwright.desk.stock import shim_words
from pitwright.desk.stock import shims as desk
from pitwright.desk.stock.shim_form import read_counted, shim_trouble
from pitwright.desk.stock.stock import shim_change

if TYPE_CHECKING:
    from pitwright.desk.stock.shims import ShimDesk, StackAdvice

__all__ = ["ShimsScreen"]

_QUANTITY = "end_play"
_DRAFT = "shims"
_FEWEST, _MOST = 5, 12  # stacks in the list
_OUT_OF_ENTRY = frozenset({"fit_stack", "change_tin", "enter_entry"})


class ShimsScreen(WeekendScreen):
    """The shims of one clutch."""

    TITLE = "Shims"
    PURPOSE = "Type the end play as measured; pick a stack and press f once it is in."
    HELP_TEXT = """
Type the end play with the shims that are in now, and the best stacks from your tin are listed:
those that put bell height and end play both in band, nearest the target, with the fewest shims.
Shims that are in now may be moved, so they count as yours to use.

Enter keeps what you typed. In the list, f records the stack as fitted: its shims leave the tin,
those taken out go back. b adds shims you bought, n sets what you counted in the tin.

The end play is measured cold, and some of it goes when hot. Heat usually takes under 0.04 mm; the
rest of the customary 0.2 to 0.3 is for bearings, dirt and measuring (common practice, no source).

The bell burns after a run. The retaining screw can snap in the crank: the maker's torque rules.
"""
    CSS_PATH = "shims.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (110, "-usual"), (180, "-broad")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-short"), (32, "-tall")]  # noqa: RUF012
    AUTO_FOCUS = "#stacks"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave_entry", "Leave entry; enter keeps it", id="shims.leave",
                tooltip="Leave the entry, so that letters act as keys"),
        Binding("m", "enter_entry", "Measure", id="shims.enter",
                tooltip="Type the end play as measured"),
        Binding("f", "fit_stack", "Fitted", id="shims.fit",
                tooltip="Record the stack in hand as fitted; its shims leave the tin"),
        Binding("b", "change_tin('bought')", "Bought", id="shims.bought",
                tooltip="Add shims you bought to the tin"),
        Binding("n", "change_tin('counted')", "Counted", id="shims.counted",
                tooltip="Set how many of a thickness you counted in the tin"),
        Binding("x", "change_tin('lost')", "Lost", id="shims.lost",
                tooltip="Take shims that are lost or bent out of the tin"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._found: ShimDesk | None = None
        self._restored = False

    def compose_body(self) -> ComposeResult:
        """Lay out tin, play, entry and list from top to bottom."""
        with Vertical(id="shims"):
            with Vertical(id="have"):
                yield Static("", id="tin", markup=False)
                yield Static("", id="fitted", markup=False)
                yield ReadingEntry(_QUANTITY, id="entry")
                yield Static("", id="play", markup=False)
            with Vertical(id="choice"):
                yield Static("", id="head", markup=False)
                yield Options(id="stacks")
                yield Static("", id="change", markup=False)
                yield Static("", id="notes", markup=False)

    # Showing

    @property
    def found(self) -> ShimDesk | None:
        """The shims as shown."""
        return self._found

    @property
    def entry(self) -> ReadingEntry:
        """The entry of the end play."""
        return self.query_one(ReadingEntry)

    @property
    def _has_entry(self) -> bool:
        return _QUANTITY in self.weekend.card(self.pitwright.clutch).quantities

    def show_weekend(self) -> None:
        """Show tin, play and stacks as they stand now."""
        self.entry.display = self._has_entry
        if self._has_entry:
            self.entry.use(gather(self.weekend, self.pitwright.clock(), self.pitwright.clutch))
        # Who only reads leaves what is being typed elsewhere alone, until writing is picked up.
        if not self._restored and self.pitwright.session.writable:
            self._restored = True
            draft = self.pitwright.drafts.fields(_DRAFT)
            if draft and not self.entry.typed.strip():
                self.entry.typed = draft.get(_QUANTITY, "")
        self._show()

    def _show(self) -> None:
        judged = self.entry.judged
        typed = judged.value_mm if judged.state == "read" and not self.entry.doubtful else None
        found = desk.shim_desk(
            self.weekend,
            clutch=self.pitwright.clutch,
            measured_mm=typed,
            keep=min(max(self.size.height - 19, _FEWEST), _MOST),
        )
        self._found = found
        # The entry paints its cells at each key without a layout; here its advice may need a line.
        self.entry.query_one(".told").refresh(layout=True)
        wide = self.size.width >= 120
        self.query_one("#tin", Static).update(rows(shim_words.tin_rows(found.tin)))
        self.query_one("#fitted", Static).update(rows(shim_words.place_rows(found)))
        self.query_one("#play", Static).update(rows(shim_words.play_lines(found)))
        head = self.query_one("#head", Static)
        head.update(Content(shim_words.stack_head(wide=wide)))
        head.display = bool(found.stacks)
        stacks = self.query_one("#stacks", OptionList)
        at = stacks.highlighted or 0
        stacks.clear_options()
        stacks.add_options(
            [
                Option(Content(shim_words.stack_row(n, stack, wide=wide)))
                for n, stack in enumerate(found.stacks, 1)
            ]
        )
        if found.stacks:
            stacks.highlighted = min(at, len(found.stacks) - 1)
        notes = [f"! {note}" for note in found.notes]
        if found.unknown and found.measured is not None:
            notes.insert(0, f"No stack: {found.unknown}")
        if found.out_of_reach:
            notes.insert(0, f"! Out of reach: {found.out_of_reach}")
        self.query_one("#notes", Static).update(rows(notes))
        self._show_change()

    @property
    def chosen(self) -> StackAdvice | None:
        """The stack in hand."""
        at = self.query_one("#stacks", OptionList).highlighted
        if self._found is None or at is None or at >= len(self._found.stacks):
            return None
        return self._found.stacks[at]

    def _show_change(self) -> None:
        stack = self.chosen
        words = "" if stack is None else shim_words.stack_words(stack)
        self.query_one("#change", Static).update(Content(words))

    def on_resize(self) -> None:
        """Lay the list out for the new width."""
        self._show()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Say what the stack in hand changes."""
        event.stop()
        self._show_change()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Record the stack that was chosen with enter or a click, after asking."""
        event.stop()
        self.action_fit_stack()

    # The measured play

    def on_reading_entry_judged(self, event: ReadingEntry.Judged) -> None:
        """Follow what is typed, and keep it as a draft."""
        event.stop()
        if self._restored:
            self.pitwright.drafts.typed(_DRAFT, {_QUANTITY: self.entry.typed})
        self._show()

    def on_reading_entry_submitted(self, event: ReadingEntry.Submitted) -> None:
        """Keep the reading as a check."""
        event.stop()
        judged = event.entry.finished()
        if judged.state == "empty":
            self.query_one("#stacks").focus()
            return
        record = measure.check_record(
            [judged],
            now=self.pitwright.clock(),
            clutch=self.weekend.card(self.pitwright.clutch).id,
        )
        if self.pitwright.keep(record) is not None:
            event.entry.clear()
            self.pitwright.drafts.forget(_DRAFT)
            words, is_out = saved_words([judged])
            self.notify(words, severity="warning" if is_out else "information", markup=False)
            self.query_one("#stacks").focus()

    def on_reading_entry_move_asked(self, event: ReadingEntry.MoveAsked) -> None:
        """Say where the reading belongs; only the end play is typed here."""
        event.stop()
        self.notify("Type that one under Measure (key 3)", severity="warning")

    # Keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer letter keys outside the entry only."""
        typing = isinstance(self.focused, Input)
        if action == "leave_entry":
            return typing
        return not typing if action in _OUT_OF_ENTRY else True

    def action_leave_entry(self) -> None:
        """Leave the entry for the list, so that letters act as keys."""
        self.query_one("#stacks").focus()
        self.refresh_bindings()

    def action_enter_entry(self) -> None:
        """Type the end play."""
        if self._has_entry:
            self.entry.line.focus()
        else:
            self.notify("The card has no quantity 'end_play'; add it to measure it here")

    @work(exclusive=True, group="ask")
    async def action_fit_stack(self) -> None:
        """Record the stack in hand as fitted."""
        stack = self.chosen
        if stack is None:
            self.notify("No stack to fit yet")
            return
        now, clutch = self.pitwright.clock(), self.pitwright.clutch
        records = desk.fit_records(self.weekend, stack, now=now, clutch=clutch)
        if not records:
            self.notify("That is what is fitted already")
            return
        question = f"Fitted now? {shim_words.change_words(stack)}"
        if not await self.app.push_screen_wait(Confirm(question)):
            return
        for record in records:
            if self.pitwright.keep(record) is None:
                return
        self.notify("Kept. Measure the end play again once the screw is tight")

    @work(exclusive=True, group="ask")
    async def action_change_tin(self, change: Literal["bought", "counted", "lost"]) -> None:
        """Add to the tin, take from it, or set what was counted."""
        title = {
            "bought": "Shims bought: thickness and how many",
            "counted": "Counted in the tin: thickness and how many lie there",
            "lost": "Shims lost or bent: thickness and how many",
        }[change]
        text = await self.app.push_screen_wait(
            AskLine(
                title,
                hint="such as 0.10 x 4; enter keeps it",
                check=shim_trouble,
                draft=f"shims {change}",
            )
        )
        if text is None:
            return
        thickness, count = read_counted(text)
        record = shim_change(
            thickness,
            count,
            change,
            clutch=self.weekend.card(self.pitwright.clutch).id,
            now=self.pitwright.clock(),
        )
        if self.pitwright.keep(record) is not None:
            self.notify(f"Kept: {change} {count} x {thickness:.2f} mm")
