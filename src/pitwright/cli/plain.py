"""A build in plain lines: printed step by step, answered on standard input.

For screen readers and braille lines, and for a terminal that can do nothing else. It writes the
same records through the same desk as the Build screen, and either can go on where the other left.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pitwright.cli.plain_asks import PlainAsks
from pitwright.cli.plain_talk import COMMANDS, Talk, Turn
from pitwright.cli.shared import check_clutch, left_out_lines, opened
from pitwright.desk.build import build as desk
from pitwright.desk.build.choice import lay_out, routes
from pitwright.desk.build.end import abandon_note, hindrances, loose_ends, sign_off
from pitwright.desk.build.facts import demands, is_settled, landed, result_of, step_in_hand
from pitwright.desk.build.view import StepView, build_view
from pitwright.desk.build.worktime import carry_on, keep_time, pause, resume
from pitwright.desk.form_text import line_trouble
from pitwright.desk.wording import needed_words
from pitwright.store.files import StoreError

if TYPE_CHECKING:
    from pitwright.store.session import Session

__all__ = ["PlainBuild", "work_in_lines"]


def work_in_lines(folder: Path, clutch: str | None = None) -> int:
    """Work a build of the weekend in ``folder`` in lines on standard input and output."""
    with opened(folder, write=True) as session:
        check_clutch(session.weekend, clutch)
        talk = Talk(read=input, say=_say)
        return PlainBuild(session, talk, clutch).work()


def _say(text: str) -> None:
    # A terminal without these signs gets them spelled as well as it can.
    encoding = sys.stdout.encoding or "ascii"
    print(text.encode(encoding, errors="replace").decode(encoding), flush=True)


class PlainBuild:
    """One build in lines, from the choice of a route to the sign-off."""

    def __init__(self, session: Session, talk: Talk, clutch: str | None = None) -> None:
        self.session = session
        self.talk = talk
        self.clutch = clutch
        self.asks = PlainAsks(session, talk)
        self._told: tuple[str, ...] = ()

    def work(self) -> int:
        """Work until the build is signed off, given up or left; return the exit status."""
        self.talk.say(f"{self.session.weekend.event.name}. Build.")
        for line in left_out_lines(self.session.problems):
            self.talk.say(line)
        try:
            self._begin()
            self._say_help()
            while self.session.weekend.open.build is not None:
                self._turn(self._step)
        except Turn:
            self._keep_time()
            open_ = self.session.weekend.open.build is not None
            self.talk.say("Left. The build goes on here next time." if open_ else "Left.")
        except BaseException:
            self._keep_time()
            raise
        return 0

    def _keep_time(self) -> None:
        build = self.session.weekend.open.build
        if build is not None and build.worked_since is not None:
            try:
                self.session.keep_build(keep_time(build, self.session.clock()))
            except StoreError as error:
                self.talk.say(f"The working time is not kept: {error.strerror or error}")

    # Beginning

    def _begin(self) -> None:
        build, weekend = self.session.weekend.open.build, self.session.weekend
        if build is not None and landed(build, weekend) is not None:
            self.session.clear_build()
            self.talk.say("The last build was signed off already; its record is in the log.")
            build = None
        if build is not None:
            self.asks.take(resume(build, self.session.clock()))
            self.talk.say(f"Going on with the {build.route} that was begun.")
            return
        choices = routes(weekend)
        words = [
            f"{c.route.capitalize()}, {c.steps} steps, {needed_words(c.time.minutes)} by "
            f"{c.time.basis}"
            for c in choices
        ]
        at = self.talk.pick("Which build?", words)
        route = choices[at].route
        for line in lay_out(weekend, route, self.clutch):
            self.talk.say(line)
        self.asks.take(desk.start(weekend, route, self.session.clock(), self.clutch))

    def _say_help(self) -> None:
        self.talk.say("In place of any answer, one letter and enter:")
        for letter, (_command, words) in COMMANDS.items():
            self.talk.say(f"  {letter}  {words}")

    # One step

    def _turn(self, do: Callable[[], None]) -> None:
        try:
            do()
        except Turn as turn:
            if turn.command == "leave":
                raise
            self._told = ()
            if turn.command != "repeat":
                # A question of the command's own may be left as well; the step is then said again.
                self._turn(partial(self._command, turn))

    def _step(self) -> None:
        build = self.asks.build
        view = build_view(self.session.weekend, build, self.session.clock()).in_hand
        if self._told != (view.step, str(build.at)):
            self._say_step(view)
            self._told = (view.step, str(build.at))
        step = step_in_hand(build)
        result = result_of(build, step.id)
        if all(is_settled(result_of(build, s.id)) for s in build.steps):
            self._sign_off()
            return
        if is_settled(result):
            state = "done" if result.done_at is not None else "skipped"
            self.talk.line(f"This step is {state}. Enter goes on to the next open one:")
            self.asks.take(desk.pass_over(self.asks.build, self.session.clock()))
            return
        wanted = demands(build, self.session.weekend, step)
        if wanted:
            self.asks.answer(wanted[0])
            self._keep_time()
            return
        self.talk.line("Done? Enter ticks it:")
        now = self.session.clock()
        self.asks.take(desk.tick(self.asks.build, self.session.weekend, now))
        self.talk.say("Ticked.")

    def _say_step(self, view: StepView) -> None:
        say = self.talk.say
        say("")
        say(f"Step {view.number} of {view.of}: {view.title}.")
        for caution in view.cautions:
            say(f"Caution: {caution}")
        if view.do:
            say(view.do)
        if view.torque:
            say(f"Tightness: {view.torque}.")
        if view.torque_caution:
            say(f"Caution: {view.torque_caution}")
        if view.thread_lock:
            say(f"Thread-lock: {view.thread_lock}.")
        if view.tools:
            say(f"Tools: {', '.join(view.tools)}.")
        if view.parts:
            say(f"Parts: {', '.join(view.parts)}.")
        for fit in view.fits:
            known = f"recorded, {fit.recorded}" if fit.recorded else f"there now, {fit.before}"
            say(f"{fit.place.capitalize()}: {known if fit.recorded or fit.before else 'unknown'}.")
        for measure in view.measures:
            taken = f"{measure.value}, {measure.verdict}" if measure.verdict else measure.limits
            say(f"{measure.label}: {taken}.")
        if view.note:
            say(f"Note: {view.note}")
        if view.shows_nut:
            self._say_nut()

    def _say_nut(self) -> None:
        from pitwright.desk.nut.nut import nut_start
        from pitwright.desk.nut.words import nut_lines

        weekend, clutch = self.session.weekend, self.asks.build.clutch
        if clutch in weekend.clutches:
            for line in nut_lines(nut_start(weekend, clutch)):
                self.talk.say(" ".join(line.split()))

    # Commands

    def _command(self, turn: Turn) -> None:
        build, now = self.session.weekend.open.build, self.session.clock()
        if build is None or turn.command == "help":
            self._say_help()
            return
        step = step_in_hand(build)
        if turn.command == "skip":
            why = self.talk.text(f"Skip: {step.title}. Why?", desk.reason_trouble)
            self.asks.take(desk.skip(build, why, now))
            self.talk.say("Skipped.")
        elif turn.command == "note":
            text = self.talk.text(f"Note: {step.title}.", line_trouble)
            self.asks.take(desk.note_step(build, text))
            self.talk.say("Noted.")
        elif turn.command == "back":
            at = max(build.at - 1, 0)
            self.asks.take(desk.go_to(build, build.steps[at].id, now))
        elif turn.command == "list":
            self._list()
        elif turn.command == "pause":
            self.asks.take(pause(build, now))
            self.talk.line("Paused. Enter goes on:")
            self.asks.take(carry_on(self.asks.build, self.session.clock()))
        elif turn.command == "give up":
            self._give_up()

    def _list(self) -> None:
        view = build_view(self.session.weekend, self.asks.build, self.session.clock())
        at = self.talk.pick("Go to which step?", [f"{s.title}, {s.mark}" for s in view.steps])
        build = self.asks.build
        self.asks.take(desk.go_to(build, build.steps[at].id, self.session.clock()))
        step = view.steps[at]
        if step.mark in ("done", "skipped") and self.talk.yes("It is settled. Open it again?"):
            self.asks.take(desk.untick(self.asks.build, step.step, self.session.clock()))

    # The end

    def _sign_off(self) -> None:
        build, weekend = self.asks.build, self.session.weekend
        barred = hindrances(build, weekend)
        if barred:
            self.talk.say("Not yet; in the way:")
            for each in barred:
                self.talk.say(f"  {each.title}: {each.words}")
            self.asks.take(desk.untick(build, barred[0].step, self.session.clock()))
            return
        self.talk.say(f"All steps of this {build.route} are settled.")
        for end in loose_ends(build):
            self.talk.say(f"  Mind: {end}")
        if not self.talk.yes("Sign it off?"):
            raise Turn("list")
        if landed(build, weekend) is None:
            self.asks.keep(sign_off(build, weekend, self.session.clock()))
        self._clear_away("Signed off; the build is in the log.")

    def _give_up(self) -> None:
        build = self.asks.build
        why = self.talk.text(
            f"Give up this {build.route}? What was measured and fitted stays in the log. Why?",
            desk.reason_trouble,
        )
        self.asks.keep(abandon_note(build, self.session.weekend, why, self.session.clock()))
        self._clear_away("Given up; a note of it is in the log.")

    def _clear_away(self, said: str) -> None:
        self.session.clear_build()
        for form in list(self.session.weekend.open.drafts):
            if form.startswith("build "):
                self.session.keep_draft(form, {})
        self.talk.say(said)
