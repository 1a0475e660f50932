"""What Ear does to hear a recording: which file, where the car was, and the listening itself."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from textual import work
from textual.content import Content
from textual.message import Message
from textual.widgets import ProgressBar, Static
from textual.worker import Worker, get_current_worker

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.widgets.dialogs import AskLine, Choice, Pick
from pitwright.desk.bite.form import speed_trouble
from pitwright.desk.ear import against, by_hand, words
from pitwright.desk.ear import ear as desk
from pitwright.desk.ear.bench import EarBench, new_bench
from pitwright.store.recordings import find_recording, recordings
from pitwright.units import read_quantity

if TYPE_CHECKING:
    from pitwright.sound.listen import Hearing
    from pitwright.sound.takeup import Place

__all__ = ["EarListening"]

_OTHER_FILE = " another"
_BY_HAND = "ear by hand"
"""The draft of what was put right by hand, until it is kept."""


class _StoppedError(Exception):
    """The user stopped the listening."""


class EarListening(WeekendScreen):
    """The recording in hand, and the keys that bring one there."""

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
        self._model: against.Expected | None = None
        self._heat: str | None = None
        self._heat_chosen = False
        self._place: Place = "anywhere"
        self._car_speed = 12.0
        self._cursor_s = 0.0
        self._whole = False
        self._trouble = ""
        self._listening: Worker[None] | None = None

    async def show_bench(self) -> None:
        """Show the recording in hand; the screen does."""
        raise NotImplementedError

    async def take(self, bench: EarBench) -> None:
        """Go on with this bench, and have what is by hand in it on the disk until it is kept."""
        self._bench = bench
        drafts = self.pitwright.drafts
        drafts.typed(_BY_HAND, by_hand.left_by_hand(bench, drafts.fields(_BY_HAND)))
        # Before it is shown: one that is in the log by now must not wait to be kept as well.
        drafts.flush()
        await self.show_bench()

    def _ask_model(self) -> None:
        self._model = None
        if self._bench is None:
            return
        try:
            self._model = against.expected(self.weekend, self._heat, self.pitwright.clutch)
        except against.UnknownHeatError:
            self._heat, self._heat_chosen = None, False
            self._model = against.expected(self.weekend, None, self.pitwright.clutch)

    # Choosing a file and listening

    @work(exclusive=True, group="ask")
    async def action_file(self) -> None:
        """Choose a recording, say where the car was, and listen."""
        folder = self.pitwright.session.folder
        there = recordings(folder)
        chosen: str | None = _OTHER_FILE
        if there:
            choices = [Choice(path.name, path.name, self._left_in(path.name)) for path in there]
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
                    draft="recording",
                )
            )
            if text is None:
                return
            path = find_recording(folder, text)
        else:
            path = next(p for p in there if p.name == chosen)
        if isinstance(path, Path) and await self._ask_place():
            self._start(path)

    def _left_in(self, file: str) -> str:
        names = by_hand.names_left(file, self.pitwright.drafts.fields(_BY_HAND))
        return f"not kept yet: {', '.join(names)}" if names else ""

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
                    draft="car speed",
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
        """Say where the car was; what its movement does to the sound changes."""
        if await self._ask_place() and self._bench is not None:
            await self.take(self._bench.placed(self._place, self._car_speed, self._pull()))

    def _pull(self) -> float | None:
        return None if self._model is None else self._model.pull_m_s_2

    def _start(self, path: Path) -> None:
        self._trouble = ""
        self.add_class("listening")
        self.query_one(ProgressBar).update(total=None, progress=0)
        self.query_one("#message", Static).update(
            Content(f"Listening to {path.name}; escape stops it")
        )
        # The heat is known only from the name here; what a launch looks like differs little.
        model = against.expected(
            self.weekend, desk.heat_guess(path.name, self._heats()), self.pitwright.clutch
        )
        self._listening = self._listen(path, self._place, self._car_speed, model)

    @work(thread=True, exclusive=True, group="listen")
    def _listen(self, path: Path, place: Place, car_speed: float, model: against.Expected) -> None:
        from pitwright.sound.listen import listen
        from pitwright.sound.read_audio import AudioError, open_recording

        worker = get_current_worker()

        def progress(done_s: float, of_s: float | None) -> None:
            if worker.is_cancelled:
                raise _StoppedError
            self.post_message(self.Progress(done_s, of_s))

        try:
            recording = open_recording(path)
            hearing = listen(
                recording,
                place=place,
                car_speed_m_s=car_speed,
                pull_m_s_2=model.pull_m_s_2,
                shape=against.launch_shape(model),
                progress=progress,
            )
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

    def on_ear_listening_progress(self, event: Progress) -> None:
        """Move the bar on."""
        event.stop()
        self.query_one(ProgressBar).update(total=event.of_s, progress=event.done_s)

    async def on_ear_listening_failed(self, event: Failed) -> None:
        """Say why; what was heard before stays."""
        event.stop()
        self._ended()
        if self._bench is None:
            self._trouble = event.reason
        else:
            self.notify(event.reason, severity="error", timeout=15, markup=False)
        await self.show_bench()

    async def on_ear_listening_heard(self, event: Heard) -> None:
        """Show what was heard."""
        event.stop()
        self._ended()
        bench = new_bench(event.file, event.hearing)
        heats = self._heats()
        named = desk.heat_guess(event.file, heats)
        self._heat = named or (heats[-1] if heats else None)
        self._heat_chosen = named is not None or not heats
        self._bench, self._whole = bench, False
        self._ask_model()
        left = by_hand.brought_back(bench, self.pitwright.drafts.fields(_BY_HAND))
        if left is not bench:
            bench = left.placed(self._place, self._car_speed, self._pull())
            self.notify("What you put right in it by hand is back; it is not kept yet")
        self._cursor_s = bench.interest_s
        await self.take(bench)

    def _ended(self) -> None:
        self._listening = None
        self.remove_class("listening")

    def _heats(self) -> list[str]:
        return desk.heats_heard(self.weekend, self.pitwright.clutch)

    def stop_listening(self) -> bool:
        """Stop listening; False when there was nothing to stop."""
        if self._listening is None:
            return False
        self._listening.cancel()
        self._ended()
        return True


def _trouble_of(found: Path | str) -> str:
    return found if isinstance(found, str) else ""
