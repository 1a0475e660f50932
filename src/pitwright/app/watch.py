"""What happens around the open folder: changes from outside, the other instance, the clock."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from pitwright.desk.wording import minutes_words
from pitwright.weekend.clocks import stands_back

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pitwright.app.app import PitwrightApp
    from pitwright.weekend.problems import Problem

__all__ = ["Watch"]

# Clocks that a network sets step by a second or two.
_SLACK_MIN: Final = 1.0


class Watch:
    """Looks at the folder every few seconds and says what is new, each thing once."""

    def __init__(self, app: PitwrightApp) -> None:
        self._app = app
        self._known: set[Problem] = set()
        self._free_said = False
        self._gone = False
        self._looked_at = app.clock()

    def opened(self) -> None:
        """Say what needs saying when the weekend has just been opened."""
        app, session = self._app, self._app.session
        if not session.writable:
            why = session.why_reading_only
            app.notify(
                f"Open for reading only: {why}", severity="warning", timeout=15, markup=False
            )
        back = stands_back(session.records, session.laptop, app.clock())
        if back is not None:
            self._clock_went_back(
                f"This laptop's clock stands {minutes_words(back.total_seconds() / 60)} before "
                "its last record. Set it right before you go on"
            )
        self.tell_new(session.problems)

    def _look_at_clock(self) -> None:
        """Notice a clock that is set back while the app is open."""
        before, self._looked_at = self._looked_at, self._app.clock()
        back = (before - self._looked_at).total_seconds() / 60
        if back > _SLACK_MIN:
            self._clock_went_back(
                f"This laptop's clock was just set back by {minutes_words(back)}. If it was right "
                "before, set it right before you go on; if not, 'Shift a clock' among all keys "
                "(:) puts the earlier records right"
            )

    def _clock_went_back(self, words: str) -> None:
        self._app.notify(
            words, title="The clock went back", severity="warning", timeout=30, markup=False
        )

    def tell_new(self, problems: Sequence[Problem]) -> None:
        """Say which problems were not there before: the first error, or the first warning."""
        from pitwright.desk.problem_words import problem_words

        new = [p for p in problems if p not in self._known]
        self._known = set(problems)
        if not new:
            return
        first = next((p for p in new if p.weight == "error"), new[0])
        more = len(new) - 1
        session = self._app.session
        told = problem_words(first, session.records, session.weekend.event.zone)
        tail = ""
        if more:
            tail = f" (and {more} more: ! lists them)"
        elif told != str(first):
            tail = " (! names the file and what to do)"
        twice = "corrected twice" in first.reason
        error = first.weight == "error"
        title = "Two corrections of one record" if twice else "Not all could be read"
        self._app.notify(
            f"{told}{tail}",
            title=title if error else "Worth a look",
            severity="warning",
            markup=False,
            timeout=15,
        )

    def name_problems(self) -> None:
        """Show every problem of the folder's files: file, key, reason and what to do."""
        from textual.content import Content

        from pitwright.app.widgets.show_text import ShowText
        from pitwright.desk.problem_words import problem_lines

        text = Content("\n\n".join(problem_lines(self._app.session.problems)))
        self._app.push_screen(ShowText("The files of this weekend", text))

    def look(self) -> None:
        """Notice what others changed, and when whoever was writing has left."""
        app, session = self._app, self._app.session
        self._look_at_clock()
        if session.changed_outside():
            before = session.weekend
            if session.reload():
                if self._gone:
                    app.notify("Its folder is there again", title="The weekend is back")
                self._gone = False
                # Who only reads follows the other instance all day and need not be told.
                if session.writable and session.weekend != before:
                    app.notify("The folder was changed from outside; shown afresh")
                self.tell_new(session.problems)
            else:
                self._cannot_be_read()
            app.announce()
        if session.heat_waits:
            app.guard(session.write_waiting)
        if session.can_take_over():
            if not self._free_said:
                app.notify("The other pitwright has left; F6 picks up writing", timeout=30)
            self._free_said = True
        else:
            self._free_said = False

    def _cannot_be_read(self) -> None:
        problems = self._app.session.problems
        if set(problems) == self._known:
            return
        self._known = set(problems)
        there = self._app.session.folder_is_there
        self._gone = not there
        self._app.notify(
            str(problems[0])
            if there
            else "The weekend's folder is gone: was it moved, or a stick pulled? What is on the "
            "screen stays; put it back to go on",
            title="A card cannot be read" if there else "The folder is gone",
            severity="error",
            timeout=20,
            markup=False,
        )

    def pick_up_writing(self) -> None:
        """Become the one who writes, when nobody else is."""
        from pitwright.store.session import CannotOpenError

        app, session = self._app, self._app.session
        if session.writable:
            app.notify("This pitwright is the one that writes")
            return
        try:
            taken = session.take_over()
        except CannotOpenError:
            self._known = set()
            self._cannot_be_read()
            return
        if taken:
            app.notify("You can write now; the folder was read afresh")
            app.announce()
            app.refresh_bindings()
        else:
            app.notify(
                f"Still for reading only: {session.why_reading_only}",
                severity="warning",
                markup=False,
            )

    def shift_clock(self) -> None:
        """Ask whose clock was wrong and by how much, and put its records right."""
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.clock_shift import ShiftPlan, plan_shift, shift_form

        app, session = self._app, self._app.session

        def keep(plan: ShiftPlan, _values: dict[str, str]) -> bool:
            if app.keep(plan.record) is None:
                return False
            app.notify(plan.words(session.weekend.event.zone), markup=False)
            return True

        ask_form(
            app,
            "clock shift",
            "Shift the records of a clock that was wrong",
            shift_form(session.records, session.laptop),
            lambda values: plan_shift(session.records, values, app.clock()),
            keep,
        )
