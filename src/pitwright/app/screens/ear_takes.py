"""What Ear does with a take-up: measured anew, typed, doubled, left out or kept."""

from __future__ import annotations

from textual import work

from pitwright.app.screens.ear_listening import EarListening
from pitwright.app.widgets.dialogs import Choice, Confirm, FormDialog, Pick
from pitwright.app.widgets.dialogs import Field as FormField
from pitwright.desk.bite.doubt import observation_doubt
from pitwright.desk.bite.form import observed_trouble
from pitwright.desk.ear import against, words
from pitwright.desk.ear import ear as desk
from pitwright.units import read_quantity

__all__ = ["EarTakes"]

_NO_HEAT = " now"
_TYPED = "ear"
"""The draft of a typed speed, until a take of that recording is kept."""
_FILE, _TAKE = "recording", "take"


class EarTakes(EarListening):
    """The keys that correct a take-up, leave it out or keep it."""

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
                pull_m_s_2=self._pull(),
            )
        except NotStandingError as error:
            self._refuse(str(error))
            return
        await self.take(bench.put(take))

    async def action_creep(self) -> None:
        """Measure the creep speed at the cursor."""
        from pitwright.sound.takeup import NoCreepError

        bench = self._bench
        if bench is None:
            return
        try:
            take = desk.creep_take(
                bench.hearing,
                self._cursor_s,
                place=self._place,
                car_speed_m_s=min(self._car_speed, desk.CREEPING_M_S),
            )
        except NoCreepError as error:
            self._refuse(str(error))
            return
        await self.take(bench.put(take))

    @work(exclusive=True, group="ask")
    async def action_type(self) -> None:
        """Type the speed of the launch looked at."""
        bench = self._bench
        if bench is None:
            return
        take = bench.in_hand(self._cursor_s)
        rpm = f"{take.speed.rpm:.0f}" if take.speed is not None else ""
        drafts, before = self.pitwright.drafts, {_FILE: bench.file, _TAKE: take.name}
        left = drafts.fields(_TYPED)
        if not before.items() <= left.items():
            left = {"rpm": rpm}
        values = await self.app.push_screen_wait(
            FormDialog(
                f"{take.name}: the take-up speed",
                [
                    FormField("rpm", "Speed, rpm", left.get("rpm", "")),
                    FormField("u_rpm", "Sure to about ±, rpm", left.get("u_rpm", ""), "if known"),
                ],
                check=lambda typed: observed_trouble({**typed, "heat": ""}, []),
                on_typed=lambda typed: drafts.typed(_TYPED, {**before, **typed}),
            )
        )
        if values is None:
            return
        plus_minus = values["u_rpm"].replace(" ", "")
        changed = desk.typed(
            take,
            read_quantity(values["rpm"].replace(" ", ""), ""),
            read_quantity(plus_minus, "") if plus_minus else None,
        )
        await self.take(bench.put(changed))

    async def action_double(self) -> None:
        """Double the speed looked at."""
        bench = self._bench
        take = bench.current if bench is not None else None
        if bench is None or take is None:
            return
        try:
            changed = desk.doubled(take)
        except ValueError as error:
            self._refuse(str(error))
            return
        await self.take(bench.put(changed))

    async def action_discard(self) -> None:
        """Leave the launch looked at out, or take it back."""
        if self._bench is not None:
            await self.take(self._bench.discarding())

    @work(exclusive=True, group="ask")
    async def action_heat(self) -> None:
        """Choose the heat the recording is from."""
        if await self._ask_heat():
            self._ask_model()
            await self.show_bench()

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
            held_at_grip=self._model is not None and against.was_held(take, self._model),
        )
        doubt = desk.keep_doubt(take, bench.takes) or observation_doubt(self.weekend, draft)
        if doubt and not await self.app.push_screen_wait(
            Confirm(f"{doubt}. Keep it all the same?", weighty=True)
        ):
            self.notify("Not kept")
            return
        if self.pitwright.keep(draft) is not None:
            # What was typed is in the record, or was given up for what was heard.
            drafts = self.pitwright.drafts
            if drafts.fields(_TYPED).get(_FILE) == bench.file:
                drafts.forget(_TYPED)
            self.notify(words.kept_words(take, self._heat), markup=False)
            await self.take(bench.keeping())

    def _refuse(self, why: str) -> None:
        self.notify(f"{why[:1].upper()}{why[1:]}", severity="warning", markup=False)
