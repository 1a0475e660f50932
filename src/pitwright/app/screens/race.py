"""The bite over a race: every way to run it with what is at hand, in words and as a picture."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option as Row

from pitwright.app.messages import WeekendChanged
from pitwright.app.screens.base import OverScreen
from pitwright.app.screens.help import OVER_KEYS
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.race_plot import RacePlot
from pitwright.desk.race.race import race_desk
from pitwright.desk.race.words import (
    common_notes,
    gain_line,
    head_line,
    option_rows,
    option_sentences,
)

if TYPE_CHECKING:
    from pitwright.desk.race.race import RaceDesk

__all__ = ["RaceScreen"]


class RaceScreen(OverScreen):
    """The ways to run the next main; up and down or left and right go from one to the next."""

    TITLE = "Race"
    PURPOSE = "Which spring, shoes and recess keep the bite nearest to what is wanted in the main."
    HELP_TEXT = """
Nobody turns a nut in a race. As it runs, the spring sags and softens, which lowers the bite; the
shoes wear, which raises it; friction may go either way. The bell warms and its friction fades,
which moves the lock-up and leaves the bite. Each set at hand is run through a thousand races that
may come, and the recess is chosen that is least minutes off target. The best stands first; every
row below is what it beat. A job must be worth its doing: a turn of the nut has to gain 0.3 minutes,
each part changed 1.5, and it has to be twice as likely to gain as to lose.

The band holds nine times in ten, with all that is not known. The minutes leave out what is the
same for every set: once it is set, see it creep, and turn the nut to the speed that is wanted. A
part not read yet is taken as others of its kind were: measure it as it goes in and look again.
"""
    CSS_PATH = "race.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (126, "-wide")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,r,q", "dismiss", "Back", id="race.back", tooltip="Back to the screen"),
        # Ahead of the list's own keys, which would scroll it.
        Binding("left", "go(-1)", "Before", id="race.before", priority=True,
                tooltip="The way before"),
        Binding("right", "go(1)", "Next way", id="race.next", priority=True,
                tooltip="The next way to run the race"),
        Binding("pageup", "scroll(-1)", "Scroll", show=False, id="race.up", priority=True,
                tooltip="Scroll the words back"),
        Binding("pagedown", "scroll(1)", "More words", id="race.down", priority=True,
                tooltip="Scroll the words"),
        *OVER_KEYS,
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._found: RaceDesk | None = None

    def compose(self) -> ComposeResult:
        """Lay out the list, the words about one way, and its picture."""
        with Vertical(id="race"):
            yield Static("Bite over the race", id="title", markup=False)
            with Container(id="halves"):
                with Vertical(id="words"):
                    yield Options(id="ways")
                    with VerticalScroll(id="scroll", can_focus=False):
                        yield Static("Working it out …", id="told", markup=False)
                yield RacePlot(id="plot")
        yield KeyLine()

    def on_mount(self) -> None:
        """Work it out beside the screen, so that keys are never held up."""
        self.query_one("#ways").focus()
        self._look()

    def on_weekend_changed(self, event: WeekendChanged) -> None:
        """Work it out afresh."""
        event.stop()
        self._look()

    @work(exclusive=True, group="race")
    async def _look(self) -> None:
        app = self.pitwright
        self._found = found = await asyncio.to_thread(
            race_desk, app.weekend, app.clock(), None, app.clutch
        )
        self.query_one("#title", Static).update(Content(head_line(found)))
        ways = self.query_one("#ways", OptionList)
        at = ways.highlighted
        with self.prevent(OptionList.OptionHighlighted):
            ways.clear_options()
            ways.add_options(Row(Content(row)) for row in option_rows(found))
        if not found.options:
            await self.query_one("#plot", RacePlot).show(None, None)
            self.query_one("#told", Static).update(Content(f"Cannot say: {found.unknown}."))
            return
        ways.highlighted = min(at or 0, len(found.options) - 1)
        await self._show(ways.highlighted)

    async def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the way under the cursor."""
        event.stop()
        await self._show(event.option_index)

    async def _show(self, index: int) -> None:
        found = self._found
        if found is None or index >= len(found.options):
            return
        option = found.options[index]
        lines = option_sentences(found, option)
        if index == 0 and gain_line(found):
            lines.insert(1, gain_line(found))
        notes = [f"Note: {note}." for note in (*found.notes, *common_notes(found))]
        self.query_one("#told", Static).update(Content("\n".join([*lines, *notes])))
        self.query_one("#scroll", VerticalScroll).scroll_home(animate=False)
        await self.query_one("#plot", RacePlot).show(found, option)

    def action_go(self, step: int) -> None:
        """Go to another way."""
        ways = self.query_one("#ways", OptionList)
        if ways.option_count:
            ways.highlighted = ((ways.highlighted or 0) + step) % ways.option_count

    def action_scroll(self, step: int) -> None:
        """Scroll the words."""
        self.query_one("#scroll", VerticalScroll).scroll_relative(y=4 * step, animate=False)
