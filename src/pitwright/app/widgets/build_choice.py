"""No build in progress: how the last one ended, and the routes that a new one can take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.standing import Standing
from pitwright.app.widgets.options import Options
from pitwright.desk.build.choice import LastBuild, last_build, lay_out, route_steps, routes
from pitwright.desk.wording import minutes_words, needed_words

if TYPE_CHECKING:
    from pitwright.desk.build.steptimes import WorkTime
    from pitwright.weekend.procedure import Route
    from pitwright.weekend.weekend import Weekend

__all__ = ["BuildChoice"]


class BuildChoice(Standing, Vertical):
    """The routes, with what to lay out for the one under the cursor, and its steps."""

    @dataclass
    class Begin(Message):
        """A build is to be begun on this route."""

        route: Route

    _weekend: Weekend | None = None
    _clutch: str | None = None

    def compose(self) -> ComposeResult:
        """Lay out the last build, the routes, and the steps of one."""
        with Vertical(id="build-begin"):
            yield Static("Last build", classes="heading")
            yield Static("", id="build-last", markup=False)
            yield Static("Begin a build: arrows choose, enter begins", classes="heading")
            yield Options(id="build-routes")
        with VerticalScroll(id="build-preview", can_focus=False):
            yield Static("", id="build-lay-out", markup=False)
            yield Static("", id="build-route-steps", classes="quiet", markup=False)

    @property
    def _routes(self) -> OptionList:
        return self.query_one("#build-routes", OptionList)

    def put_away(self) -> None:
        """Make room for a build in progress; the routes take no keys while it lasts."""
        self.display = False
        self._routes.disabled = True

    def show(self, weekend: Weekend, clutch: str | None) -> None:
        """Show what can be begun in this weekend, and take the keys."""
        self.display = True
        self._weekend, self._clutch = weekend, clutch
        last = last_build(weekend, clutch)
        self.query_one("#build-last", Static).update(Content(_last_words(last)))
        options = self._routes
        options.disabled = False
        held = options.highlighted
        options.set_options(
            Option(
                Content(
                    f"{c.route.capitalize():<14}{needed_words(c.time.minutes):>11}"
                    f"{c.steps:>4} steps  {_whose(c.time)}"
                ),
                id=c.route.replace(" ", "-"),
            )
            for c in routes(weekend)
        )
        options.highlighted = held if held is not None else 0
        self._show_steps()
        if self.screen.focused is None and not self.app.screen.is_modal:
            options.focus()

    def _show_steps(self) -> None:
        at = self._routes.highlighted
        if self._weekend is None or at is None:
            return
        choices = routes(self._weekend)
        if at >= len(choices):
            return
        steps = route_steps(self._weekend, choices[at].route)
        # The title stands last: where there is no room for a long one, it is cut and nothing else.
        times = [minutes_words(time.minutes) for _title, time in steps]
        room = max(map(len, times), default=0)
        lines = [
            f"{number:>2}  {time:>{room}}  {title}"
            for number, ((title, _time), time) in enumerate(zip(steps, times, strict=True), 1)
        ]
        preview = self.query_one("#build-preview", VerticalScroll)
        needed = lay_out(self._weekend, choices[at].route, self._clutch)
        preview.query_one("#build-lay-out", Static).update(Content("\n".join(needed)))
        preview.query_one("#build-route-steps", Static).update(Content("\n".join(lines)))
        preview.scroll_home(animate=False)

    def scroll_steps(self, pages: int) -> None:
        """Scroll the steps of the route."""
        preview = self.query_one("#build-preview", VerticalScroll)
        preview.scroll_page_down() if pages > 0 else preview.scroll_page_up()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the steps of the route under the cursor."""
        event.stop()
        if self.display:
            self._show_steps()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Pass on which route was chosen."""
        event.stop()
        if event.option.id is not None:
            self.post_message(self.Begin(cast("Route", event.option.id.replace("-", " "))))


def _whose(time: WorkTime) -> str:
    """Return whose times a route's rests on, short enough for a row that must not wrap."""
    if 0 < time.own < time.steps:
        return f"{time.own} by your own times"
    return f"by {time.basis}"


def _last_words(last: LastBuild | None) -> str:
    if last is None:
        return "None on record yet."
    worked = f", {last.worked} of work" if last.worked else ""
    lines = [f"{last.route.capitalize()}, finished {last.finished}{worked}"]
    return "\n".join([*lines, *(f"  {remark}" for remark in last.remarks)])
