"""The pit clock: time to the next heat, what fits, timers, and the list before a main."""

from __future__ import annotations

import asyncio
from datetime import datetime
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.app import SCREENS_BY_KEY
from pitwright.app.screens.base import WeekendScreen
from pitwright.app.timekeeping import keep_timers, start_cooling
from pitwright.app.widgets.big_print import letters
from pitwright.app.widgets.drafted_form import ask_form
from pitwright.app.widgets.options import Options
from pitwright.app.widgets.pre_main_text import pre_main_text
from pitwright.desk.clock.pit_clock import HANDS_OFF, PitClock, pit_clock
from pitwright.desk.clock.pit_clock_words import (
    basis_lines,
    headline,
    job_lines,
    open_build_line,
    timer_line,
)
from pitwright.desk.clock.stints import stint_lines, stints
from pitwright.desk.clock.timers import mark_seen, read_timer, timer_form, with_timer, without
from pitwright.desk.heats.note_forms import delay_form, read_delay
from pitwright.desk.status import next_main

if TYPE_CHECKING:
    from pitwright.desk.clock.pre_main import PreMain

__all__ = ["PitClockScreen", "countdown"]


def countdown(minutes: float | None) -> str:
    """Return the time to a start as a clock face: ``1:02:03``, ``40:12``, ``-3:10`` when late."""
    if minutes is None:
        return "--:--"
    seconds = int(abs(minutes) * 60)
    hours, rest = divmod(seconds, 3600)
    sign = "-" if minutes < 0 and seconds else ""
    if hours:
        return f"{sign}{hours}:{rest // 60:02d}:{rest % 60:02d}"
    return f"{sign}{rest // 60:02d}:{rest % 60:02d}"


class PitClockScreen(WeekendScreen):
    """The clock over whatever screen it was opened from."""

    TITLE = "Pit clock"
    PURPOSE = "What still fits before the next heat, timers, and the list before a main"
    HELP_TEXT = (
        "\nWhat fits reckons with your own step times once there are some, with the thread-lock's "
        "handling time, and with the cooling down before measuring. 'Start by' is the latest "
        "moment to begin.\n\nTimers run on the wall clock: quitting or a sleeping laptop does not "
        "stop them. A due one rings once and stands in the top line until it is seen or "
        "cleared.\n\nOn the list before a main a point is good only by a record in the log.\n"
    )
    CSS_PATH = "pit_clock.tcss"
    AUTO_FOCUS = ""
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (116, "-wide")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "clock", "Back", id="clock.back", tooltip="Back to the screen"),
        Binding("k", "clock", "Back", show=False, id="screen.clock",
                tooltip="Pit clock: what still fits, timers, the list before a main"),
        Binding("c", "cool_down", "Cooling", id="clock.cool",
                tooltip="The clutch cools down from now"),
        Binding("t", "own_timer", "Timer", id="clock.timer", tooltip="Start a timer of your own"),
        Binding("s,enter", "seen", "Seen", key_display="s", id="clock.seen",
                tooltip="The due timers are seen to"),
        Binding("x", "clear_timer", "Clear", id="clock.clear",
                tooltip="Take the timer under the cursor away"),
        Binding("d", "delay", "Delay", id="clock.delay", tooltip="The schedule runs late"),
        Binding("w", "wear", "Wear", show=False, id="screen.wear",
                tooltip="Will spring and shoes last?"),
        Binding("r", "race", "Race", id="clock.race",
                tooltip="The bite over the next main: which spring, shoes and recess"),
        Binding("p", "list", "List", id="clock.list",
                tooltip="Show or put away the list before a main"),
        Binding("pageup", "scroll(-1)", "Scroll", show=False, id="clock.up", priority=True),
        Binding("pagedown", "scroll(1)", "Scroll", show=False, id="clock.down", priority=True),
        *(
            Binding(key, f"leave_to('{name}')", title, id=f"show.{name}", show=False,
                    tooltip=f"Go to {title}")
            for key, name, title, _module, _cls in SCREENS_BY_KEY
        ),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._shown: dict[str, str] = {}
        self._names: tuple[str, ...] = ()
        self._listed: bool | None = None
        self._list_of: datetime | None = None
        self._list: PreMain | None = None

    def compose_body(self) -> ComposeResult:
        """Lay out the clock's face above, what fits and timers, list and stops below or beside."""
        with Horizontal(id="clock-face"):
            yield Static("", id="clock-digits", markup=False)
            yield Static("", id="clock-head", markup=False)
        with VerticalScroll(id="clock-rest", can_focus=False):
            with Vertical(id="clock-left"):
                yield Static("", id="clock-basis", markup=False)
                yield Static("", id="clock-jobs", markup=False)
                yield Static("Timers", id="clock-timers-title", markup=False)
                yield Options(id="clock-timers")
            with Vertical(id="clock-right"):
                yield Static("", id="clock-list", markup=False)
                yield Static("", id="clock-stops-title", markup=False)
                yield Static("", id="clock-stops", markup=False)

    # Showing

    def show_status(self) -> None:
        """Let the clock tick with the top line."""
        super().show_status()
        self._tick()

    def show_weekend(self) -> None:
        """Show the weekend as it stands now."""
        self._tick()
        self._look()

    def on_resize(self) -> None:
        """Set face and list anew, once the screen has its classes for the width."""
        self.call_after_refresh(self._tick)
        self.call_after_refresh(self._show_list)

    def _tick(self) -> None:
        now = self.pitwright.clock()
        found = pit_clock(self.weekend, now, self.pitwright.clutch)
        face = countdown(found.minutes_to_heat)
        drawn = letters(face, double=self.has_class("-wide")) or [face]
        self._put("clock-digits", "\n".join(drawn))
        tight = found.open_build_spare is not None and found.open_build_spare < 0
        hands_off = found.open_route is None and found.advice == HANDS_OFF
        self.query_one("#clock-face").set_class(tight or hands_off, "-tight")
        head = [*headline(found, self.weekend), open_build_line(found)]
        self._put("clock-head", "\n".join(line for line in head if line))
        self._put("clock-basis", "\n".join(basis_lines(found)))
        self._put("clock-jobs", "\n".join(job_lines(found, self.weekend)))
        self._show_timers(found)
        minute = now.replace(second=0, microsecond=0)
        if self._list_of is not None and self._list_of != minute:
            self._look()

    def _put(self, name: str, text: str) -> None:
        # Only what has changed is drawn again, or the whole screen would be laid out each second.
        if self._shown.get(name) != text:
            self._shown[name] = text
            self.query_one(f"#{name}", Static).update(Content(text))

    def _show_timers(self, found: PitClock) -> None:
        options = self.query_one("#clock-timers", OptionList)
        lines = {t.name: timer_line(t, found, self.weekend) for t in found.timers}
        prompts = {
            t.name: Content.styled(f"! {lines[t.name]}", "bold $warning")
            if t.due and not t.seen
            else Content(f"  {lines[t.name]}")
            for t in found.timers
        }
        self._put("clock-timers-title", "Timers" if lines else "Timers: none runs")
        options.display = bool(lines)
        if tuple(lines) != self._names:
            at = options.highlighted or 0
            self._names = tuple(lines)
            options.set_options(Option(prompts[name], id=name) for name in lines)
            self._shown.update((f"timer {name}", str(prompts[name])) for name in lines)
            if lines:
                options.highlighted = min(at, len(lines) - 1)
                if self.focused is None:
                    options.focus()
            self.refresh_bindings()
            return
        for name, prompt in prompts.items():
            if self._shown.get(f"timer {name}") != str(prompt):
                self._shown[f"timer {name}"] = str(prompt)
                options.replace_option_prompt(name, prompt)

    @work(exclusive=True, group="pre-main")
    async def _look(self) -> None:
        """Make the list beside the screen, so that the clock never stops for it."""
        from pitwright.desk.clock.pre_main import pre_main

        now = self.pitwright.clock()
        self._list_of = now.replace(second=0, microsecond=0)
        self._list = await asyncio.to_thread(pre_main, self.weekend, now, self.pitwright.clutch)
        self._show_list()

    def _show_list(self) -> None:
        if self._list is None:
            return
        now = self.pitwright.clock()
        found = pit_clock(self.weekend, now, self.pitwright.clutch)
        before_main = found.heat is not None and found.heat.kind == "main"
        listed = self._listed if self._listed is not None else before_main
        right = self.query_one("#clock-right")
        right.display = listed or self.has_class("-wide")
        if not right.display:
            return
        width = max(right.content_size.width or self.size.width - 4, 40)
        text = pre_main_text(self._list, self.weekend, now, width)
        self.query_one("#clock-list", Static).update(text)
        main = next_main(self.weekend, now)
        title = plan = ""
        if main is not None:
            title = f"Fuel stops in {main.name}, {main.minutes:.0f} min"
            stops = stints(self.weekend, main.minutes, self.pitwright.clutch)
            plan = (
                f"Cannot say: {stops}" if isinstance(stops, str) else "\n".join(stint_lines(stops))
            )
        self._put("clock-stops-title", title)
        self._put("clock-stops", plan)

    # Keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the timers' keys only while there are timers, the list's where it may be hidden."""
        if action in ("seen", "clear_timer"):
            return bool(self._names)
        if action == "list":
            return not self.has_class("-wide")
        return True

    def action_clock(self) -> None:
        """Go back to the screen it was opened from."""
        self.dismiss()

    def action_leave_to(self, name: str) -> None:
        """Go to another screen instead of back."""
        self.dismiss()
        self.pitwright.action_show(name)

    def action_list(self) -> None:
        """Show the list before a main, or put it away."""
        self._listed = not self.query_one("#clock-right").display
        self._show_list()
        if self._listed:
            rest = self.query_one("#clock-rest", VerticalScroll)
            self.call_after_refresh(
                rest.scroll_to_widget, self.query_one("#clock-right"), top=True, animate=False
            )

    def action_scroll(self, step: int) -> None:
        """Scroll what stands below the clock's face."""
        rest = self.query_one("#clock-rest", VerticalScroll)
        rest.scroll_relative(y=max(rest.size.height - 2, 1) * step, animate=False)

    def action_race(self) -> None:
        """Show the bite over the next main."""
        from pitwright.app.screens.race import RaceScreen

        self.app.push_screen(RaceScreen())

    def action_cool_down(self) -> None:
        """Start the cooling timer now."""
        if not start_cooling(self.pitwright, self.pitwright.clock()):
            self.notify(
                "The clutch card gives no time to cool down: targets.cool_down", severity="warning"
            )

    def action_own_timer(self) -> None:
        """Ask for a timer and start it."""
        ask_form(
            self.pitwright,
            "timer",
            "A timer of your own",
            timer_form(),
            lambda values: read_timer(self.weekend.open.timers, values, self.pitwright.clock()),
            lambda timer, _values: keep_timers(
                self.pitwright, with_timer(self.weekend.open.timers, timer)
            ),
        )

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take enter on a timer as having seen it."""
        event.stop()
        self.action_seen()

    def action_seen(self) -> None:
        """Mark every due timer as seen: it leaves the top line and stays in this list."""
        timers = self.weekend.open.timers
        seen = mark_seen(timers, self.pitwright.clock())
        if seen != timers:
            keep_timers(self.pitwright, seen)

    def action_clear_timer(self) -> None:
        """Take the timer under the cursor away."""
        at = self.query_one("#clock-timers", OptionList).highlighted
        if at is not None and at < len(self._names):
            keep_timers(self.pitwright, without(self.weekend.open.timers, self._names[at]))

    def action_delay(self) -> None:
        """Note that the schedule runs late."""
        now = self.pitwright.clock()
        coming = pit_clock(self.weekend, now, self.pitwright.clutch).heat
        ask_form(
            self.pitwright,
            "delay",
            "The schedule runs late",
            delay_form(self.weekend, now, coming.name if coming is not None else ""),
            lambda values: read_delay(self.weekend, values, self.pitwright.clock()),
            lambda record, _values: self.pitwright.keep(record) is not None,
        )
