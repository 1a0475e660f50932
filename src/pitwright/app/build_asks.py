"""The questions of a build, one after another: parts, readings, checkpoints, reasons.

Each returns whether it was answered. What was typed and could not be kept is asked again as it
was typed; what was left with Escape waits as a draft.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, cast

from textual.timer import Timer as ScreenTimer

from pitwright.app.widgets.dialogs import AskLine, Choice, Confirm, Pick
from pitwright.app.widgets.read_dialog import ReadDialog
from pitwright.desk.build import build as desk
from pitwright.desk.build.facts import Demand, demands, reading_at, step_in_hand
from pitwright.desk.build.thread_lock import thread_lock_timer, without_timer
from pitwright.desk.form_text import line_trouble
from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.judged import judge_reading
from pitwright.desk.measure.measure import check_record
from pitwright.desk.sizes import shims_listed
from pitwright.desk.stock import fitting
from pitwright.desk.wording import from_time, minutes_words
from pitwright.store.files import StoreError
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.places import PartPlace, Place, ShimPlace
from pitwright.weekend.records import Fit, StepResult

if TYPE_CHECKING:
    from pitwright.app.screens.build_in_hand import BuildInHand

__all__ = ["BuildAsks"]

_OTHER = "/other"


class BuildAsks:
    """Puts a build's questions to the user and records the answers at once."""

    def __init__(self, screen: BuildInHand) -> None:
        self._screen = screen
        self._waiting: ScreenTimer | None = None
        self._said = False

    @property
    def _build(self) -> OpenBuild:
        build = self._screen.build
        assert build is not None  # questions are only put while a build is open
        return build

    # Typed text and its drafts

    def _keep_soon(self, form: str, text: str) -> None:
        if self._waiting is not None:
            self._waiting.stop()
        self._waiting = self._screen.set_timer(0.3, lambda: self._keep_draft(form, text))

    def _keep_draft(self, form: str, text: str) -> None:
        if self._waiting is not None:
            self._waiting.stop()
            self._waiting = None
        session = self._screen.pitwright.session
        if not session.writable or text == self._draft(form):
            return
        try:
            session.keep_draft(form, {"text": text})
        except StoreError as error:
            # Said once: a toast at each key would hide the entry itself.
            if not self._said:
                self._said = True
                self._screen.notify(
                    error.strerror or str(error), title="Draft not kept", severity="warning"
                )

    def _draft(self, form: str) -> str:
        draft = self._screen.weekend.open.drafts.get(form)
        return draft.fields.get("text", "") if draft is not None else ""

    async def line(
        self,
        form: str,
        title: str,
        keep: Callable[[str], bool],
        *,
        value: str = "",
        hint: str = "enter keeps it, escape goes back",
        check: Callable[[str], str] = line_trouble,
    ) -> bool:
        """Ask for a line until ``keep`` has kept it, or the user goes back."""
        typed = self._draft(form) or value
        while True:
            latest = typed

            def note_typed(text: str) -> None:
                nonlocal latest
                latest = text
                self._keep_soon(form, text)

            answer = await self._screen.app.push_screen_wait(
                AskLine(title, value=typed, hint=hint, check=check, on_typed=note_typed)
            )
            if answer is None:
                self._keep_draft(form, latest if latest != value else "")
                return False
            if keep(answer):
                self._keep_draft(form, "")
                return True
            typed = answer

    # What a step wants

    async def answer(self, demand: Demand) -> bool:
        """Put the question that answers a demand of the step in hand."""
        if demand.kind == "part":
            return await self.fit(cast("Place", demand.what))
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
                if not await self.fit(cast("Place", demand.what)):
                    return False
                break
        form = f"build reading {quantity}"[:40]
        typed = self._draft(form)
        while True:
            latest = typed

            def note_typed(text: str) -> None:
                nonlocal latest
                latest = text
                self._keep_soon(form, text)

            now = self._screen.pitwright.clock()
            judged = await self._screen.app.push_screen_wait(
                ReadDialog(
                    gather(self._screen.weekend, now, build.clutch),
                    quantity,
                    typed=typed,
                    on_typed=note_typed,
                )
            )
            if judged is None:
                self._keep_draft(form, latest)
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
        self._keep_draft(form, "")
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
            return await self.fit(place)
        if answer != "why":
            return False
        return await self.line(
            f"build reason {build.at + 1}",
            f"{spec.label} is out. Why may it stay?",
            lambda text: self._screen.take(desk.accept_out(self._build, text)),
            check=desk.reason_trouble,
        )

    # Parts

    async def fit(self, place: Place) -> bool:
        """Ask what is fitted at a place and write it to the log at once."""
        if self._build.clutch not in self._screen.weekend.clutches:
            self._screen.notify(
                f"There is no card for clutch {self._build.clutch}; skip this step with a reason",
                severity="warning",
            )
            return False
        shims = fitting.as_shim_place(place)
        if shims is not None:
            return await self._fit_shims(shims)
        return await self._fit_part(cast("PartPlace", place))

    async def _fit_part(self, place: PartPlace) -> bool:
        weekend, build = self._screen.weekend, self._build
        choices = fitting.part_choices(weekend, place, build.clutch)
        answer = await self._screen.app.push_screen_wait(
            Pick(
                f"Which {place} goes on?",
                [
                    *(Choice(c.part, f"{c.label:<20}", c.detail) for c in choices),
                    Choice(_OTHER, "Another, not in stock.toml"),
                ],
            )
        )
        if answer is None:
            return False
        if answer != _OTHER:
            return await self._fit_chosen(place, answer)
        named: list[str] = []

        def take_name(text: str) -> bool:
            named.append(text.strip())
            return True

        if not await self.line(
            f"build new {place}",
            f"Short name of the new {place}, such as S3",
            take_name,
            check=lambda text: fitting.name_trouble(text, place),
        ):
            return False
        return await self._fit_chosen(place, named[0])

    async def _fit_chosen(self, place: PartPlace, part: str) -> bool:
        weekend, build = self._screen.weekend, self._build
        there = weekend.state(None, build.clutch).fitted(place)
        if there is None or there.part == part:
            return self._keep_part(place, part)
        label = fitting.fitted_now(weekend, place, build.clutch)
        fate = await self._screen.app.push_screen_wait(
            Pick(
                f"What becomes of {label}?",
                [
                    Choice("kept", "Kept, it can be used again"),
                    Choice("discarded", "Thrown away"),
                ],
            )
        )
        if fate is None:
            return False
        if fate == "kept":
            return self._keep_part(place, part)
        return await self.line(
            "build discarded",
            f"Why is {label} thrown away?",
            lambda text: self._keep_part(place, part, discarded_because=text),
            check=desk.reason_trouble,
        )

    def _keep_part(self, place: PartPlace, part: str, *, discarded_because: str = "") -> bool:
        build = self._build
        record = fitting.part_fit(
            self._screen.weekend,
            place,
            part,
            clutch=build.clutch,
            now=self._screen.pitwright.clock(),
            fate="discarded" if discarded_because else "kept",
            reason=discarded_because,
            step=step_in_hand(build).id,
        )
        return self._keep_fit(record)

    def _keep_fit(self, record: Fit) -> bool:
        return self._screen.pitwright.keep(record) is not None

    async def _fit_shims(self, place: ShimPlace) -> bool:
        weekend, build = self._screen.weekend, self._build
        there = fitting.fitted_now(weekend, place, build.clutch)
        stack = weekend.state(None, build.clutch).shims.get(place)
        before = " ".join(f"{s:.2f}" for s in stack.shims_mm) if stack is not None else ""
        hint = "each shim in mm, such as 0.10 0.15, or none; enter keeps it, escape goes back"
        typed: list[str] = []

        def take(text: str) -> bool:
            typed[:] = [text]
            return True

        form = f"build {place}"
        value = before
        while True:
            title = f"{place.capitalize()} going on" + (f" (there now: {there})" if there else "")
            if not await self.line(
                form,
                title,
                take,
                value=value,
                hint=hint,
                check=lambda text: fitting.read_shims(weekend, text).trouble,
            ):
                return False
            read = fitting.read_shims(weekend, typed[0])
            if read.question and not await self._screen.app.push_screen_wait(
                Confirm(
                    f"{read.question}. Keep {shims_listed(read.shims_mm)} all the same?",
                    weighty=True,
                )
            ):
                value = typed[0]
                continue
            record = fitting.shim_fit(
                place,
                read.shims_mm,
                clutch=build.clutch,
                now=self._screen.pitwright.clock(),
                step=step_in_hand(build).id,
            )
            if self._keep_fit(record):
                return True
            value = typed[0]
