"""Laps for a heat: from a file, pasted or typed, with a preview before anything is kept."""

from __future__ import annotations

import asyncio
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, cast

from textual import events, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.timer import Timer
from textual.widgets import Input, OptionList, Static, TextArea
from textual.widgets.option_list import Option

from pitwright.app.lap_reading import LapsRead, Way, read_way
from pitwright.app.screens.help import OVER_KEYS
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.app.widgets.key_line import KeyLine
from pitwright.desk.pace.lap_preview import (
    figures_words,
    heat_for_laps,
    heats_for_laps,
    preview_lines,
    refused_lines,
)
from pitwright.desk.wording import day_time
from pitwright.store.lap_source import LapSource, nearby_sources, sources_for
from pitwright.weekend.model import visible

if TYPE_CHECKING:
    from pitwright.app.app import PitwrightApp
    from pitwright.weekend.weekend import HeatOnClutch

__all__ = ["LapImportScreen", "open_lap_import"]

_WAYS: dict[Way, str] = {"file": "File", "paste": "Paste", "typed": "Typed"}
_HINTS: dict[Way, str] = {
    "file": "Type a path, or pick a file below; enter reads it",
    "paste": "Paste the laps here, as they come out of the timing",
    "typed": "Type laps, parted by spaces: 21.3 21,4 1:02.5",
}
_CHUNK, _MOST_CHUNKS = 4000, 50
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
            f"{day_time(h.run.happened_at, zone)}, {len(h.laps)} laps"
            if h.laps
            else f"{day_time(h.run.happened_at, zone)}, no laps yet",
        )
        for h in reversed(heats)
    ]

    def answered(key: str | None) -> None:
        if key is not None:
            app.push_screen(LapImportScreen(key))

    app.push_screen(Pick("Laps of which heat?", choices), answered)


class LapImportScreen(ModalScreen[None]):
    """Choose where laps come from, see what was understood, then keep them."""

    TITLE = "Laps of a heat"
    PURPOSE = "Bring in the laps of one heat: from a file, pasted, or typed."
    HELP_TEXT = """
F3 takes a file from the timing, F4 a paste, F5 what you type. What was understood is shown before
anything is kept, and what could not be read is named line by line. A file with several drivers
asks whose laps are wanted (F7); times of passing the line are told from lap times (F6).

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
        Binding("f7", "driver", "Driver", id="laps.driver", priority=True,
                tooltip="Whose laps of the file"),
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
        self._way: Way = "file"
        self._driver: str | None = None
        self._kind: str | None = None
        self._read: LapsRead | None = None
        self._sources: list[LapSource] = []
        self._later: Timer | None = None
        self._draft = f"laps-{heat}"[:40].rstrip(" .-_")

    @property
    def pitwright(self) -> PitwrightApp:
        """The app, with its own type."""
        return cast("PitwrightApp", self.app)

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
                with Vertical(id="entry"):
                    yield Static("", id="hint", markup=False)
                    yield Input(id="path", placeholder="such as ~/Downloads/q1.csv")
                    yield OptionList(id="files")
                    yield TextArea(id="paste", soft_wrap=False)
                    yield TextArea(id="typed")
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
        fields = draft.fields if draft is not None else {}
        with self.prevent(Input.Changed, TextArea.Changed):
            self.query_one("#path", Input).value = fields.get("path", "")
            for area in ("paste", "typed"):
                chunks = (fields.get(f"{area}{n}", "") for n in range(_MOST_CHUNKS))
                self.query_one(f"#{area}", TextArea).text = "".join(chunks)
        way: Way = "typed" if "typed0" in fields else "paste" if "paste0" in fields else "file"
        self._list_files()
        self.action_way(way)

    # The three ways

    def action_way(self, way: Way) -> None:
        """Take the laps from a file, a paste or typing."""
        self._way = way
        self._driver = self._kind = None
        self.query_one("#hint", Static).update(
            Content.assemble(Content.styled(f"{_WAYS[way]}: ", "bold"), _HINTS[way])
        )
        for shown, ids in (
            ("file", ("path", "files")),
            ("paste", ("paste",)),
            ("typed", ("typed",)),
        ):
            for each in ids:
                self.query_one(f"#{each}").display = shown == way
        self.query_one("#path" if way == "file" else f"#{way}").focus()
        self._read = None
        self._look()

    def _text(self) -> str:
        if self._way == "file":
            return self.query_one("#path", Input).value.strip()
        return self.query_one(f"#{self._way}", TextArea).text

    def _list_files(self) -> None:
        typed = self.query_one("#path", Input).value.strip()
        self._sources = (
            sources_for(typed) if typed else nearby_sources(self.pitwright.session.folder)
        )
        files = self.query_one("#files", OptionList)
        files.clear_options()
        if not self._sources:
            none = "No csv or txt file here" if typed else "No csv or txt file nearby"
            files.add_option(Option(none, disabled=True))
            return
        files.add_options(
            [Option(Content(_source_words(source)), id=str(n))
             for n, source in enumerate(self._sources)]
        )  # fmt: skip

    def on_input_changed(self, event: Input.Changed) -> None:
        """List what the path may become."""
        event.stop()
        self._list_files()
        self._keep_draft_soon()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Read the file; look into the folder."""
        event.stop()
        path = Path(self._text()).expanduser() if self._text() else None
        if path is not None and path.is_dir():
            self._take_path(f"{path}/")
            return
        self._driver = self._kind = None
        self._look(ask=True)

    def on_key(self, event: events.Key) -> None:
        """Go from the path down to the files, and back up."""
        if event.key == "down" and self.focused is self.query_one("#path"):
            event.prevent_default()
            files = self.query_one("#files", OptionList)
            files.focus()
            if files.highlighted is None and self._sources:
                files.highlighted = 0
        elif event.key == "up" and self._at_top_of_files():
            event.prevent_default()
            self.query_one("#path").focus()

    def _at_top_of_files(self) -> bool:
        files = self.query_one("#files", OptionList)
        return self.focused is files and files.highlighted in (0, None)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take the file, or look into the folder."""
        event.stop()
        source = self._sources[int(event.option.id or 0)]
        self._take_path(f"{source.path}/" if source.folder else str(source.path))
        if not source.folder:
            self._driver = self._kind = None
            self._look(ask=True)

    def _take_path(self, text: str) -> None:
        entry = self.query_one("#path", Input)
        entry.value = text
        entry.cursor_position = len(text)
        entry.focus()

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        """Read what was pasted or typed, a moment after the last key."""
        event.stop()
        if event.text_area.id == self._way:
            self._keep_draft_soon()

    def _keep_draft_soon(self) -> None:
        if self._later is not None:
            self._later.stop()
        self._later = self.set_timer(_LATER_S, self._settled)

    def _settled(self) -> None:
        self._keep_draft()
        if self._way != "file":
            self._look()  # a question in the middle of typing would be in the way

    def _keep_draft(self) -> None:
        fields = {"path": visible(self.query_one("#path", Input).value)[:200]}
        for way in ("paste", "typed"):
            text = visible(self.query_one(f"#{way}", TextArea).text)
            if len(text) > _CHUNK * _MOST_CHUNKS:
                continue  # it came from somewhere, and can be had again
            for n in range(-(-len(text) // _CHUNK)):
                fields[f"{way}{n}"] = text[n * _CHUNK : (n + 1) * _CHUNK]
        kept = self.pitwright.weekend.open.drafts.get(self._draft)
        if {k: v for k, v in fields.items() if v.strip()} != (kept.fields if kept else {}):
            self.pitwright.guard(lambda: self.pitwright.session.keep_draft(self._draft, fields))

    # Reading

    @work(exclusive=True, group="read")
    async def _look(self, *, ask: bool = False) -> None:
        """Read what is there and show it; ``ask`` whose laps they are, when there are several."""
        text = self._text()
        if not text.strip():
            self._read = None
            self._show()
            return
        self._read = await asyncio.to_thread(read_way, self._way, text, self._driver, self._kind)
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
                f"Read as {read.sentence}.\nWhose laps? F7 asks: {', '.join(read.question)}"
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
            return self._way != "typed" and read is not None and not read.trouble
        return True

    def action_kind(self) -> None:
        """Take the times for passings of the line, or for laps."""
        if self._read is not None:
            self._kind = "lap times" if self._read.kind == "passing times" else "passing times"
            self._look()

    def action_driver(self) -> None:
        """Ask whose laps they are."""
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
        self.app.push_screen(Pick("Whose laps?", choices, chosen=known), answered)

    def action_scroll(self, step: int) -> None:
        """Scroll the preview."""
        self.query_one("#preview", VerticalScroll).scroll_relative(y=5 * step, animate=False)

    # Leaving and keeping

    def action_back(self) -> None:
        """Go back; what was typed stays as a draft."""
        if self._later is not None:
            self._later.stop()
        self._keep_draft()
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

        def write() -> bool:
            self.pitwright.session.keep_laps(name, list(read.laps), read.source)
            return True

        if self.pitwright.guard(write) is not True:
            return
        if self._later is not None:
            self._later.stop()
        if self._draft in self.pitwright.weekend.open.drafts:
            self.pitwright.guard(lambda: self.pitwright.session.keep_draft(self._draft, {}))
        self.notify(f"{name}: {figures_words(read.laps)}", title="Laps kept", markup=False)
        self.dismiss()
        self.app.call_later(self.pitwright.announce)


def _source_words(source: LapSource) -> str:
    name = visible(source.path.name, keep="")
    if source.folder:
        return f"{name}/"
    when = datetime.fromtimestamp(source.changed).strftime("%a %d %b %H:%M")
    size = f"{source.size / 1000:.0f} kB" if source.size >= 1000 else f"{source.size} B"
    folder = visible(source.path.parent.name, keep="")
    return f"{name:<28}  {when}  {size:>7}  {folder}"
