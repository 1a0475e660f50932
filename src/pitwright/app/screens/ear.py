"""The bite by ear: the take-up speed out of a sound recording."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, ProgressBar, Static
from textual.widgets.option_list import Option

from pitwright.app.screens.ear_takes import EarTakes
from pitwright.app.widgets.ear_plot import EarPlot
from pitwright.app.widgets.options import Options
from pitwright.desk.ear import words
from pitwright.desk.ear.bench import EarBench, reading_at
from pitwright.store.recordings import recordings

if TYPE_CHECKING:
    pass

__all__ = ["EarScreen"]

_INTRO = (
    "f chooses a recording: of a launch, of several, or of a slow raise of the throttle.\n\n"
    "Record from a few metres away, best from beside the track at the place where the car takes "
    "off. Stand clear of the track, and of wheels, bell and flywheel."
)
_NO_LIBRARY = (
    "\n\nWAV files can be read as they are. For what phones write (m4a, mp3, ogg) a library is "
    'missing. Install it with:\npip install "pitwright[sound]"'
)


class EarScreen(EarTakes):
    """A recording heard: its launches, the take-up of each, and what the model says."""

    TITLE = "By ear"
    PURPOSE = "The engine speed at take-up, out of a recording of a launch."
    HELP_TEXT = """
On a launch the engine climbs, stands still while the clutch slips, then pulls. That stand-still is
the take-up, a good deal above the bite; kept, it sets the take-up scale of the Bite numbers. The
bite itself needs creep: record a slow raise of the throttle, put the cursor where the wheels just
begin to turn (a clap is a good cue), and press c.

Creep is not measured by itself: the app cannot hear when wheels begin to turn.

Left and right move the cursor, [ and ] by a lot. When the take-up was missed, put the cursor on it
and press m; t types a speed; x doubles one that an engine skipping every second firing has halved.
Several launches are kept together as their median, with the row All together.

Launch only where the race director lets you. Keep hands, hair and rag clear of wheels, bell and
flywheel. Mind fuel vapour and exhaust: outdoors only.
"""
    CSS_PATH = "ear.tcss"
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]  # noqa: RUF012
    AUTO_FOCUS = "#takes"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f", "file", "File", id="ear.file", tooltip="Choose a recording"),
        Binding("a", "accept", "Accept", id="ear.accept",
                tooltip="Keep this speed; it calibrates the Bite numbers"),
        Binding("d", "discard", "Discard", id="ear.discard",
                tooltip="Leave this launch out, or take it back"),
        Binding("m", "mark", "Mark", id="ear.mark", tooltip="Measure the take-up at the cursor"),
        Binding("t", "type", "Type", id="ear.type", tooltip="Type the speed"),
        Binding("x", "double", "×2", show=False, id="ear.double",
                tooltip="Twice the speed: the engine skips every second firing"),
        Binding("c", "creep", "Creep", id="ear.creep",
                tooltip="Measure the creep speed at the cursor"),
        Binding("h", "heat", "Heat", id="ear.heat", tooltip="Choose the heat it was recorded in"),
        Binding("p", "place", "Place", id="ear.place", tooltip="Say where the car was"),
        Binding("left", "cursor(-1)", "Cursor back", show=False, priority=True,
                id="ear.back", tooltip="Move the cursor back"),
        Binding("right", "cursor(1)", "Cursor on", show=False, priority=True,
                id="ear.on", tooltip="Move the cursor on"),
        Binding("left_square_bracket", "cursor(-10)", "Far back", show=False,
                id="ear.far-back", tooltip="Move the cursor back a lot"),
        Binding("right_square_bracket", "cursor(10)", "Far on", show=False,
                id="ear.far-on", tooltip="Move the cursor on a lot"),
        Binding("n", "go(1)", "Next", show=False, id="ear.next", tooltip="The next launch"),
        Binding("b", "go(-1)", "Before", show=False, id="ear.before",
                tooltip="The launch before"),
        Binding("z", "zoom", "Whole", show=False, id="ear.zoom",
                tooltip="Show the whole recording, or the launch"),
    ]  # fmt: skip

    def compose_body(self) -> ComposeResult:
        """Lay out the words, and the picture below or beside them."""
        with Vertical(id="ear"):
            with Vertical(id="words"):
                yield Static("", id="head", markup=False)
                yield Static("", id="message", markup=False)
                yield ProgressBar(show_eta=False)
                yield Options(id="takes")
                with VerticalScroll(id="scroll", can_focus=False):
                    yield Static("", id="told", markup=False)
            with Vertical(id="right"):
                yield EarPlot()

    @property
    def bench(self) -> EarBench | None:
        """The recording in hand."""
        return self._bench

    @property
    def cursor_s(self) -> float:
        """Where the cursor stands [s]."""
        return self._cursor_s

    # Showing

    def on_mount(self) -> None:
        """Ask for a recording at once when the weekend has some."""
        if recordings(self.pitwright.session.folder):
            self.call_after_refresh(self.action_file)

    def show_weekend(self) -> None:
        """Compare with the model as it is now."""
        self._ask_model()
        self.call_later(self.show_bench)

    async def show_bench(self) -> None:
        """Show the recording in hand: its words, its launches and its picture."""
        bench = self._bench
        take = bench.current if bench is not None else None
        head, message = self.query_one("#head", Static), self.query_one("#message", Static)
        told: list[str] = []
        if bench is None:
            head.update("")
            message.update(Content(self._trouble or _intro()))
        else:
            where = self._heat or "the clutch now"
            place = words.place_words(self._place, self._car_speed)
            head.update(Content(words.head_line(bench.file, bench.hearing, where, place)))
            message.update(Content(words.message_line(bench.hearing, take)))
            told = words.take_lines(take, self._model, bench.takes) if take is not None else []
            told += [f"Note: {note}" for note in words.hearing_notes(bench.hearing)]
        unheard = bench is not None and bench.hearing.outcome != "measured"
        message.set_class(bool(self._trouble) or unheard, "trouble")
        rows = self.query_one("#takes", OptionList)
        shown = bench.shown if bench is not None else ()
        with self.prevent(OptionList.OptionHighlighted):
            rows.clear_options()
            rows.add_options(Option(Content(row)) for row in words.take_rows(shown))
            rows.display = bool(shown)
            if bench is not None and shown:
                rows.highlighted = min(bench.at, len(shown) - 1)
        self.query_one("#told", Static).update(Content("\n".join(told)))
        self.query_one("#scroll", VerticalScroll).scroll_home(animate=False)
        await self._draw()

    async def _draw(self) -> None:
        bench = self._bench
        at = reading_at(bench.hearing, self._cursor_s) if bench is not None else None
        await self.query_one(EarPlot).show(
            bench,
            self._model,
            self._cursor_s,
            words.cursor_words(self._cursor_s, at),
            whole=self._whole,
        )

    # Looking

    def action_leave_entry(self) -> None:
        """Stop listening; else go back to Bite."""
        if self.stop_listening():
            self.notify("Stopped")
            self.call_later(self.show_bench)
        else:
            self.app.switch_screen("bite")

    async def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Look at another launch."""
        event.stop()
        if self._bench is not None and event.option_index != self._bench.at:
            await self._look_at(event.option_index)

    async def action_go(self, step: int) -> None:
        """Look at the next launch or the one before."""
        if self._bench is not None:
            await self._look_at(self._bench.at + step)

    async def _look_at(self, at: int) -> None:
        assert self._bench is not None
        self._bench = self._bench.looking_at(at)
        self._cursor_s = self._bench.interest_s
        await self.show_bench()

    async def action_cursor(self, steps: int) -> None:
        """Move the cursor by so many columns."""
        if self._bench is None:
            return
        left, right = self.query_one(EarPlot).window()
        moved = self._cursor_s + steps * (right - left) / 100
        self._cursor_s = min(max(moved, left), right)
        await self._draw()

    async def action_zoom(self) -> None:
        """Show the whole recording, or the launch looked at."""
        self._whole = not self._whole
        await self._draw()


def _intro() -> str:
    from pitwright.sound.read_audio import library_installed

    return _INTRO if library_installed() else _INTRO + _NO_LIBRARY
