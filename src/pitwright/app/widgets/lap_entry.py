"""Where the laps of a heat come from: a file picked or named, a paste, or what is typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from textual import events
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.message import Message
from textual.widgets import Input, OptionList, Static, TextArea
from textual.widgets.option_list import Option

from pitwright.app.lap_reading import Way
from pitwright.app.standing import Standing
from pitwright.app.widgets.options import Options
from pitwright.signs import bare, visible
from pitwright.store.lap_source import LapSource, nearby_sources, sources_for

__all__ = ["LapEntry"]

_WAYS: dict[Way, str] = {"file": "File", "paste": "Paste", "typed": "Typed"}
_HINTS: dict[Way, str] = {
    "file": "Type a path, or pick a file below; enter reads it",
    "paste": "Paste the laps here, as they come out of the timing",
    "typed": "Type laps, parted by spaces: 21.3 21,4 1:02.5",
}
_CHUNK, _MOST_CHUNKS = 4000, 50


class LapEntry(Standing, Vertical):
    """One way at a time; what was entered the other ways stays."""

    @dataclass
    class Changed(Message):
        """Something was typed or pasted."""

    @dataclass
    class Chosen(Message):
        """A file is to be read."""

    def __init__(self, folder: Path, zone: ZoneInfo, *, id: str) -> None:
        super().__init__(id=id)
        self._folder = folder
        self._zone = zone
        self._sources: list[LapSource] = []
        self._way: Way = "file"

    def compose(self) -> ComposeResult:
        """Lay out every way."""
        yield Static("", id="hint", markup=False)
        yield Input(id="path", placeholder="such as ~/Downloads/q1.csv")
        yield Options(id="files")
        yield TextArea(id="paste", soft_wrap=False)
        yield TextArea(id="typed")

    @property
    def way(self) -> Way:
        """The way in hand."""
        return self._way

    @property
    def text(self) -> str:
        """The path, or the laps themselves."""
        if self._way == "file":
            return self._path.value.strip()
        return self.query_one(f"#{self._way}", TextArea).text

    @property
    def _path(self) -> Input:
        return self.query_one("#path", Input)

    def take(self, way: Way) -> None:
        """Take the laps from a file, a paste or typing from now on."""
        self._way = way
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

    # The draft

    def put_back(self, fields: Mapping[str, str]) -> Way:
        """Fill in what ``fields`` once held, and return the way it was entered."""
        with self.prevent(Input.Changed, TextArea.Changed):
            self._path.value = fields.get("path", "")
            for area in ("paste", "typed"):
                chunks = (fields.get(f"{area}{n}", "") for n in range(_MOST_CHUNKS))
                self.query_one(f"#{area}", TextArea).text = "".join(chunks)
        self._list_files()
        return "typed" if "typed0" in fields else "paste" if "paste0" in fields else "file"

    def fields(self) -> dict[str, str]:
        """Return all that was entered, in pieces that a draft has room for."""
        fields = {"path": bare(self._path.value)[:200]}
        for way in ("paste", "typed"):
            text = bare(self.query_one(f"#{way}", TextArea).text)
            if len(text) > _CHUNK * _MOST_CHUNKS:
                continue  # it came from somewhere, and can be had again
            for n in range(-(-len(text) // _CHUNK)):
                fields[f"{way}{n}"] = text[n * _CHUNK : (n + 1) * _CHUNK]
        return fields

    # Files

    def _list_files(self) -> None:
        typed = self._path.value.strip()
        self._sources = sources_for(typed) if typed else nearby_sources(self._folder)
        files = self.query_one("#files", OptionList)
        files.clear_options()
        if not self._sources:
            none = "No csv or txt file here" if typed else "No csv or txt file nearby"
            files.add_option(Option(none, disabled=True))
            return
        files.add_options(
            [Option(Content(_source_words(source, self._zone)), id=str(n))
             for n, source in enumerate(self._sources)]
        )  # fmt: skip

    def _take_path(self, text: str) -> None:
        entry = self._path
        entry.value = text
        entry.cursor_position = len(text)
        entry.focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        """List what the path may become."""
        event.stop()
        self._list_files()
        self.post_message(self.Changed())

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Read the file; look into the folder."""
        event.stop()
        path = Path(self.text).expanduser() if self.text else None
        if path is not None and path.is_dir():
            self._take_path(f"{path}/")
            return
        self.post_message(self.Chosen())

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take the file, or look into the folder."""
        event.stop()
        source = self._sources[int(event.option.id or 0)]
        self._take_path(f"{source.path}/" if source.folder else str(source.path))
        if not source.folder:
            self.post_message(self.Chosen())

    def on_text_area_changed(self, event: TextArea.Changed) -> None:
        """Tell that laps were pasted or typed."""
        event.stop()
        if event.text_area.id == self._way:
            self.post_message(self.Changed())

    def on_key(self, event: events.Key) -> None:
        """Go from the path down to the files, and back up."""
        focused = self.screen.focused
        if event.key == "down" and focused is self._path:
            event.prevent_default()
            files = self.query_one("#files", OptionList)
            files.focus()
            if files.highlighted is None and self._sources:
                files.highlighted = 0
        elif event.key == "up" and self._at_top_of_files():
            event.prevent_default()
            self._path.focus()

    def _at_top_of_files(self) -> bool:
        files = self.query_one("#files", OptionList)
        return self.screen.focused is files and files.highlighted in (0, None)


def _source_words(source: LapSource, zone: ZoneInfo) -> str:
    name = visible(source.path.name, keep="")
    if source.folder:
        return f"{name}/"
    when = datetime.fromtimestamp(source.changed, zone).strftime("%a %d %b %H:%M")
    size = f"{source.size / 1000:.0f} kB" if source.size >= 1000 else f"{source.size} B"
    folder = visible(source.path.parent.name, keep="")
    return f"{name:<28}  {when}  {size:>7}  {folder}"
