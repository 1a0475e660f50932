"""Laps for a heat: from a file, pasted or typed, with a preview before anything is kept."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.timer import Timer
from textual.widgets import Static

from pitwright.app.lap_reading import LapsRead, Way, read_way
from pitwright.app.screens.base import OverScreen
from pitwright.app.screens.help import OVER_KEYS
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.app.widgets.key_line import KeyLine
from pitwright.app.widgets.lap_entry import LapEntry
from pitwright.desk.pace.lap_preview import (
    figures_words,
    heat_for_laps,
    heats_for_laps,
    preview_lines,
    refused_lines,
)
from pitwright.desk.wording import counted, day_time
from pitwright.weekend.model import visible

if TYPE_CHECKING:
    from pitwright.app.app import PitwrightApp
    from pitwright.weekend.weekend import HeatOnClutch

__all__ = ["LapImportScreen", "open_lap_import"]

_LATER_S = 0.3


def open_lap_import(app: PitwrightApp, name: str) -> None:
    """Open the import for a heat; without one that was run, ask which."""
    if not app.session.writable:
        app.notify("The folder is open for reading only; no laps can be kept", severity="warning")
        return
    heat = heat_for_laps(app.weekend, name)
    if heat is not None:
        app.push_screen(LapImportScreen(heat.run.heat))
        return
    heats = heats_for_laps(app.weekend)
    if not heats:
        app.notify("Laps belong to a heat that was run, and none has been noted yet")
        return
    zone = app.weekend.event.zone
    choices = [
        Choice(
            h.run.heat,
            h.run.heat,
            f"{day_time(h.run.happened_at, zone)}, {counted(len(h.laps), 'lap')}"
            if h.laps
            else f"{day_time(h.run.happened_at, zone)}, no laps yet",
        )
        for h in reversed(heats)
    ]

    def answered(key: str | None) -> None:
        if key is not None:
            app.push_screen(LapImportScreen(key))

    app.push_screen(Pick("Laps of which heat?", choices), answered)


class LapImportScreen(OverScreen):
    """Choose where laps come from, see what was understood, then keep them."""

    TITLE = "Laps of a heat"
    PURPOSE = "Bring in the laps of one heat: from a file, pasted, or typed."
    HELP_TEXT = """
F3 takes a file from the timing, F4 a paste, F5 what you type. What was understood is shown before
anything is kept, and what could not be read is named line by line. A file with several drivers or
heats asks which laps are wanted (F7); times of passing the line are told from lap times (F6).

F2 keeps the laps, and the file as it came. Laps that are there already are put aside first, not
thrown away. Escape goes back, and what was typed stays for the next time.
"""
    CSS_PATH = "lap_import.tcss"
    AUTO_FOCUS = ""
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "keep", "Keep", id="laps.keep", tooltip="Keep these laps", priority=True),
        Binding("f3", "way('file')", "File", id="laps.file", tooltip="From a file", priority=True),
        Binding("f4", "way('paste')", "Paste", id="laps.paste", priority=True,
                tooltip="Paste them"),
        Binding("f5", "way('typed')", "Type", id="laps.typed", priority=True,
                tooltip="Type them"),
        # Ahead of the text area, which would select with these.
        Binding("f6", "kind", "Passing times", id="laps.kind", priority=True,
                tooltip="These are times of passing the line, or they are not"),
        Binding("f7", "driver", "Which", id="laps.driver", priority=True,
                tooltip="Whose laps of the file, or of which heat"),
        Binding("pagedown", "scroll(1)", "Scroll", show=False, id="laps.down", priority=True,
                tooltip="Scroll down"),
        Binding("pageup", "scroll(-1)", "Scroll", show=False, id="laps.up", priority=True,
                tooltip="Scroll up"),
        Binding("escape", "back", "Back", id="laps.back", priority=True,
                tooltip="Back; what was typed stays for the next time"),
        *OVER_KEYS,
    ]  # fmt: skip

    def __init__(self, heat: str) -> None:
        super().__init__()
        self._heat_name = heat
        self._driver: str | None = None
        self._kind: str | None = None
        self._read: LapsRead | None = None
        self._later: Timer | None = None
        self._draft = f"laps-{heat}"[:40].rstrip(" .-_")

    @property
    def heat(self) -> HeatOnClutch:
        """The heat the laps are for, as it stands now."""
        found = heat_for_laps(self.pitwright.weekend, self._heat_name)
        assert found is not None  # a heat's record is never erased while the app runs
        return found

    @property
    def read(self) -> LapsRead | None:
        """What was understood last."""
        return self._read

    def compose(self) -> ComposeResult:
        """Lay out the entry, and the preview beside or below."""
        with Vertical(id="import"):
            yield Static("", id="title", markup=False)
            with Container(id="halves"):
                zone = self.pitwright.weekend.event.zone
                yield LapEntry(self.pitwright.session.folder, zone, id="entry")
                with VerticalScroll(id="preview", can_focus=False):
                    yield Static("", id="understood", markup=False)
                    yield Static("", id="refused", markup=False)
        yield KeyLine()

    def on_mount(self) -> None:
        """Put back what was typed before."""
        run = self.heat.run
        when = day_time(run.happened_at, self.pitwright.weekend.event.zone)
        ran = "" if run.run_minutes is None else f", ran {run.run_minutes:g} min"
        self.query_one("#title", Static).update(
            Content(f"Laps of {run.heat} ({run.heat_kind}, {when}{ran})")
        )
        draft = self.pitwright.weekend.open.drafts.get(self._draft)
        self.action_way(self._entry.put_back(draft.fields if draft is not None else {}))

    # Where they come from

    @property
    def _entry(self) -> LapEntry:
        return self.query_one(LapEntry)

    def action_way(self, way: Way) -> None:
        """Take the laps from a file, a paste or typing."""
        self._driver = self._kind = None
        self._entry.take(way)
        self._read = None
        self._look()

    def on_lap_entry_chosen(self) -> None:
        """Read the file chosen."""
        self._driver = self._kind = None
        self._look(ask=True)

    def on_lap_entry_changed(self) -> None:
        """Read what was pasted or typed, a moment after the last key."""
        self.pitwright.drafts.typed(self._draft, self._entry.fields())
        if self._later is not None:
            self._later.stop()
        self._later = self.set_timer(_LATER_S, self._settled)

    def _settled(self) -> None:
        if self._entry.way != "file":
            self._look()  # a question in the middle of typing would be in the way

    # Reading

    @work(exclusive=True, group="read")
    async def _look(self, *, ask: bool = False) -> None:
        """Read what is there and show it; ``ask`` whose laps they are, when there are several."""
        way, text = self._entry.way, self._entry.text
        if not text.strip():
            self._read = None
            self._show()
            return
        self._read = await asyncio.to_thread(read_way, way, text, self._driver, self._kind)
        self._show()
        if ask and self._read.question:
            self.action_driver()

    def _show(self) -> None:
        read = self._read
        understood, refused = "", ""
        if read is None:
            understood = "Nothing read yet. What was understood is shown here first."
        elif read.trouble:
            understood = f"Cannot be read: {read.trouble}"
        elif read.question:
            understood = (
                f"Read as {read.sentence}.\n{read.asks} F7 asks: {'; '.join(read.question)}"
            )
        else:
            understood = "\n".join(
                preview_lines(self.heat, read.laps, read.sentence, read.notes, read.driver)
            )
            if read.laps:
                understood += "\nF2 keeps them."
        if read is not None:
            refused = "\n".join(refused_lines(read.refused))
        self.query_one("#understood", Static).update(Content(understood))
        self.query_one("#refused", Static).update(Content(refused))
        self.query_one("#preview", VerticalScroll).scroll_home(animate=False)
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer only what makes sense for what was read."""
        read = self._read
        if action == "keep":
            return True if read is not None and read.laps else None
        if action == "driver":
            return read is not None and bool(read.question or len(read.drivers) > 1)
        if action == "kind":
            return read is not None and not read.trouble and self._entry.way != "typed"
        return True

    def action_kind(self) -> None:
        """Take the times for passings of the line, or for laps."""
        if self._read is not None:
            self._kind = "lap times" if self._read.kind == "passing times" else "passing times"
            self._look()

    def action_driver(self) -> None:
        """Ask which of the laps in the file are wanted."""
        read = self._read
        if read is None:
            return
        names = read.question or read.drivers
        usual = self.pitwright.weekend.event.driver.casefold()
        known = self._driver or next((n for n in names if n.casefold() == usual), None)

        def answered(name: str | None) -> None:
            if name is not None:
                self._driver = name
                self._look()

        choices = [Choice(name, visible(name, keep="")) for name in names]
        self.app.push_screen(Pick(read.asks or "Which laps?", choices, chosen=known), answered)

    def action_scroll(self, step: int) -> None:
        """Scroll the preview."""
        self.query_one("#preview", VerticalScroll).scroll_relative(y=5 * step, animate=False)

    # Leaving and keeping

    def action_back(self) -> None:
        """Go back; what was typed stays as a draft."""
        if self._later is not None:
            self._later.stop()
        self.pitwright.drafts.typed(self._draft, self._entry.fields())
        self.dismiss()

    @work(exclusive=True, group="keep")
    async def action_keep(self) -> None:
        """Keep the laps, after asking when there are others already."""
        read, heat = self._read, self.heat
        if read is None or not read.laps:
            return
        name = heat.run.heat
        same = [round(x, 6) for x in heat.laps] == [round(x, 6) for x in read.laps]
        if heat.laps and not same:
            question = (
                f"{name} has {figures_words(heat.laps)} already. Replace them? "
                "The old ones stay in the folder, under laps/as-it-came."
            )
            if not await self.app.push_screen_wait(Confirm(question)):
                return

        session = self.pitwright.session
        laps = list(read.laps)
        if not self.pitwright.guard(lambda: session.keep_laps(name, laps, read.source, read.marks)):
            return
        if self._later is not None:
            self._later.stop()
        self.pitwright.drafts.forget(self._draft)
        self.notify(f"{name}: {figures_words(read.laps)}", title="Laps kept", markup=False)
        self.dismiss()
        self.app.call_later(self.pitwright.announce)
