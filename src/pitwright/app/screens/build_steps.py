"""What Build does with the step in hand: its checkpoints, its tick, and the way to another."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from pitwright.app.screens.build_end import BuildEnd
from pitwright.app.widgets.dialogs import Choice, Pick
from pitwright.app.widgets.step_list import StepList
from pitwright.desk.build import build as desk
from pitwright.desk.build.facts import demands, is_settled, result_of, step_in_hand
from pitwright.desk.build.worktime import carry_on, pause

__all__ = ["BuildSteps"]


class BuildSteps(BuildEnd):
    """The keys that work a step and move to another one."""

    # The step in hand

    def action_advance(self) -> None:
        """Do the next thing the step wants, and tick it when it wants nothing more."""
        self._run(self._advance)

    async def _advance(self) -> None:
        for _ in range(20):
            build = self.build
            if build is None:
                return
            step = step_in_hand(build)
            wanted = demands(build, self.weekend, step)
            if not wanted:
                if all(is_settled(result_of(build, s.id)) for s in build.steps):
                    await self.sign_off()
                else:
                    self.take(desk.tick(build, self.weekend, self.pitwright.clock()))
                    await self.offer_end()
                return
            if not await self._asks.answer(wanted[0]):
                return

    def action_measure(self) -> None:
        """Measure at this step."""
        build = self.build
        if build is not None:
            self._run(lambda: self._choose(step_in_hand(build).measures, self._asks.measure))

    def action_fit(self) -> None:
        """Record what goes on at this step."""
        build = self.build
        if build is not None:
            places: list[Any] = list(step_in_hand(build).fits)
            self._run(lambda: self._choose(places, self._asks.parts.fit))

    async def _choose(
        self, names: list[Any], ask: Callable[[Any], Coroutine[Any, Any, bool]]
    ) -> None:
        name = names[0]
        if len(names) > 1:
            card = self.weekend.clutches.get(self.build.clutch) if self.build else None
            known = card.quantities if card is not None else {}
            labels = [known[n].label if n in known else str(n).capitalize() for n in names]
            name = await self.app.push_screen_wait(
                Pick("Which one?", [Choice(n, la) for n, la in zip(names, labels, strict=True)])
            )
        if name is not None:
            await ask(name)

    def action_thread_lock(self) -> None:
        """Answer the thread-lock checkpoint."""
        self._run(self._asks.thread_lock)

    def action_torque(self) -> None:
        """Answer the torque checkpoint."""
        self._run(self._asks.torque)

    def action_skip(self) -> None:
        """Skip the step in hand."""
        build = self.build
        if build is None:
            return
        step = step_in_hand(build)

        def keep(reason: str) -> bool:
            return self.take(desk.skip(build, reason, self.pitwright.clock()))

        self._run(
            lambda: self._asks.lines.ask(
                f"build skip {build.at + 1}",
                f"Skip: {step.title}",
                keep,
                value=result_of(build, step.id).skipped_because,
                hint="why? With nothing typed it stays open and bars the sign-off",
            )
        )

    def action_untick(self) -> None:
        """Open the step in hand again."""
        build = self.build
        if build is not None:
            self.take(desk.untick(build, step_in_hand(build).id, self.pitwright.clock()))

    def action_note(self) -> None:
        """Write the note of the step in hand."""
        build = self.build
        if build is None:
            return
        step = step_in_hand(build)
        self._run(
            lambda: self._asks.lines.ask(
                f"build note {build.at + 1}",
                f"Note: {step.title}",
                lambda text: self.take(desk.note_step(build, text)),
                value=result_of(build, step.id).note,
            )
        )

    def action_pause(self) -> None:
        """Stop the working time, or let it run again."""
        build, now = self.build, self.pitwright.clock()
        if build is not None:
            paused = build.worked_since is None
            self.take(carry_on(build, now) if paused else pause(build, now))

    # Other steps

    def action_go(self, by: int) -> None:
        """Take up the step before or after."""
        build = self.build
        if build is None:
            return
        at = build.at + by
        if 0 <= at < len(build.steps):
            self.take(desk.go_to(build, build.steps[at].id, self.pitwright.clock()))

    def on_step_list_chosen(self, event: StepList.Chosen) -> None:
        """Take up the step that was clicked."""
        build = self.build
        if build is not None:
            self.take(desk.go_to(build, event.step, self.pitwright.clock()))

    def action_several(self) -> None:
        """Tick several steps at once."""
        self._run(self._several)

    async def _several(self) -> None:
        build = self.build
        if build is None:
            return
        still_open = [s for s in build.steps[build.at :] if not is_settled(result_of(build, s.id))]
        if not still_open:
            self.notify("No open step from here on")
            return
        last = await self.app.push_screen_wait(
            Pick(
                "Done at once, from here up to and with which step?",
                [Choice(s.id, s.title) for s in still_open],
            )
        )
        if last is None:
            return
        names = [s.id for s in still_open]
        names = names[: names.index(last) + 1]
        build, left = desk.batch_tick(build, self.weekend, names, self.pitwright.clock())
        if not self.take(build):
            return
        if left:
            many = f"{len(left)} steps still want" if len(left) > 1 else "1 step still wants"
            self.notify(f"{len(names) - len(left)} ticked; {many} an answer", severity="warning")
        await self.offer_end()
