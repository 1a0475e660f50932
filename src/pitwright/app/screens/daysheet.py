"""The Day sheet: how the day went, what is open, and what to prepare, to read and to print."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.widgets.show_text import ShowText
from pitwright.desk.sheet.scope import default_day, weekend_days

if TYPE_CHECKING:
    from pitwright.desk.sheet.day_sheet import DaySheet
    from pitwright.report.text import TextLine

__all__ = ["DaySheetScreen", "sheet_path"]

_STYLES = {
    "title": "bold",
    "heading": "bold $primary",
    "columns": "bold",
    "quiet": "$foreground 65%",
    "caution": "$warning",
    "plain": "",
}


def sheet_path(folder: Path, day: date | None, ending: str) -> Path:
    """Return where a day's sheet is written: ``sheets/2026-05-16.html`` in the weekend's folder."""
    return folder / "sheets" / f"{day.isoformat() if day is not None else 'weekend'}.{ending}"


class DaySheetScreen(WeekendScreen):
    """One day, or the whole weekend, as a sheet that scrolls."""

    TITLE = "Day sheet"
    PURPOSE = "How the day went, what is open, and what to prepare for the next"
    HELP_TEXT = (
        "One sheet per day and one for the weekend: heats and results, the clutch at each, what "
        "was done, wear, readings out of limits and what became of them, parts used, open points, "
        "what to prepare in order and with times, and what to buy. A day that is over is shown as "
        "it stood when it closed. The web page has pictures and prints on A4 and Letter; it and "
        "the Markdown file go into the folder 'sheets' beside the log."
    )
    CSS_PATH = "daysheet.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        # Ahead of the sheet's own keys, which would scroll it sideways.
        Binding("left", "go(-1)", "Day before", id="daysheet.before", priority=True,
                show=False, tooltip="The day before"),
        Binding("right,d", "go(1)", "Next day", id="daysheet.next", priority=True,
                tooltip="The next day, then the weekend"),
        Binding("h", "write('html')", "Web page", id="daysheet.html",
                tooltip="Write the sheet as a page to look at and to print"),
        Binding("m", "write('md')", "Markdown", id="daysheet.markdown",
                tooltip="Write the sheet as a Markdown file"),
        Binding("s", "stock", "Stock", id="daysheet.stock",
                tooltip="What is fitted, left and used up"),
    ]  # fmt: skip

    def __init__(self) -> None:
        super().__init__()
        self._day: date | None = None
        self._chosen = False
        self._lines: Callable[[int], tuple[TextLine, ...]] | None = None
        self._shown_at = 0

    def compose_body(self) -> ComposeResult:
        """Lay out the days and the sheet."""
        yield Static("", id="days")
        with VerticalScroll(id="sheet"):
            yield Static(Content("Working it out …"), id="text")

    def on_mount(self) -> None:
        """Let the arrow keys scroll at once."""
        self.query_one("#sheet").focus()

    def on_resize(self) -> None:
        """Fit the sheet to the width."""
        self.call_after_refresh(self._draw)

    def show_weekend(self) -> None:
        """Show the sheet as it stands now; it opens on today."""
        if not self._chosen:
            self._day, self._chosen = default_day(self.weekend, self.pitwright.clock()), True
        days = weekend_days(self.weekend)
        if self._day is not None and self._day not in days:
            self._day = days[-1]
        self._show_days()
        self._look()

    def _choices(self) -> list[date | None]:
        return [*weekend_days(self.weekend), None]

    def _show_days(self) -> None:
        parts: list[Content] = []
        for day in self._choices():
            words = f"{day:%a} {day.day}" if day is not None else "Weekend"
            chosen = day == self._day
            parts.append(
                Content.styled(f"[{words}]", "bold reverse") if chosen else Content(f" {words} ")
            )
        self.query_one("#days", Static).update(Content(" ").join(parts))

    @work(exclusive=True, group="daysheet")
    async def _look(self) -> None:
        """Work the sheet out beside the screen, so that keys are never held up."""
        sheet = await asyncio.to_thread(self._made, self._day)
        found = await asyncio.to_thread(_lines_of, sheet)
        self._lines, self._shown_at = found, 0
        self._draw()

    def _made(self, day: date | None) -> DaySheet:
        from pitwright.desk.sheet.day_sheet import day_sheet

        app = self.pitwright
        return day_sheet(app.weekend, app.clock(), day, problems=app.session.problems)

    def _draw(self) -> None:
        width = self.query_one("#sheet").scrollable_content_region.width - 2
        if self._lines is None or width < 20 or width == self._shown_at:
            return
        self._shown_at = width
        lines = [Content.styled(line.text, _STYLES[line.kind]) for line in self._lines(width)]
        self.query_one("#text", Static).update(Content("\n").join(lines))

    def action_go(self, by: int) -> None:
        """Go to another day; after the last one comes the weekend."""
        choices = self._choices()
        self._day = choices[(choices.index(self._day) + by) % len(choices)]
        self._show_days()
        self.query_one("#sheet").scroll_home(animate=False)
        self._look()

    @work(exclusive=True, group="daysheet-file")
    async def action_write(self, ending: str) -> None:
        """Write the sheet's file and say where it is."""
        from pitwright.store.files import replace_file

        day = self._day
        folder = self.pitwright.session.folder
        path = sheet_path(folder, day, ending)
        data = await asyncio.to_thread(lambda: _file_of(self._made(day), ending))
        if self.pitwright.guard(lambda: replace_file(path, data, within=folder)):
            self.notify(str(path.absolute()), title="Written", timeout=12, markup=False)

    def action_stock(self) -> None:
        """Show what is fitted, left and used up, and what to buy."""
        from pitwright.desk.stock.parts import stock_desk, stock_lines
        from pitwright.desk.stock.to_buy import to_buy

        lines = stock_lines(stock_desk(self.weekend))
        buy = [f"  {b.count} x {b.what}: {b.why}" for b in to_buy(self.weekend)]
        if buy:
            lines += ["", "To buy, at least", *buy]
        self.app.push_screen(ShowText("Stock", Content("\n".join(lines))))


def _lines_of(sheet: DaySheet) -> Callable[[int], tuple[TextLine, ...]]:
    from pitwright.report.sheet import document
    from pitwright.report.text import text_lines

    found = document(sheet)
    return lambda width: text_lines(found, width)


def _file_of(sheet: DaySheet, ending: str) -> bytes:
    from pitwright.report.formats import formatted

    return formatted(sheet, ending).encode()
