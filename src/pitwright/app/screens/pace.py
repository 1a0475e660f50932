"""Pace: what the laps of chosen heats say, and which clutch state was quicker."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, Literal

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.screens.pace_asks import ask_figure, ask_group, ask_pair, ask_rule
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.pace_plots import SpreadBar, SpreadPlot, TracePlot
from pitwright.app.widgets.show_text import ShowText
from pitwright.desk.pace.compare import Asked, Comparing, compare_heats
from pitwright.desk.pace.pace import (
    PaceHeat,
    heat_pace,
    lap_spread,
    lap_trace,
    pace_heats,
    usual_choice,
)
from pitwright.desk.pace.rule import PaceRule
from pitwright.desk.pace.words import (
    PaceColumns,
    asked_words,
    choice_line,
    comparing_lines,
    heat_words,
    state_lines,
)

if TYPE_CHECKING:
    from pitwright.inference.pace import HeatPace
    from pitwright.weekend.weekend import Weekend

__all__ = ["PaceScreen"]

View = Literal["table", "laps", "spread", "answer"]
_VIEWS: tuple[View, ...] = ("table", "laps", "spread", "answer")
_WIDE = 126
_NARROW_LIST = 24
_IN_SIGHT = 24
_TABLE_SHARE = 81


class PaceScreen(WeekendScreen):
    """Heats to choose on the left, their pictures beside them, the answer below."""

    TITLE = "Pace"
    PURPOSE = "Which change made the car faster, and whether the laps can tell"
    HELP_TEXT = """
Every heat with laps: how many, best, median, mean of the best five, best three in a row, scatter
(half of the settled laps lie within it), fade in seconds of lap time a minute with its interval
(from, to), what the opening laps lost, and how many laps were set aside (out). Enter on a heat
names them. Key r changes the rule.

Space chooses a heat or leaves it out. Warm-ups, run-ins and heats stopped early count only when
you choose them.

Below stands the answer. One heat counts once, however many laps it has: laps of one heat share
the track, the tyres and the driver's nerves. 'Likely real' needs four heats of each, back and
forth, and less than one chance in twenty that luck alone did it. Asking many questions is judged
more strictly, so decide beforehand what to compare: key c.

Also: a chooses all heats, the usual ones or none; f compares the opening laps or the scatter
instead of the pace; r sets what is a stop or a mistake.
"""
    CSS_PATH = "pace.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (_WIDE, "-wide")]  # noqa: RUF012
    AUTO_FOCUS = "#heats"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "choose_heat", "Choose", id="pace.choose",
                tooltip="Choose the heat, or leave it out"),
        Binding("a", "all", "All", show=False, id="pace.all",
                tooltip="All heats, the usual ones, or none"),
        Binding("v", "view", "View", id="pace.view",
                tooltip="Table, laps, spread or the whole answer"),
        Binding("g", "group", "Group", id="pace.group",
                tooltip="Compare by spring, recess, shoes, build or bite"),
        Binding("c", "pair", "Pair", id="pace.pair", tooltip="Which two states to compare"),
        Binding("f", "figure", "Figure", show=False, id="pace.figure",
                tooltip="Compare pace, opening laps or scatter"),
        Binding("r", "rule", "Rule", show=False, id="pace.rule",
                tooltip="What counts as a stop or a mistake, and n of best n"),
        Binding("l", "laps", "Laps", id="pace.laps", tooltip="Bring in the laps of this heat"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._heats: tuple[PaceHeat, ...] = ()
        self._of: Weekend | None = None
        self._chosen: frozenset[str] | None = None
        self._asked = Asked()
        self._rule = PaceRule()
        self._view: View = "table"
        self._ready = False
        self._done: set[str] = set()
        self._found: Comparing | None = None

    def compose_body(self) -> ComposeResult:
        """Lay out table, pictures and answer."""
        with Container(id="pace"):
            with Vertical(id="list"):
                yield Static("", id="chosen", markup=False)
                yield Static("", id="head", markup=False)
                yield Options(id="heats")
            with Vertical(id="pictures"):
                yield TracePlot(id="trace")
                yield SpreadPlot(id="spread")
        with VerticalScroll(id="answer"):
            yield Static("", id="asked", markup=False)
            yield Static("", id="told", markup=False)
            yield Static("", id="states", markup=False)
            yield Static("", id="rest", markup=False)

    # What is known

    @property
    def found(self) -> Comparing | None:
        """The answer as shown."""
        return self._found

    @property
    def chosen(self) -> tuple[PaceHeat, ...]:
        """The heats that count, in order."""
        wanted = self._chosen if self._chosen is not None else usual_choice(self._heats)
        return tuple(h for h in self._heats if h.record in wanted)

    def heat_in_hand(self) -> PaceHeat | None:
        """Return the heat under the cursor."""
        heats = self.query_one("#heats", OptionList)
        if heats.highlighted is None or heats.highlighted >= heats.option_count:
            return None
        key = heats.get_option_at_index(heats.highlighted).id
        return next((h for h in self._heats if h.record == key), None)

    def _pace(self, heat: PaceHeat) -> HeatPace | None:
        if heat.record not in self._done:
            return None
        return heat_pace(heat.laps, self._rule.aside, self._rule.best_n, self._rule.run_n)

    # Showing

    def show_weekend(self) -> None:
        """Show the heats at once; figures and answer come as soon as they are worked out."""
        if self.weekend is not self._of:
            before = {h.record for h in self._heats}
            self._heats = pace_heats(self.weekend)
            if self._chosen is not None:  # a heat that is new counts as usual
                fresh = {h for h in usual_choice(self._heats) if h not in before}
                self._chosen = frozenset((self._chosen | fresh) & {h.record for h in self._heats})
            self._of = self.weekend
            self._unready()
        self._lay_out()
        self._show_heats()
        self._work_out()

    def _unready(self) -> None:
        self._ready = False
        self._done = set()

    def on_resize(self) -> None:
        """Fit the columns to the width."""
        if self._heats:
            self._lay_out()
            self._show_heats()
            self._show_answer()
            self._draw_soon()  # pictures may have come into sight

    def _lay_out(self) -> None:
        wide = self.size.width >= _WIDE
        for view in _VIEWS:
            self.set_class(not wide and self._view == view, f"-{view}")
        self.query_one("#pictures").display = wide or self._view in ("laps", "spread")
        self.query_one("#trace").display = wide or self._view == "laps"
        self.query_one("#spread").display = wide or self._view == "spread"
        self.query_one("#pace").display = wide or self._view != "answer"

    def _width(self) -> int:
        if self.size.width >= _WIDE:
            return _TABLE_SHARE
        return _NARROW_LIST if self._view in ("laps", "spread") else self.size.width

    def _show_heats(self) -> None:
        heats = self.query_one("#heats", OptionList)
        in_hand = self.heat_in_hand()
        columns = PaceColumns(
            self._width() - 5, self._heats, best_n=self._rule.best_n, run_n=self._rule.run_n
        )
        options: list[Option] = []
        for heat in self._heats:
            if heat.changes:
                room = max(self._width() - 8, 10)
                words = ", ".join(heat.changes)
                words = words if len(words) <= room else f"{words[: room - 1]}…"
                text = Content.styled(f"  ┊ {words}", "$foreground 65%")
                options.append(Option(text, disabled=True))
            options.append(Option(self._row(columns, heat), id=heat.record))
        self.query_one("#head", Static).update(Content(f"  {columns.head()}"))
        with self.prevent(OptionList.OptionHighlighted):
            heats.clear_options()
            heats.add_options(options)
            keys = [option.id for option in options]
            wanted = in_hand.record if in_hand is not None else self._first()
            if wanted in keys:
                heats.highlighted = keys.index(wanted)
        self.call_after_refresh(heats.scroll_to_highlight)
        self._show_chosen()

    def _first(self) -> str | None:
        """Return the last heat with laps: the one just driven."""
        with_laps = [h.record for h in self._heats if h.laps]
        return with_laps[-1] if with_laps else (self._heats[-1].record if self._heats else None)

    def _row(self, columns: PaceColumns, heat: PaceHeat) -> Content:
        mark = "✓" if heat in self.chosen and heat.laps else " "
        text = f"{mark} {columns.row(heat, self._pace(heat))}"
        return Content(text) if heat.laps else Content.styled(text, "$foreground 65%")

    def _show_chosen(self) -> None:
        width = self._width() - 2
        text = choice_line(self._heats, {h.record for h in self.chosen}, width)
        if self._width() == _NARROW_LIST:
            text = f"{len(self.chosen)} of {len(self._heats)} chosen"
        if not self._heats:
            text = "No heat has been run yet. Timeline (1) starts one; then bring in its laps: l."
        self.query_one("#chosen", Static).update(Content(text))

    @property
    def _gone(self) -> bool:
        """The app was left while something was worked out: there is nothing to show it on."""
        return not self.query("#asked")

    @work(exclusive=True, group="pace")
    async def _work_out(self) -> None:
        """Work out figures and answer beside the screen, so that keys are never held up."""
        weekend, heats, rule = self.weekend, self._heats, self._rule
        chosen, asked = self.chosen, self._asked
        if self._gone:
            return
        if not self._ready:
            self.query_one("#asked", Static).update("Working it out …")

            def analyse(some: Sequence[PaceHeat]) -> None:
                for heat in some:
                    heat_pace(heat.laps, rule.aside, rule.best_n, rule.run_n)

            # The last heats are those in sight, so their figures come first.
            for some in (heats[-_IN_SIGHT:], heats[:-_IN_SIGHT]):
                await asyncio.to_thread(analyse, some)
                self._done |= {h.record for h in some}
                if self._gone:
                    return
                self._show_heats()
            self._ready = True
        await self._draw()
        self._found = await asyncio.to_thread(compare_heats, weekend, chosen, asked, rule.aside)
        if not self._gone:
            self._show_answer()

    def _show_answer(self) -> None:
        found = self._found
        if found is None:
            return
        width = max(self.size.width - 4, 40)
        self.query_one("#asked", Static).update(Content.styled(asked_words(found), "bold"))
        self.query_one("#states", Static).update(Content("\n".join(state_lines(found, width))))
        answers = len(found.sentences) or 1
        lines = [*comparing_lines(found), found.rule.sentence]
        self.query_one("#told", Static).update(Content("\n".join(lines[:answers])))
        self.query_one("#rest", Static).update(Content("\n".join(lines[answers:])))

    async def _draw(self) -> None:
        """Draw the pictures that are on screen."""
        if not self._ready or not self.query_one("#pictures").display:
            return
        in_hand = self.heat_in_hand()
        if self.query_one("#trace").display:
            pace = self._pace(in_hand) if in_hand is not None else None
            main = lap_trace(in_hand.name, pace) if in_hand is not None and pace else None
            others = [
                lap_trace(heat.name, found)
                for heat in self.chosen
                if heat is not in_hand and (found := self._pace(heat)) is not None
            ]
            await self.query_one("#trace", TracePlot).show(main, others)
        if self.query_one("#spread").display:
            await self.query_one("#spread", SpreadPlot).show(self._bars(in_hand))

    def _bars(self, in_hand: PaceHeat | None) -> list[SpreadBar]:
        bars = []
        changed = False
        for heat in self._heats:
            changed = changed or bool(heat.changes)
            pace = self._pace(heat)
            spread = lap_spread(heat.name, pace) if pace is not None else None
            if spread is not None and (heat in self.chosen or heat is in_hand):
                bars.append(SpreadBar(spread, changed, heat is in_hand))
                changed = False
        return bars

    @work(exclusive=True, group="draw")
    async def _draw_soon(self) -> None:
        await asyncio.sleep(0.05)  # a held arrow key draws once
        await self._draw()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Draw the heat under the cursor."""
        event.stop()
        self._draw_soon()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Say what the laps of the heat tell, and which were set aside."""
        event.stop()
        heat = self.heat_in_hand()
        if heat is not None:
            text = "\n\n".join(heat_words(heat, self._pace(heat)))
            self.app.push_screen(ShowText(heat.name, Content(text)))

    # Keys

    def action_choose_heat(self) -> None:
        """Choose the heat under the cursor, or leave it out."""
        heat = self.heat_in_hand()
        if heat is None:
            return
        if not heat.laps:
            self.notify(f"{heat.name}: {heat.aside_because}. Key l brings laps in", markup=False)
            return
        self._choose(frozenset(h.record for h in self.chosen) ^ {heat.record})

    def action_all(self) -> None:
        """Choose every heat with laps, then the usual ones, then none."""
        every = frozenset(h.record for h in self._heats if h.laps)
        usual = usual_choice(self._heats)
        now = frozenset(h.record for h in self.chosen)
        order = list(dict.fromkeys((every, usual, frozenset[str]())))
        self._choose(order[(order.index(now) + 1) % len(order)] if now in order else every)

    def _choose(self, chosen: frozenset[str]) -> None:
        self._chosen = chosen
        states = self._asked.pair
        self._show_heats()
        if states is not None:
            self._asked = replace(self._asked, pair=self._still(states))
        self._work_out()

    def _still(self, pair: tuple[str, str]) -> tuple[str, str] | None:
        """Return the pair when both its states still have a heat."""
        from pitwright.desk.pace.clutch_states import grouped

        labels = {s.label for s in grouped(self.weekend, self.chosen, self._asked.by).states}
        return pair if set(pair) <= labels else None

    def action_view(self) -> None:
        """Show the next view; on a wide screen all stand beside one another."""
        if self.size.width >= _WIDE:
            self.query_one("#answer").focus()
            return
        self._view = _VIEWS[(_VIEWS.index(self._view) + 1) % len(_VIEWS)]
        self._lay_out()
        self._show_heats()
        self.query_one("#answer" if self._view == "answer" else "#heats").focus()
        self._draw_soon()

    def action_leave_entry(self) -> None:
        """Go back to the list."""
        self.query_one("#heats").focus()

    @work(exclusive=True, group="ask")
    async def action_group(self) -> None:
        """Choose what makes two heats the same clutch."""
        self._ask_for(await ask_group(self.app, self._asked))

    @work(exclusive=True, group="ask")
    async def action_figure(self) -> None:
        """Choose what is compared."""
        self._ask_for(await ask_figure(self.app, self._asked))

    @work(exclusive=True, group="ask")
    async def action_pair(self) -> None:
        """Choose the two states to compare, every pair, or the slope."""
        self._ask_for(await ask_pair(self.app, self.weekend, self.chosen, self._asked))

    def _ask_for(self, asked: Asked | None) -> None:
        if asked is not None:
            self._asked = asked
            self._work_out()

    @work(exclusive=True, group="ask")
    async def action_rule(self) -> None:
        """Change the rule by which laps are set aside."""
        rule = await ask_rule(self.app, self._rule)
        if rule is not None:
            self._rule = rule
            self._unready()
            self._work_out()

    def action_laps(self) -> None:
        """Bring in the laps of the heat under the cursor."""
        from pitwright.app.screens.lap_import import open_lap_import

        heat = self.heat_in_hand()
        open_lap_import(self.pitwright, heat.on.run.heat if heat is not None else "")
