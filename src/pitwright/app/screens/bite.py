"""Bite: where the clutch takes up, lets go and locks, and what would move it."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, Literal

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.timer import Timer
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.screens.bite_asks import air_form, observed_form, what_was_seen
from pitwright.app.screens.bite_sheets import card_sheet, launch_sheet, seen_sheet
from pitwright.app.widgets.dialogs import AskLine, Choice, Confirm, Pick
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.sheet import rows
from pitwright.desk.bite import bite as desk
from pitwright.desk.bite import words
from pitwright.desk.bite.doubt import observation_doubt
from pitwright.desk.bite.form import heat_choices, read_air, read_observed, rpm_trouble
from pitwright.desk.bite.tries import LINES, tried_rows, turned, typed, typed_trouble
from pitwright.desk.clutch.air import last_air
from pitwright.desk.nut.words import nut_rows

if TYPE_CHECKING:
    from pitwright.app.widgets.bite_plot import BitePlot
    from pitwright.desk.nut.move import NutDesk

__all__ = ["BiteScreen"]

_PLOT_AFTER_S = 0.05


class TryList(Options):
    """The lines that can be turned: up and down pick one, left and right turn it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "screen.turn(-1)", "Less", show=False, id="bite.less",
                tooltip="Turn the line in hand down a little"),
        Binding("right", "screen.turn(1)", "Turn", key_display="←→", id="bite.more",
                tooltip="Turn the line in hand up a little"),
    ]  # fmt: skip


_OBSERVED = "observe"


class BiteScreen(WeekendScreen):
    """The bite of one clutch, with tries that move the numbers live."""

    TITLE = "Bite"
    PURPOSE = "Where it bites, lets go and locks up. Trying a change keeps nothing."
    HELP_TEXT = """
Bite is where the shoes reach the bell going up, let-go where they leave it coming down; at
lock-up the clutch carries all the engine gives. Up and down pick a line, left and right turn it
by a little, [ and ] by a lot. r puts all back. Nothing is kept by trying. Key s lists the card's
figures behind it, each with its source and its doubt.

Until a creep speed has been seen on this car the numbers are the model's own: trust the changes,
not the speeds. Key o enters what was seen: creep is the engine speed at which the wheels just
begin to turn, take-up the steady speed while it slips at full throttle.

Watch for creep with the car on a stand and hands, hair and rag clear of wheels, bell and
flywheel. Mind fuel vapour and exhaust: outdoors only. The race director's rules come first.
"""
    CSS_PATH = "bite.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]  # noqa: RUF012
    AUTO_FOCUS = "#tries"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left_square_bracket", "turn(-10)", "Much less", id="bite.much-less", show=False,
                tooltip="Turn the line in hand down a lot"),
        Binding("right_square_bracket", "turn(10)", "Much more", show=False,
                id="bite.much-more", tooltip="Turn the line in hand up a lot"),
        Binding("r", "reset", "Reset", id="bite.reset", tooltip="Put all tries back"),
        Binding("c", "compare", "Compare", id="bite.compare", tooltip="Compare with a heat"),
        Binding("h", "hold('bite')", "Hold", id="bite.hold",
                tooltip="The nut setting that brings a heat's bite back"),
        Binding("p", "hold('preload')", "Preload", id="bite.preload", show=False,
                tooltip="The nut setting that brings a heat's preload back"),
        Binding("t", "aim", "Aim", id="bite.aim", tooltip="The nut setting for a bite speed"),
        Binding("o", "observe", "Seen", id="bite.observe",
                tooltip="Enter a creep or take-up speed you saw; it calibrates the numbers"),
        Binding("e", "app.show('ear')", "Ear", id="bite.ear",
                tooltip="Measure the take-up speed from a sound recording"),
        Binding("a", "air", "Air", id="bite.air", show=False, tooltip="Type today's air"),
        Binding("l", "launch", "Launch", id="bite.launch",
                tooltip="Launch, gears, and how warm it gets over a heat"),
        Binding("s", "card", "Stands on", id="bite.card", show=False,
                tooltip="What the numbers stand on: each figure of the card, its source and its ±"),
        Binding("v", "seen", "Speeds seen", id="bite.seen", show=False,
                tooltip="The speeds seen so far, and the air"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._tries = desk.Tries()
        self._like: str | None = None
        self._prepared: desk.Prepared | None = None
        self._found: desk.BiteDesk | None = None
        self._nut: NutDesk | None = None
        self._plot: BitePlot | None = None
        self._plot_timer: Timer | None = None

    def compose_body(self) -> ComposeResult:
        """Lay out figures and tries on the left; the plot takes the rest."""
        with Horizontal(id="bite"):
            with Vertical(id="left"):
                yield Static("", id="trust", classes="quiet", markup=False)
                yield Static("", id="figures", markup=False)
                yield TryList(*(Option("", id=key) for key in LINES), id="tries")
                yield Static("", id="nut", markup=False)
                yield Static("", id="notes", markup=False)
                yield Static("", id="late", markup=False)
                yield Static("", id="seen", classes="quiet", markup=False)
            with Vertical(id="right"):
                yield Static("", id="legend", markup=False)
                yield Static("", id="instead", markup=False)

    def on_mount(self) -> None:
        """Put the plot up; its library is loaded here, on first use."""
        from pitwright.app.widgets.bite_plot import BitePlot

        self._plot = BitePlot()
        self._plot.display = self._found is None or bool(self._found.curves)
        self.query_one("#right").mount(self._plot)
        self.call_after_refresh(self._draw)

    # Showing

    @property
    def found(self) -> desk.BiteDesk | None:
        """The bite as shown."""
        return self._found

    def show_weekend(self) -> None:
        """Gather the weekend afresh, and show it with the tries."""
        weekend, clutch = self.weekend, self.pitwright.clutch
        stand_in = weekend.card(clutch).nut.recess_new_spring_low.value
        prepared = desk.prepare(weekend, clutch=clutch, like=self._like, recess_mm=stand_in)
        if self._prepared is None or prepared.weekend is not self._prepared.weekend:
            self._nut = None
        self._prepared = prepared
        self._show()
        self._show_late()

    def _show(self) -> None:
        if self._prepared is None:
            return
        found = desk.bite_desk(self._prepared, self._tries)
        self._found = found
        narrow = self.size.width < 120
        self.query_one("#trust", Static).update(Content(words.trust_line(found)))
        self.query_one("#figures", Static).update(rows(words.figure_rows(found, narrow=narrow)))
        lines = self.query_one("#tries", OptionList)
        for key, row in tried_rows(self._tries, self._prepared.now, found).items():
            lines.replace_option_prompt(key, Content(row))
        if lines.highlighted is None:
            lines.highlighted = 0
        self._show_nut()
        self.query_one("#notes", Static).update(rows(words.notes(found)))
        seen = words.observation_lines(found.observations) or ["none yet: o enters one"]
        self.query_one("#seen", Static).update(rows(["Speeds seen", *seen]))
        legend = self.query_one("#legend", Static)
        legend.update(Content(words.legend(found)))
        instead = self.query_one("#instead", Static)
        told = words.instead_rows(found)
        instead.update(rows(told))
        # The curve of the compared heat is drawn under the words; without one they have the room.
        legend.display = bool(found.curves)
        instead.display = bool(told)
        instead.set_class(not found.curves, "alone")
        if self._plot is not None:
            self._plot.display = bool(found.curves) or not told
        if self._plot_timer is not None:
            self._plot_timer.stop()
        self._plot_timer = self.set_timer(_PLOT_AFTER_S, self._draw)

    @work(exclusive=True, group="late")
    async def _show_late(self) -> None:
        """Say what the warmth of a main moves; it stands beside the tries and keeps no key up."""
        from pitwright.desk.warmth.warmth import late_minute
        from pitwright.desk.warmth.words import late_rows

        prepared = self._prepared
        if prepared is None:
            return
        told = late_rows(await asyncio.to_thread(late_minute, prepared, self.pitwright.clock()))
        late = self.query_one("#late", Static)
        late.update(rows(told))
        late.display = bool(told)

    def _show_nut(self) -> None:
        panel = self.query_one("#nut", Static)
        panel.set_class(self._nut is not None, "shown")
        if self._nut is not None:
            panel.update(rows(nut_rows(self._nut)))

    def _draw(self) -> None:
        if self._plot is not None and self._found is not None:
            self._plot.show(self._found)

    def on_resize(self) -> None:
        """Lay the figures out for the new width."""
        self._show()

    # Trying

    def action_turn(self, steps: int) -> None:
        """Turn the line in hand."""
        lines = self.query_one("#tries", OptionList)
        if self._prepared is None or lines.highlighted is None:
            return
        key = lines.get_option_at_index(lines.highlighted).id
        assert key is not None
        self._tries = turned(self._tries, key, steps, self._prepared.now, last_air(self.weekend))
        self._show()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Turn what is switched on and off by enter or a click; a number is typed."""
        event.stop()
        if event.option.id == "hot":
            self.action_turn(1)
        elif event.option.id == "air":
            self.action_air()
        elif event.option.id is not None:
            self._type_value(event.option.id)

    @work(exclusive=True, group="ask")
    async def _type_value(self, key: str) -> None:
        if self._prepared is None or self._prepared.now is None:
            return
        text = await self.app.push_screen_wait(
            AskLine(
                f"Try which {LINES[key].lower()}, in mm?",
                check=lambda text: typed_trouble(key, text),
                draft=f"try {key}",
            )
        )
        if text is not None:
            self._tries = typed(self._tries, key, text, self._prepared.now)
            self._show()

    def action_reset(self) -> None:
        """Put all tries back, and the nut advice away."""
        self._tries = desk.Tries()
        self._nut = None
        self._show()

    @work(exclusive=True, group="ask")
    async def action_air(self) -> None:
        """Type today's air."""
        form = air_form(self._tries.air or last_air(self.weekend))
        values = await self.app.push_screen_wait(form)
        if values is not None:
            self._tries = replace(self._tries, air=read_air(values))
            self._show()

    # Comparing, and the nut

    @work(exclusive=True, group="ask")
    async def action_compare(self) -> None:
        """Choose the heat to compare with."""
        heat = await self._ask_heat("Compare with which heat?")
        if heat is not None:
            self._like = heat
            self.show_weekend()

    async def _ask_heat(self, title: str) -> str | None:
        choices = heat_choices(self.weekend, self.pitwright.clutch)
        if not choices:
            self.notify("No heat yet with a known recess and free length")
            return None
        chosen = self._like or (
            self._prepared.like_heat.run.heat
            if self._prepared is not None and self._prepared.like_heat is not None
            else None
        )
        return await self.app.push_screen_wait(
            Pick(title, [Choice(*choice) for choice in choices], chosen=chosen)
        )

    @work(exclusive=True, group="ask")
    async def action_hold(self, hold: Literal["bite", "preload"]) -> None:
        """Ask for the nut setting that brings a heat back, and try it."""
        from pitwright.desk.nut.nut import nut_advice

        heat = await self._ask_heat(f"Bring back the {hold} of which heat?")
        if heat is None:
            return
        self._like = heat
        self._advised(nut_advice(self.weekend, hold=hold, like=heat, clutch=self.pitwright.clutch))
        self.show_weekend_kept()

    @work(exclusive=True, group="ask")
    async def action_aim(self) -> None:
        """Ask for the nut setting that bites at a speed, and try it."""
        from pitwright.desk.nut.nut import nut_advice

        target = self._found.target_rpm if self._found is not None else None
        text = await self.app.push_screen_wait(
            AskLine(
                "Bite at how many rpm?",
                value="" if target is None else f"{target:.0f}",
                check=rpm_trouble,
                draft="aim",
            )
        )
        if text is None:
            return
        rpm = float(text.replace(" ", "").replace(",", "."))
        self._advised(nut_advice(self.weekend, target_rpm=rpm, clutch=self.pitwright.clutch))
        self.show_weekend_kept()

    def show_weekend_kept(self) -> None:
        """Gather afresh for another compared heat, and keep the nut advice."""
        nut = self._nut
        self.show_weekend()
        self._nut = nut
        self._show_nut()

    def _advised(self, advice: NutDesk) -> None:
        self._nut = advice
        if advice.wanted_mm is not None and not advice.refused:
            self._tries = replace(self._tries, recess_mm=advice.wanted_mm)

    # What was seen

    @work(exclusive=True, group="ask")
    async def action_observe(self) -> None:
        """Enter a speed seen on the car."""
        if not self.pitwright.session.writable:
            self.notify(
                "The folder is open for reading only; nothing can be noted", severity="warning"
            )
            return
        kind = await self.app.push_screen_wait(what_was_seen())
        if kind is None:
            return
        if kind == "bell":
            await self._read_bell()
            return
        how, source = kind.split(" ", 1)
        heats = [h.run.heat for h in self.weekend.heats if h.run.status != "cancelled"]
        drafts = self.pitwright.drafts
        values = await self.app.push_screen_wait(
            observed_form(
                how,
                heats,
                drafts.fields(_OBSERVED),
                on_typed=lambda typed: drafts.typed(_OBSERVED, typed),
            )
        )
        if values is None:
            return
        record = read_observed(
            how, source, values, now=self.pitwright.clock(), clutch=self._clutch_id
        )
        doubt = observation_doubt(self.weekend, record)
        if doubt and not await self.app.push_screen_wait(
            Confirm(f"{doubt}. Keep it as typed?", weighty=True)
        ):
            self.notify("Not kept; o has it as it was typed")
            return
        if self.pitwright.keep(record) is not None:
            drafts.forget(_OBSERVED)
            self.notify("Kept; the numbers are calibrated on it")

    async def _read_bell(self) -> None:
        """Enter a bell temperature; what matters is when, so it is the moment of the entry."""
        from pitwright.desk.warmth.gun import bell_trouble, gun_record, read_bell

        ask = AskLine("The bell by the gun now, in °C?", check=bell_trouble, draft="bell")
        text = await self.app.push_screen_wait(ask)
        if text is None:
            return
        now, clutch = self.pitwright.clock(), self._clutch_id
        if self.pitwright.keep(gun_record(self.weekend, read_bell(text), now=now, clutch=clutch)):
            self.notify("Kept; l shows what it says of the warmth")

    @property
    def _clutch_id(self) -> str:
        return self.weekend.card(self.pitwright.clutch).id

    def action_seen(self) -> None:
        """Show the speeds seen and the air."""
        if self._found is None:
            return
        self.app.push_screen(seen_sheet(self._found, self.weekend))

    def action_card(self) -> None:
        """Show the card's figures with source and doubt."""
        if self._prepared is not None:
            self.app.push_screen(card_sheet(self._prepared))

    def action_launch(self) -> None:
        """Show the launch, the gears and the warmth."""
        if self._prepared is not None and self._found is not None:
            now = self.pitwright.clock()
            self.app.push_screen(launch_sheet(self._prepared, self._found, now))
