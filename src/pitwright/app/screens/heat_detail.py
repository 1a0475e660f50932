"""One heat with everything known of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from pitwright.app.messages import WeekendChanged
from pitwright.app.screens.base import OverScreen
from pitwright.app.screens.help import OVER_KEYS
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.sections import sections_content
from pitwright.app.widgets.show_text import ShowText
from pitwright.desk.heats.heat_detail import heat_detail
from pitwright.desk.heats.return_to import plan_lines, return_to
from pitwright.desk.heats.timeline import timeline

if TYPE_CHECKING:
    pass

__all__ = ["HeatDetailScreen"]

_TWO_COLUMNS_FROM = 110


class HeatDetailScreen(OverScreen):
    """All of one heat; left and right go to the heats before and after."""

    TITLE = "One heat"
    PURPOSE = "All that is known of one heat: its clutch, its laps, its notes."
    HELP_TEXT = """
The clutch is shown as it stood when the heat began, each figure with its age: it is worked out
from what was noted before, never typed. Arrows go to the heats before and after; r says which
way to turn what, to get back to how it was here. To correct what is wrong, go back and press e.
"""
    CSS_PATH = "heat_detail.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter", "dismiss", "Back", id="heat.back", tooltip="Back to the list"),
        # Priority, since the scrolling text would take the arrows for itself.
        Binding(
            "left", "go(-1)", "Before", priority=True, id="heat.before", tooltip="The heat before"
        ),
        Binding(
            "right", "go(1)", "After", priority=True, id="heat.after", tooltip="The heat after"
        ),
        Binding(
            "r",
            "return_to",
            "Return",
            id="heat.return",
            tooltip="What to move to get back to how it was",
        ),
        *OVER_KEYS,
    ]

    def __init__(self, key: str) -> None:
        super().__init__()
        self._key = key

    def compose(self) -> ComposeResult:
        """Lay out title and text."""
        with Vertical(id="heat"):
            yield Static("", id="title")
            with VerticalScroll(id="scroll"), Horizontal(id="halves"):
                yield Static("", id="left")
                yield Static("", id="right")
        yield KeyLine()

    def on_mount(self) -> None:
        """Show the heat; the arrow keys scroll."""
        self.query_one("#scroll").focus()
        self._show()

    def on_resize(self) -> None:
        """Fit the text to the width."""
        self._show()

    def on_weekend_changed(self, event: WeekendChanged) -> None:
        """Show the heat afresh."""
        event.stop()
        self._show()

    def _show(self) -> None:
        weekend, now = self.pitwright.weekend, self.pitwright.clock()
        try:
            detail = heat_detail(weekend, self._key, now)
        except KeyError:
            # Taken back or renamed from elsewhere while it was on show.
            self.dismiss()
            return
        self.query_one("#title", Static).update(Content(detail.title))
        width = self.size.width - 4
        left, right = self.query_one("#left", Static), self.query_one("#right", Static)
        right.display = self.size.width >= _TWO_COLUMNS_FROM
        if right.display:
            about = ("Heat", "Driver", "Air, track and car", "Laps", "Corrections")
            mine = [s for s in detail.sections if s.title in about]
            clutch = [s for s in detail.sections if s.title not in about]
            left.update(sections_content(mine, width // 2 - 2))
            right.update(sections_content(clutch, width // 2 - 2))
        else:
            left.update(sections_content(detail.sections, width))

    def action_go(self, by: int) -> None:
        """Go to the heat before or after."""
        keys = [h.key for h in timeline(self.pitwright.weekend, self.pitwright.clock()).heats]
        at = keys.index(self._key) + by if self._key in keys else 0
        if 0 <= at < len(keys):
            self._key = keys[at]
            self._show()
            self.query_one("#scroll").scroll_home(animate=False)

    def action_return_to(self) -> None:
        """Show the moves back to this heat."""
        weekend, now = self.pitwright.weekend, self.pitwright.clock()
        try:
            plan = return_to(weekend, heat_detail(weekend, self._key, now).line.record, now)
        except KeyError:
            self.notify("This heat has not been run", severity="warning")
            return
        title, *rest = plan_lines(plan, weekend)
        self.app.push_screen(ShowText(title, Content("\n".join(rest) or "Nothing to do.")))
