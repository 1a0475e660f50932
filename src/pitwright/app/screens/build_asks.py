"""The questions of a build, one after another: parts, readings, checkpoints, reasons.

Each returns whether it was answered. What was typed and could not be kept is asked again as it
was typed; what was left with Escape waits as a draft.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from pitwright.app.screens.build_parts import BuildParts
from pitwright.app.screens.typed_lines import TypedLines
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.app.widgets.read_dialog import ReadDialog
from pitwright.desk.build import build as desk
from pitwright.desk.build.facts import Demand, demands, reading_at, step_in_hand
from pitwright.desk.build.thread_lock import thread_lock_timer, without_timer
from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.judged import judge_reading
from pitwright.desk.measure.measure import check_record
from pitwright.desk.wording import from_time, minutes_words
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.places import Place
from pitwright.weekend.records import StepResult

if TYPE_CHECKING:
    from pitwright.app.screens.build_in_hand import BuildInHand

__all__ = ["BuildAsks"]


class BuildAsks:
    """Puts a build's questions to the user and records the answers at once."""

    def __init__(self, screen: BuildInHand) -> None:
        self._screen = screen
        self.lines = TypedLines(screen)
        self.parts = BuildParts(screen, self.lines)

    @property
    def _build(self) -> OpenBuild:
        build = self._screen.build
        assert build is not None  # questions are only put while a build is open
        return build

    async def answer(self, demand: Demand) -> bool:
        """Put the question that answers a demand of the step in hand."""
        if demand.kind == "part":
            return await self.parts.fit(cast("Place", demand.what))
        if demand.kind == "reading":
            return await self.measure(demand.what)
        if demand.kind == "reason":
            return await self.out_of_limits(demand.what)
        if demand.kind == "thread-lock":
            return await self.thread_lock()
        return await self.torque()

    async def torque(self) -> bool:
        """Ask whether it is tight."""
        step = step_in_hand(self._build)
        if step.torque is None:
            return False
        figure = step.torque.figure
        how = f"{figure.value:g} {figure.unit}" if figure is not None else step.torque.feel
        caution = f"\n\nCaution: {step.torque.caution}" if step.torque.caution else ""
        tight = await self._screen.app.push_screen_wait(
            Confirm(f"{step.title}\n\n{how}: is it done?{caution}", weighty=True)
        )
        return tight and self._screen.take(desk.confirm_torque(self._build))

    async def thread_lock(self) -> bool:
        """Ask whether the thread-lock is applied, and start its timer."""
        step = step_in_hand(self._build)
        if step.thread_lock != "medium":
            return False
        answer = await self._screen.app.push_screen_wait(
            Pick(
                "Medium thread-lock: applied?",
                [
                    Choice("yes", "Applied just now", "starts its handling time"),
                    Choice("no", "Not applied"),
                ],
            )
        )
        if answer is None:
            return False
        now = self._screen.pitwright.clock()
        build = desk.answer_thread_lock(self._build, answer == "yes", now)
        if not self._screen.take(build):
            return False
        self._run_timer(build, step.id, applied=answer == "yes")
        return True

    def _run_timer(self, build: OpenBuild, step: str, *, applied: bool) -> None:
        app, weekend = self._screen.pitwright, self._screen.weekend
        timers = without_timer(weekend.open.timers, build, step)
        applied_at = (build.result(step) or StepResult(step=step)).thread_lock_at
        if applied and applied_at is not None and build.clutch in weekend.clutches:
            timer, minutes = thread_lock_timer(weekend, build, step, applied_at)
            timers.append(timer)
            due = from_time(timer.due_at, weekend.event.zone)
            self._screen.notify(
                f"Leave it until {due} ({minutes_words(minutes)}); the bottle's sheet rules"
            )
        app.guard(lambda: app.session.keep_timers(timers))
        app.announce()

    async def measure(self, quantity: str) -> bool:
        """Ask for a reading and write it to the log at once."""
        build = self._build
        step = step_in_hand(build)
        for demand in demands(build, self._screen.weekend, step):
            # A reading belongs to a part: first say which one it is.
            if demand.kind == "part" and demand.what == self._place_of(quantity):
                if not await self.parts.fit(cast("Place", demand.what)):
                    return False
                break
        form = f"build reading {quantity}"[:40]
        typed = self.lines.draft(form)
        while True:
            now = self._screen.pitwright.clock()
            judged = await self._screen.app.push_screen_wait(
                ReadDialog(
                    gather(self._screen.weekend, now, build.clutch),
                    quantity,
                    typed=typed,
                    on_typed=lambda text: self.lines.typed(form, text),
                )
            )
            if judged is None:
                return False
            squeezes = {quantity: step.squeezes} if step.squeezes else None
            record = check_record(
                [judged],
                now=self._screen.pitwright.clock(),
                clutch=build.clutch,
                step=step.id,
                squeezes=squeezes,
            )
            if self._screen.pitwright.keep(record) is not None:
                break
            typed = judged.typed
        self.lines.forget(form)
        # A reason given for an earlier reading does not excuse this one.
        if (build.result(step.id) or StepResult(step=step.id)).out_because:
            return self._screen.take(desk.accept_out(self._build, ""))
        return True

    def _place_of(self, quantity: str) -> str:
        card = self._screen.weekend.clutches.get(self._build.clutch)
        spec = card.quantities.get(quantity) if card is not None else None
        return spec.of if spec is not None else ""

    async def out_of_limits(self, quantity: str) -> bool:
        """Say what is out, and ask what to do about it."""
        weekend, build = self._screen.weekend, self._build
        step = step_in_hand(build)
        taken = reading_at(build, weekend, step.id, quantity)
        if taken is None:
            return await self.measure(quantity)
        spec = weekend.card(build.clutch).quantities[quantity]
        found = judge_reading(taken.reading, spec.label, spec.decimals)
        place = next((p for p in step.fits if p == spec.of), None)
        choices = [Choice("again", "Measure again")]
        if place is not None:
            choices.append(Choice("part", "Fit another one", f"({place})"))
        choices.append(Choice("why", "Keep it, and say why"))
        answer = await self._screen.app.push_screen_wait(
            Pick(f"{spec.label} {found.shown} is out: {found.distance}", choices)
        )
        if answer == "again":
            return await self.measure(quantity)
        if answer == "part" and place is not None:
            return await self.parts.fit(place)
        if answer != "why":
            return False
        return await self.lines.ask(
            f"build reason {build.at + 1}",
            f"{spec.label} is out. Why may it stay?",
            lambda text: self._screen.take(desk.accept_out(self._build, text)),
            check=desk.reason_trouble,
        )
