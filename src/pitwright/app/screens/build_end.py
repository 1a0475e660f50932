"""How a build ends: signed off, or given up; and what stands in the way."""

from __future__ import annotations

from pitwright.app.screens.build_asks import BuildAsks
from pitwright.app.screens.build_in_hand import BuildInHand
from pitwright.app.widgets.dialogs import Choice, Confirm, Pick
from pitwright.desk.build import build as desk
from pitwright.desk.build.end import abandon_note, hindrances, loose_ends, sign_off
from pitwright.desk.build.facts import landed

__all__ = ["BuildEnd"]


class BuildEnd(BuildInHand):
    """The keys that end the build in hand."""

    def __init__(self) -> None:
        super().__init__()
        self._asks = BuildAsks(self)

    def ended(self) -> None:
        """Leave nothing of the build that has ended."""

    def action_sign_off(self) -> None:
        """Sign the build off, or say what bars it."""
        self._run(self.sign_off)

    def action_what_bars(self) -> None:
        """Say what bars the sign-off."""
        self._run(self.sign_off)

    async def offer_end(self) -> None:
        """Offer the sign-off once nothing bars it."""
        build = self.build
        if build is not None and not hindrances(build, self.weekend):
            await self.sign_off()

    async def sign_off(self) -> None:
        """Sign the build off after a yes, or say what bars it."""
        build = self.build
        if build is None:
            return
        barred = hindrances(build, self.weekend)
        if barred:
            steps = {h.step: h for h in reversed(barred)}
            ordered = [steps[s.id] for s in build.steps if s.id in steps]
            many = f"{len(ordered)} steps stand" if len(ordered) > 1 else "1 step stands"
            step = await self.app.push_screen_wait(
                Pick(
                    f"Not yet: {many} in the way. Go to",
                    [Choice(h.step, f"{h.title}:", h.words) for h in ordered],
                )
            )
            if step is not None:
                self.take(desk.go_to(build, step, self.pitwright.clock()))
            return
        ends = loose_ends(build)
        remarks = "".join(f"\n  {line}" for line in ends)
        question = f"Sign off this {build.route}?{' Note:' if ends else ''}{remarks}"
        if not await self.app.push_screen_wait(Confirm(question, weighty=True)):
            return
        if landed(build, self.weekend) is None:
            record = sign_off(build, self.weekend, self.pitwright.clock())
            if self.pitwright.keep(record) is None:
                return
        self._clear_away("Signed off; the build is in the log")

    def action_abandon(self) -> None:
        """Give the build up."""
        self._run(self._abandon)

    async def _abandon(self) -> None:
        build = self.build
        if build is None or not await self.app.push_screen_wait(
            Confirm(
                f"Give up this {build.route}? What was measured and fitted stays in the log; "
                "the ticks become a note."
            )
        ):
            return

        def keep(reason: str) -> bool:
            note = abandon_note(build, self.weekend, reason, self.pitwright.clock())
            return self.pitwright.keep(note) is not None

        if await self._asks.lines.ask(
            "build given up", "Why is it given up?", keep, check=desk.reason_trouble
        ):
            self._clear_away("Given up; a note of it is in the log")

    def _clear_away(self, said: str) -> None:
        session = self.pitwright.session

        if self.pitwright.guard(session.clear_build):
            for form in list(session.weekend.open.drafts):
                if form.startswith("build "):
                    self.pitwright.drafts.forget(form)
            self.ended()
            self.notify(said)
        self.pitwright.announce()
