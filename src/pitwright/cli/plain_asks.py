"""A build's questions in lines; each answer is written at once, by the desk the app asks too."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, cast

from pitwright.cli.plain_talk import Talk, Turn
from pitwright.desk.build import build as desk
from pitwright.desk.build.facts import (
    Demand,
    demands,
    reading_at,
    result_of,
    step_in_hand,
)
from pitwright.desk.build.thread_lock import thread_lock_timer, without_timer
from pitwright.desk.measure.bench import gather
from pitwright.desk.measure.judged import Judged, judge_reading
from pitwright.desk.measure.judging import judge_on
from pitwright.desk.measure.measure import check_record, field_on
from pitwright.desk.sizes import shims_listed
from pitwright.desk.stock import fitting
from pitwright.desk.wording import from_time, minutes_words
from pitwright.store.files import StoreError
from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.places import PartPlace, Place, ShimPlace
from pitwright.weekend.records import Record
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.store.session import Session

__all__ = ["PlainAsks"]


class PlainAsks:
    """Asks what a step wants, and records the answers."""

    def __init__(self, session: Session, talk: Talk) -> None:
        self.session = session
        self.talk = talk

    @property
    def weekend(self) -> Weekend:
        """The weekend as it stands."""
        return self.session.weekend

    @property
    def build(self) -> OpenBuild:
        """The build in progress."""
        build = self.weekend.open.build
        assert build is not None  # questions are only put while a build is open
        return build

    def now(self) -> datetime:
        """Return the moment."""
        return self.session.clock()

    def take(self, build: OpenBuild) -> None:
        """Keep the build as it now is; when the disk will not have it, say so and go back."""
        try:
            self.session.keep_build(build)
        except StoreError as error:
            self._not_kept(error)

    def keep(self, record: Record) -> None:
        """Write a record; when the disk will not have it, say so and go back."""
        try:
            self.session.append(record)
        except StoreError as error:
            self._not_kept(error)

    def _not_kept(self, error: StoreError) -> None:
        self.talk.say(f"Not kept: {error.strerror or error}")
        raise Turn("repeat") from error

    def answer(self, demand: Demand) -> None:
        """Put the question that answers a demand of the step in hand."""
        if demand.kind == "part":
            self.fit(cast("Place", demand.what))
        elif demand.kind == "reading":
            self.measure(demand.what)
        elif demand.kind == "reason":
            self.out_of_limits(demand.what)
        elif demand.kind == "thread-lock":
            self.thread_lock()
        else:
            self.torque()

    # Checkpoints

    def torque(self) -> None:
        """Ask whether it is tight."""
        step = step_in_hand(self.build)
        if step.torque is None:
            return
        figure = step.torque.figure
        how = f"{figure.value:g} {figure.unit}" if figure is not None else step.torque.feel
        if step.torque.caution:
            self.talk.say(f"Caution: {step.torque.caution}")
        if self.talk.yes(f"Is it done: {how[:1].lower()}{how[1:]}?"):
            self.take(desk.confirm_torque(self.build))
        else:
            self._wait()

    def _wait(self) -> None:
        self.talk.line("Not yet, then. Press enter when it is, or one of the letters:")

    def thread_lock(self) -> None:
        """Ask whether the thread-lock is applied, and start its timer."""
        applied = self.talk.yes("Is the medium thread-lock applied?")
        build, weekend, step = self.build, self.weekend, step_in_hand(self.build)
        self.take(desk.answer_thread_lock(build, applied, self.now()))
        build = self.build
        timers = without_timer(weekend.open.timers, build, step.id)
        applied_at = result_of(build, step.id).thread_lock_at
        if applied and applied_at is not None and build.clutch in weekend.clutches:
            timer, minutes = thread_lock_timer(weekend, build, step.id, applied_at)
            timers.append(timer)
            due = from_time(timer.due_at, weekend.event.zone)
            told = f"Leave it until {due} ({minutes_words(minutes)}); the bottle's sheet rules."
            self.talk.say(told)
        try:
            self.session.keep_timers(timers)
        except StoreError as error:
            self._not_kept(error)

    # Readings

    def measure(self, quantity: str) -> None:
        """Ask for a reading until there is one, judge it, and write it to the log."""
        build, step = self.build, step_in_hand(self.build)
        spec = self.weekend.card(build.clutch).quantities[quantity]
        for demand in demands(build, self.weekend, step):
            # A reading belongs to a part: first say which one it is.
            if demand.kind == "part" and demand.what == spec.of:
                self.fit(cast("Place", demand.what))
        bench = gather(self.weekend, self.now(), build.clutch)
        field = field_on(bench, quantity)
        self.talk.say(f"Measure: {field.label}, with the {field.instrument_label.lower()}.")
        for words in (field.how, *field.instrument_notes, f"Limits: {field.limits}"):
            if words:
                self.talk.say(f"  {words}.")
        if field.last is not None:
            self.talk.say(f"  Last: {field.last.line()}.")
        typed = self._reading("Reading, repeats with blanks or + between:")
        while True:
            judged = judge_on(bench, quantity, typed, final=True)
            if judged.state != "read" or judged.reading is None:
                self.talk.say(f"That cannot be read: {judged.reason or 'nothing was typed'}.")
            elif judged.needs_part:
                self.talk.say("First say which part it is of.")
                raise Turn("repeat")
            else:
                settled = self._settle(judged, typed)
                if settled == typed:
                    break
                if settled:
                    typed = settled
                    judged = judge_on(bench, quantity, typed, final=True)
                    if judged.reading is not None:
                        break
            typed = self._reading("Reading again:")
        squeezes = {quantity: step.squeezes} if step.squeezes else None
        record = check_record(
            [judged], now=self.now(), clutch=build.clutch, step=step.id, squeezes=squeezes
        )
        self.keep(record)
        if result_of(self.build, step.id).out_because:
            # A reason given for an earlier reading does not excuse this one.
            self.take(desk.accept_out(self.build, ""))
        verdict = judged.word or "no limit on the card"
        self.talk.say(f"{judged.label}: {judged.size}, {verdict}. {judged.told()}".rstrip())
        for note in judged.notes:
            self.talk.say(f"  {note}.")

    def _reading(self, question: str) -> str:
        # A keypad has no blank bar.
        text = self.talk.line(question)
        return text[:1] + text[1:].replace("+", " ").replace("*", " ")

    def _settle(self, judged: Judged, typed: str) -> str:
        """Return the entry to keep once doubts are settled, nothing to type it again."""
        slip = judged.slip
        if slip is None:
            return typed
        if judged.word is not None and not slip.explained:
            self.talk.say(f"{judged.size}, {judged.word}. {judged.told()}".rstrip())
        choices: list[tuple[str, str]] = []
        if slip.replacement is not None:
            choices.append((f"Take {slip.replacement}", slip.replacement))
        choices += [(f"Yes, keep {typed} as typed", typed), ("No, type it again", "")]
        at = self.talk.pick(f"{judged.label}: {slip.question}", [words for words, _ in choices])
        return choices[at][1]

    def out_of_limits(self, quantity: str) -> None:
        """Say what is out, and ask what to do about it."""
        build, step = self.build, step_in_hand(self.build)
        taken = reading_at(build, self.weekend, step.id, quantity)
        if taken is None:
            self.measure(quantity)
            return
        spec = self.weekend.card(build.clutch).quantities[quantity]
        found = judge_reading(taken.reading, spec.label, spec.decimals)
        place = next((p for p in step.fits if p == spec.of), None)
        choices = ["Measure again", "Keep it, and say why"]
        if place is not None:
            choices.append(f"Fit another one ({place})")
        at = self.talk.pick(f"{spec.label} {found.shown} is out: {found.distance}", choices)
        if at == 0:
            self.measure(quantity)
        elif at == 2 and place is not None:
            self.fit(place)
        else:
            why = self.talk.text(f"{spec.label} is out. Why may it stay?", desk.reason_trouble)
            self.take(desk.accept_out(self.build, why))

    # Parts

    def fit(self, place: Place) -> None:
        """Ask what is fitted at a place and write it to the log."""
        if self.build.clutch not in self.weekend.clutches:
            self.talk.say(f"There is no card for clutch {self.build.clutch}; skip this step (s).")
            raise Turn("repeat")
        shims = fitting.as_shim_place(place)
        if shims is not None:
            self._fit_shims(shims)
        else:
            self._fit_part(cast("PartPlace", place))

    def _fit_part(self, place: PartPlace) -> None:
        weekend, clutch = self.weekend, self.build.clutch
        choices = fitting.part_choices(weekend, place, clutch)
        words = [f"{c.label}, {c.detail}" for c in choices]
        at = self.talk.pick(f"Which {place} goes on?", [*words, "Another, not in stock.toml"])
        if at < len(choices):
            part = choices[at].part
        else:
            part = self.talk.text(
                f"Short name of the new {place}, such as S3",
                lambda text: fitting.name_trouble(text, place),
            )
        there = weekend.state(None, clutch).fitted(place)
        reason = ""
        if there is not None and there.part != part:
            label = fitting.fitted_now(weekend, place, clutch)
            fates = ["Kept, it can be used again", "Thrown away"]
            if self.talk.pick(f"What becomes of {label}?", fates) == 1:
                reason = self.talk.text(f"Why is {label} thrown away?", desk.reason_trouble)
        record = fitting.part_fit(
            weekend,
            place,
            part,
            clutch=clutch,
            now=self.now(),
            fate="discarded" if reason else "kept",
            reason=reason,
            step=step_in_hand(self.build).id,
        )
        self.keep(record)
        self.talk.say(f"Recorded: {place} {fitting.fitted_now(self.weekend, place, clutch)}.")

    def _fit_shims(self, place: ShimPlace) -> None:
        clutch = self.build.clutch
        there = fitting.fitted_now(self.weekend, place, clutch)
        self.talk.say(f"{place.capitalize()} going on. There now: {there or 'not recorded'}.")
        stack = self.weekend.state(None, clutch).shims.get(place)
        same = " Enter for the same again:" if stack is not None else ""
        while True:
            text = self.talk.line(f"Each shim in mm, such as 0.10 0.15, or none.{same}")
            if not text and stack is not None:
                text = " ".join(f"{s:g}" for s in stack.shims_mm) or "none"
            read = fitting.read_shims(self.weekend, text)
            if read.trouble:
                self.talk.say(f"{read.trouble}.")
                continue
            keep = shims_listed(read.shims_mm)
            if not read.question or self.talk.yes(f"{read.question}. Keep {keep} all the same?"):
                break
        step = step_in_hand(self.build).id
        self.keep(fitting.shim_fit(place, read.shims_mm, clutch=clutch, now=self.now(), step=step))
        self.talk.say(f"Recorded: {fitting.fitted_now(self.weekend, place, clutch)}.")
