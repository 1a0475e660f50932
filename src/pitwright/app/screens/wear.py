"""Will it last: every spring, shoe set and bearing set, in words and as a picture."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.messages import WeekendChanged
from pitwright.app.screens.base import OverScreen
from pitwright.app.screens.help import OVER_KEYS
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.wear_plot import WearPlot
from pitwright.desk.race.race import race_desk
from pitwright.desk.race.words import short_answer
from pitwright.desk.wear.forecast_words import aligned_rows
from pitwright.desk.wear.part_forecast import PartForecast
from pitwright.desk.wear.timed import all_that_wears

if TYPE_CHECKING:
    from pitwright.desk.wear.timed import TimedLife

__all__ = ["WearScreen"]


class WearScreen(OverScreen):
    """The parts that wear; up and down or left and right go from part to part."""

    TITLE = "Will it last?"
    PURPOSE = "How long spring and shoes last, and whether that is enough for the main."
    HELP_TEXT = """
Each part that wears is forecast from its own readings: how it got shorter or thinner as it ran.
The minutes left come with a range: nine times in ten the truth lies within it. With one or two
readings nothing can be known yet, and that is what is said.

The end of a part's life is the first of the card's discard limit, the recess limit at the bite
you hold, and the spring binding solid. The first two count on the bench, before a heat: nobody
turns a nut in a race. What a race does to the bite is for the line on top and Race (r) to say; a
new spring sags most and is not always the better one. A reading before every main makes the range
narrower. Bearings go by the minutes on the card: nothing of them is measured.
"""
    CSS_PATH = "wear.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (126, "-wide")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,w,q", "dismiss", "Back", id="wear.back", tooltip="Back to the screen"),
        # Ahead of the list's own keys, which would scroll it.
        Binding("left", "go(-1)", "Part before", id="wear.before", priority=True,
                tooltip="The part before"),
        Binding("right", "go(1)", "Next part", id="wear.next", priority=True,
                tooltip="The next part"),
        Binding("r", "race", "Race", id="wear.race",
                tooltip="The bite over the next main: which spring, shoes and recess"),
        Binding("pageup", "scroll(-1)", "Scroll", show=False, id="wear.up", priority=True,
                tooltip="Scroll the words back"),
        Binding("pagedown", "scroll(1)", "More words", id="wear.down", priority=True,
                tooltip="Scroll the words about the part"),
        *OVER_KEYS,
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._found: tuple[PartForecast | TimedLife, ...] = ()

    def compose(self) -> ComposeResult:
        """Lay out the list, the words about one part, and its picture."""
        with Vertical(id="wear"):
            yield Static(Content("Will it last?"), id="title")
            with Container(id="halves"):
                with Vertical(id="words"):
                    yield Static("", id="race-line", markup=False)
                    yield Options(id="parts")
                    with VerticalScroll(id="scroll", can_focus=False):
                        yield Static("Working it out …", id="told", markup=False)
                        yield Static("", id="figures", markup=False)
                yield WearPlot(id="plot")
        yield KeyLine()

    def on_mount(self) -> None:
        """Work it out beside the screen, so that keys are never held up."""
        self.query_one("#parts").focus()
        self._look()

    def on_weekend_changed(self, event: WeekendChanged) -> None:
        """Work it out afresh."""
        event.stop()
        self._look()

    @work(exclusive=True, group="wear")
    async def _look(self) -> None:
        app = self.pitwright
        self._found = await asyncio.to_thread(all_that_wears, app.weekend, app.clock(), app.clutch)
        parts = self.query_one("#parts", OptionList)
        at = parts.highlighted
        with self.prevent(OptionList.OptionHighlighted):
            parts.clear_options()
            parts.add_options(Option(Content(row), id=f.part) for f, row in self._rows())
        if not self._found:
            await self.query_one("#plot", WearPlot).show(None)
            words = "Nothing that wears is known yet: list it in stock.toml or fit it."
            self.query_one("#told", Static).update(Content(words))
            return
        parts.highlighted = min(at or 0, len(self._found) - 1)
        await self._show(parts.highlighted)
        race = await asyncio.to_thread(race_desk, app.weekend, app.clock(), None, app.clutch)
        line = f"{race.heat}: {short_answer(race)}" if race.heat else ""
        self.query_one("#race-line", Static).update(Content(line))

    def _rows(self) -> list[tuple[PartForecast | TimedLife, str]]:
        return list(zip(self._found, aligned_rows([f.cells for f in self._found]), strict=True))

    async def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the part under the cursor."""
        event.stop()
        await self._show(event.option_index)

    async def _show(self, index: int) -> None:
        if index >= len(self._found):
            return
        found = self._found[index]
        notes = (f"Note: {note}." for note in found.notes)
        self.query_one("#told", Static).update(Content("\n".join([*found.sentences, *notes])))
        self.query_one("#figures", Static).update(Content("\n".join(found.table)))
        self.query_one("#scroll", VerticalScroll).scroll_home(animate=False)
        drawn = found if isinstance(found, PartForecast) else None
        await self.query_one("#plot", WearPlot).show(drawn)

    def action_go(self, step: int) -> None:
        """Go to another part."""
        parts = self.query_one("#parts", OptionList)
        if self._found:
            parts.highlighted = ((parts.highlighted or 0) + step) % len(self._found)

    def action_race(self) -> None:
        """Show the bite over the next main."""
        from pitwright.app.screens.race import RaceScreen

        self.app.push_screen(RaceScreen())

    def action_scroll(self, step: int) -> None:
        """Scroll the words."""
        self.query_one("#scroll", VerticalScroll).scroll_relative(y=4 * step, animate=False)
