"""The bite by ear: the take-up speed out of a sound recording."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.widgets import OptionList, ProgressBar, Static
from textual.widgets.option_list import Option
from textual.worker import Worker, get_current_worker

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.widgets.dialogs import AskLine, Choice, FormDialog, Pick
from pitwright.app.widgets.dialogs import Field as FormField
from pitwright.app.widgets.ear_plot import EarPlot
from pitwright.desk import ear as desk
from pitwright.desk import ear_words as words
from pitwright.desk.bite_form import observed_trouble, speed_trouble
from pitwright.desk.ear_bench import EarBench, new_bench, reading_at
from pitwright.store.recordings import find_recording, recordings
from pitwright.units import read_quantity

if TYPE_CHECKING:
    from pitwright.sound.listen import Hearing
    from pitwright.sound.takeup import Place

__all__ = ["EarScreen"]

_OTHER_FILE = " another"
_NO_HEAT = " now"
_INTRO = (
    "f chooses a recording: of a launch, of several, or of a slow raise of the throttle.\n\n"
    "Record from a few metres away, best from beside the track at the place where the car takes "
    "off. Stand clear of the track, and of wheels, bell and flywheel."
)
_NO_LIBRARY = (
    "\n\nWAV files can be read as they are. For what phones write (m4a, mp3, ogg) a library is "
    'missing. Install it with:\npip install "pitwright[sound]"'
)


class _StoppedError(Exception):
    """The user stopped the listening."""


class EarScreen(WeekendScreen):
    """A recording heard: its launches, the take-up of each, and what the model says."""

    TITLE = "By ear"
    PURPOSE = "The engine speed at take-up, out of a recording of a launch."
    HELP_TEXT = """
On a launch the engine climbs, stands still while the clutch slips, then pulls. That stand-still is
the take-up, a good deal above the bite; kept, it sets the take-up scale of the Bite numbers. The
bite itself needs creep: record a slow raise of the throttle, put the cursor where the wheels just
begin to turn (a clap is a good cue), and press c.

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

    @dataclass
    class Progress(Message):
        """So many seconds are heard, of so many when that is known."""

        done_s: float
        of_s: float | None

    @dataclass
    class Heard(Message):
        """A recording is heard."""

        file: str
        hearing: Hearing

    @dataclass
    class Failed(Message):
        """A recording cannot be used."""

        reason: str

    def __init__(self) -> None:
        super().__init__()
        self._bench: EarBench | None = None
        self._model: desk.Expected | None = None
        self._heat: str | None = None
        self._heat_chosen = False
        self._place: Place = "anywhere"
        self._car_speed = 12.0
        self._cursor_s = 0.0
        self._whole = False
        self._trouble = ""
        self._listening: Worker[None] | None = None

    def compose_body(self) -> ComposeResult:
        """Lay out the words, and the picture below or beside them."""
        with Vertical(id="ear"):
            with Vertical(id="words"):
                yield Static("", id="head", markup=False)
                yield Static("", id="message", markup=False)
                yield ProgressBar(show_eta=False)
                yield OptionList(id="takes")
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
        self.call_later(self._show)

    def _ask_model(self) -> None:
        self._model = None
        if self._bench is None:
            return
        try:
            self._model = desk.expected(self.weekend, self._heat, self.pitwright.clutch)
        except desk.UnknownHeatError:
            self._heat, self._heat_chosen = None, False
            self._model = desk.expected(self.weekend, None, self.pitwright.clutch)

    async def _show(self) -> None:
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
            told = words.take_lines(take, self._model) if take is not None else []
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

    # Choosing a file and listening

    @work(exclusive=True, group="ask")
    async def action_file(self) -> None:
        """Choose a recording, say where the car was, and listen."""
        folder = self.pitwright.session.folder
        there = recordings(folder)
        chosen: str | None = _OTHER_FILE
        if there:
            choices = [Choice(path.name, path.name) for path in there]
            chosen = await self.app.push_screen_wait(
                Pick("Which recording?", [*choices, Choice(_OTHER_FILE, "Another file …")])
            )
        if chosen is None:
            return
        path: Path | str = folder
        if chosen == _OTHER_FILE:
            text = await self.app.push_screen_wait(
                AskLine(
                    "Path of the recording",
                    hint="enter listens, escape goes back. Files in the weekend's folder "
                    "recordings are listed by themselves",
                    check=lambda text: _trouble_of(find_recording(folder, text)),
                )
            )
            if text is None:
                return
            path = find_recording(folder, text)
        else:
            path = next(p for p in there if p.name == chosen)
        if isinstance(path, Path) and await self._ask_place():
            self._start(path)

    async def _ask_place(self) -> bool:
        place = await self.app.push_screen_wait(
            Pick(
                "Where was the car when the clutch took up?",
                [Choice(*each) for each in words.PLACES],
                chosen=self._place,
            )
        )
        if place is None:
            return False
        speed = self._car_speed
        if place == "anywhere":
            text = await self.app.push_screen_wait(
                AskLine(
                    "How fast can the car have been, in m/s?",
                    value=f"{speed:g}",
                    check=speed_trouble,
                )
            )
            if text is None:
                return False
            speed = read_quantity(text.replace(" ", ""), "")
        self._place = next(key for key, _label, _detail in words.PLACES if key == place)
        self._car_speed = speed
        return True

    @work(exclusive=True, group="ask")
    async def action_place(self) -> None:
        """Say where the car was; only the ± changes by it."""
        if await self._ask_place() and self._bench is not None:
            self._bench = self._bench.placed(self._place, self._car_speed)
            await self._show()

    def _start(self, path: Path) -> None:
        self._trouble = ""
        self.add_class("listening")
        self.query_one(ProgressBar).update(total=None, progress=0)
        self.query_one("#message", Static).update(
            Content(f"Listening to {path.name}; escape stops it")
        )
        self._listening = self._listen(path, self._place, self._car_speed)

    @work(thread=True, exclusive=True, group="listen")
    def _listen(self, path: Path, place: Place, car_speed: float) -> None:
        from pitwright.sound.listen import listen
        from pitwright.sound.read_audio import AudioError, open_recording

        worker = get_current_worker()

        def progress(done_s: float, of_s: float | None) -> None:
            if worker.is_cancelled:
                raise _StoppedError
            self.post_message(self.Progress(done_s, of_s))

        try:
            recording = open_recording(path)
            hearing = listen(recording, place=place, car_speed_m_s=car_speed, progress=progress)
        except _StoppedError:
            return
        except AudioError as error:
            message: Message = self.Failed(str(error))
        except OSError as error:
            message = self.Failed(f"{path.name}: {error.strerror or error}")
        else:
            message = self.Heard(path.name, hearing)
        if not worker.is_cancelled:
            self.post_message(message)

    def on_ear_screen_progress(self, event: Progress) -> None:
        """Move the bar on."""
        event.stop()
        self.query_one(ProgressBar).update(total=event.of_s, progress=event.done_s)

    async def on_ear_screen_failed(self, event: Failed) -> None:
        """Say why; what was heard before stays."""
        event.stop()
        self._ended()
        if self._bench is None:
            self._trouble = event.reason
        else:
            self.notify(event.reason, severity="error", timeout=15, markup=False)
        await self._show()

    async def on_ear_screen_heard(self, event: Heard) -> None:
        """Show what was heard."""
        event.stop()
        self._ended()
        bench = new_bench(event.file, event.hearing)
        heats = self._heats()
        named = desk.heat_guess(event.file, heats)
        self._heat = named or (heats[-1] if heats else None)
        self._heat_chosen = named is not None or not heats
        self._bench, self._whole = bench, False
        self._put_cursor(bench)
        self._ask_model()
        await self._show()

    def _ended(self) -> None:
        self._listening = None
        self.remove_class("listening")

    def _heats(self) -> list[str]:
        card = self.weekend.card(self.pitwright.clutch)
        return list(
            dict.fromkeys(
                h.run.heat
                for h in self.weekend.heats
                if h.run.status != "cancelled" and h.run.clutch == card.id
            )
        )

    # Looking

    def action_leave_entry(self) -> None:
        """Stop listening; else go back to Bite."""
        if self._listening is not None:
            self._listening.cancel()
            self._ended()
            self.notify("Stopped")
            self.call_later(self._show)
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
        self._put_cursor(self._bench)
        await self._show()

    def _put_cursor(self, bench: EarBench) -> None:
        take = bench.current
        if take is not None and take.speed is not None and take.count == 1:
            self._cursor_s = (take.speed.start_s + take.speed.end_s) / 2
        else:
            self._cursor_s = take.start_s if take is not None else bench.hearing.duration_s / 2

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

    # Correcting, keeping, discarding

    async def action_mark(self) -> None:
        """Measure the take-up at the cursor."""
        from pitwright.sound.takeup import NotStandingError

        bench = self._bench
        if bench is None:
            return
        try:
            take = desk.marked(
                bench.in_hand(self._cursor_s),
                bench.hearing,
                self._cursor_s,
                place=self._place,
                car_speed_m_s=self._car_speed,
            )
        except NotStandingError as error:
            self._refuse(str(error))
            return
        self._bench = bench.put(take)
        await self._show()

    async def action_creep(self) -> None:
        """Measure the creep speed at the cursor."""
        from pitwright.sound.takeup import NoCreepError

        bench = self._bench
        if bench is None:
            return
        still = self._place != "anywhere"
        try:
            take = desk.creep_take(
                bench.hearing,
                self._cursor_s,
                place="standstill" if still else "anywhere",
                car_speed_m_s=0.0 if still else min(self._car_speed, 1.0),
            )
        except NoCreepError as error:
            self._refuse(str(error))
            return
        self._bench = bench.put(take)
        await self._show()

    @work(exclusive=True, group="ask")
    async def action_type(self) -> None:
        """Type the speed of the launch looked at."""
        bench = self._bench
        if bench is None:
            return
        take = bench.in_hand(self._cursor_s)
        rpm = f"{take.speed.rpm:.0f}" if take.speed is not None else ""
        values = await self.app.push_screen_wait(
            FormDialog(
                f"{take.name}: the take-up speed",
                [
                    FormField("rpm", "Speed, rpm", rpm),
                    FormField("u_rpm", "Sure to about ±, rpm", "", "if known"),
                ],
                check=lambda typed: observed_trouble({**typed, "heat": ""}, []),
            )
        )
        if values is None:
            return
        plus_minus = values["u_rpm"].replace(" ", "")
        self._bench = bench.put(
            desk.typed(
                take,
                read_quantity(values["rpm"].replace(" ", ""), ""),
                read_quantity(plus_minus, "") if plus_minus else None,
            )
        )
        await self._show()

    async def action_double(self) -> None:
        """Double the speed looked at."""
        bench = self._bench
        take = bench.current if bench is not None else None
        if bench is None or take is None:
            return
        if take.count > 1 or take.kept:
            self._refuse("double each launch by itself, before it is kept")
            return
        try:
            self._bench = bench.put(desk.doubled(take))
        except ValueError as error:
            self._refuse(str(error))
            return
        await self._show()

    async def action_discard(self) -> None:
        """Leave the launch looked at out, or take it back."""
        if self._bench is not None:
            self._bench = self._bench.discarding()
            await self._show()

    @work(exclusive=True, group="ask")
    async def action_heat(self) -> None:
        """Choose the heat the recording is from."""
        if await self._ask_heat():
            self._ask_model()
            await self._show()

    async def _ask_heat(self) -> bool:
        heats = self._heats()
        chosen = await self.app.push_screen_wait(
            Pick(
                "Recorded in which heat?",
                [
                    *(Choice(heat, heat) for heat in reversed(heats)),
                    Choice(_NO_HEAT, "No heat: on the clutch as it is now"),
                ],
                chosen=self._heat or _NO_HEAT,
            )
        )
        if chosen is None:
            return False
        self._heat = None if chosen == _NO_HEAT else chosen
        self._heat_chosen = True
        return True

    @work(exclusive=True, group="ask")
    async def action_accept(self) -> None:
        """Keep the speed looked at; it calibrates the Bite numbers."""
        bench = self._bench
        take = bench.current if bench is not None else None
        if bench is None or take is None:
            self._refuse("nothing to keep yet: f chooses a recording")
            return
        trouble = desk.keep_trouble(take, bench.takes)
        if trouble:
            self._refuse(trouble)
            return
        if not self._heat_chosen:
            if not await self._ask_heat():
                return
            self._ask_model()
        draft = desk.ear_draft(
            take,
            now=self.pitwright.clock(),
            clutch=self.weekend.card(self.pitwright.clutch).id,
            heat=self._heat,
            file=bench.file,
        )
        if self.pitwright.keep(draft) is not None:
            self._bench = bench.keeping()
            self.notify(words.kept_words(take, self._heat), markup=False)
            await self._show()

    def _refuse(self, why: str) -> None:
        self.notify(f"{why[:1].upper()}{why[1:]}", severity="warning", markup=False)


def _trouble_of(found: Path | str) -> str:
    return found if isinstance(found, str) else ""


def _intro() -> str:
    from pitwright.sound.read_audio import library_installed

    return _INTRO if library_installed() else _INTRO + _NO_LIBRARY
