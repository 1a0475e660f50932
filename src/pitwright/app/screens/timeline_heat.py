"""The keys of the Timeline that run a heat: start, tap, stop, fill in, keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import ClassVar

from textual.binding import Binding, BindingType

from pitwright.app.screens.base import WeekendScreen
from pitwright.app.timekeeping import start_cooling, stop_cooling
from pitwright.desk.form_text import FormError, FormField, read_choice
from pitwright.desk.heats.heats import (
    HEAT_KINDS,
    due_heat,
    free_name,
    go_on,
    landed,
    laps_of,
    rerun_name,
    start_heat,
    stop,
    tap,
    undo_tap,
)
from pitwright.desk.wording import counted, day_time, from_time
from pitwright.weekend.open_work import OpenHeat
from pitwright.weekend.records import HeatRun
from pitwright.weekend.schedule import PlannedHeat

__all__ = ["HeatKeys"]

_FINISH = "heat-finish"
_STARTING = "Engine running: hands, hair and sleeves away from flywheel and gears"


class HeatKeys(WeekendScreen):
    """What the Timeline can do with a heat."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "tap", "Lap", id="timeline.tap", tooltip="The car crosses the line"),
        Binding("u", "undo_tap", "Undo lap", id="timeline.undo_tap", tooltip="Take a tap back"),
        Binding("h", "start_stop", "Heat", id="timeline.heat", tooltip="Start or stop a heat"),
        Binding(
            "g", "go_on", "Go on", id="timeline.go_on", tooltip="It was stopped by mistake: go on"
        ),
        Binding(
            "a", "add_heat", "Add", id="timeline.add", tooltip="Note a heat that was run already"
        ),
        Binding(
            "R",
            "rerun",
            "Rerun",
            show=False,
            id="timeline.rerun",
            tooltip="Start the rerun of the heat under the cursor",
        ),
    ]

    @property
    def running_heat(self) -> OpenHeat | None:
        """The heat that is running, or stopped and not kept yet."""
        return self.weekend.open.heat

    def chosen_plan(self) -> PlannedHeat | None:
        """Return the planned heat under the cursor."""
        return None

    def chosen_run(self) -> HeatRun | None:
        """Return the noted heat under the cursor."""
        return None

    def refresh_heat(self) -> None:
        """Show the heat in progress as it is now."""

    def forget_landed(self) -> None:
        """Forget an open heat whose record is in the log already."""
        heat = self.running_heat
        if heat is not None and self.pitwright.session.writable and landed(self.weekend, heat):
            self.pitwright.guard(self.pitwright.session.clear_heat)

    def _keep_open(self, heat: OpenHeat) -> bool:
        done = self._keep_quietly(heat)
        if done:
            self.pitwright.announce()
        return done

    def action_start_stop(self) -> None:
        """Start the heat that is due, or stop the one that is running."""
        heat = self.running_heat
        if heat is None:
            self._choose_start()
        elif heat.stopped_at is None:
            stopped = stop(heat, self.pitwright.clock())
            if self._keep_open(stopped):
                start_cooling(self.pitwright, stopped.stopped_at or self.pitwright.clock())
                self._fill_in(stopped)
        else:
            self._fill_in(heat)

    def action_rerun(self) -> None:
        """Start the rerun of the heat under the cursor."""
        run = self.chosen_run()
        if run is None:
            self.notify("Put the cursor on the heat that is rerun", severity="warning")
            return
        self._ask_start(rerun_name(self.weekend, run.heat), run.heat_kind)

    def _choose_start(self) -> None:
        """Start what is due; ask only when the cursor is on another heat."""
        from pitwright.app.widgets.dialogs import Choice, Pick

        due = due_heat(self.weekend, self.pitwright.clock())
        chosen = self.chosen_plan()
        if chosen is None or chosen == due:
            self._start(due)
            return
        plans = [plan for plan in (chosen, due) if plan is not None]
        zone = self.weekend.event.zone

        def answered(key: str | None) -> None:
            if key is not None:
                self._start(next((p for p in plans if p.name == key), None))

        self.app.push_screen(
            Pick(
                "Which heat starts?",
                [
                    *(
                        Choice(p.name, p.name, f"planned {day_time(p.starts_at, zone)}")
                        for p in plans
                    ),
                    Choice("", "Another one"),
                ],
            ),
            answered,
        )

    def _start(self, planned: PlannedHeat | None) -> None:
        if planned is None:
            self._ask_start("", "practice")
            return
        try:
            heat = start_heat(
                self.weekend,
                self.pitwright.clock(),
                clutch=self.pitwright.clutch,
                planned=planned,
            )
        except FormError as error:
            self.notify(error.first[1], severity="warning", markup=False)
            return
        self._started(heat)

    def _started(self, heat: OpenHeat) -> bool:
        from pitwright.desk.build.thread_lock import still_setting

        if not self._keep_open(heat):
            return False
        stop_cooling(self.pitwright)
        self.notify(_STARTING, title=f"{heat.heat.heat} started", markup=False)
        self._clear_name(heat.heat.heat)
        until = still_setting(self.weekend.open.timers, self.pitwright.clock())
        if until is not None:
            zone = self.weekend.event.zone
            self.notify(
                f"It needs until {from_time(until, zone)}; the bottle's sheet rules. Engine off, "
                "or the nut may creep",
                title="The thread-lock has not set",
                severity="warning",
                markup=False,
            )
        return True

    def _clear_name(self, heat: str) -> None:
        """Put laps aside that stand under the name of a heat that only starts now.

        They are of an earlier heat of that name, which was taken back.
        """
        laps = self.weekend.laps.get(heat)
        if not laps:
            return

        if self.pitwright.guard(lambda: self.pitwright.session.keep_laps(heat, [])):
            self.notify(
                f"Of an earlier {heat}: {counted(len(laps), 'lap')}, kept in the folder under "
                "laps/as-it-came",
                title="Laps put aside",
                markup=False,
            )

    def _ask_start(self, name: str, kind: str) -> None:
        from pitwright.app.widgets.drafted_form import ask_form

        def read(values: dict[str, str]) -> OpenHeat:
            try:
                chosen = read_choice(values["kind"], HEAT_KINDS) or "practice"
            except ValueError as error:
                raise FormError({"kind": f"Kind: {error}"}) from None
            return start_heat(
                self.weekend,
                self.pitwright.clock(),
                clutch=self.pitwright.clutch,
                name=values["heat"],
                kind=chosen,
            )

        ask_form(
            self.pitwright,
            "heat-start",
            "Start a heat",
            [
                FormField("heat", "Heat", name, "P1", half=False),
                FormField("kind", "Kind", kind, ", ".join(HEAT_KINDS), half=False),
            ],
            read,
            lambda heat, _values: self._started(heat),
        )

    def action_tap(self) -> None:
        """Note that the car crosses the line."""
        heat = self.running_heat
        if heat is None or heat.stopped_at is not None:
            return
        tapped = tap(heat, self.pitwright.clock())
        if tapped is not heat and self._keep_quietly(tapped):
            self.refresh_heat()

    def action_undo_tap(self) -> None:
        """Take the last tap back."""
        heat = self.running_heat
        if heat is None or not heat.taps:
            return
        if self._keep_quietly(undo_tap(heat)):
            self.refresh_heat()

    def _keep_quietly(self, heat: OpenHeat) -> bool:
        """Keep a heat as it now is; one that only waits for the disk goes on all the same."""
        session = self.pitwright.session
        return self.pitwright.guard(lambda: session.keep_heat(heat)) or session.heat_waits

    def action_go_on(self) -> None:
        """Let the heat go on that was stopped by mistake."""
        heat = self.running_heat
        if heat is not None and heat.stopped_at is not None and self._keep_open(go_on(heat)):
            stop_cooling(self.pitwright)

    def throw_away_heat(self) -> None:
        """Forget the heat in progress, when it was started by mistake."""
        from pitwright.app.widgets.dialogs import Confirm

        heat = self.running_heat
        if heat is None:
            return

        def answered(yes: bool | None) -> None:
            if yes and self.pitwright.guard(self._clear):
                self.pitwright.announce()

        taps = f" Its {len(heat.taps)} taps are lost." if heat.taps else ""
        self.app.push_screen(
            Confirm(f"{heat.heat.heat} was started by mistake, forget it?{taps}"), answered
        )

    def _clear(self) -> None:
        self.pitwright.drafts.forget(_FINISH)
        self.pitwright.session.clear_heat()

    def _fill_in(self, heat: OpenHeat) -> None:
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.heat_form import finish_form, heat_form, read_heat

        now = self.pitwright.clock()
        base = finish_form(self.weekend, heat, now)

        def keep(run: HeatRun, _values: dict[str, str]) -> bool:
            laps = list(laps_of(heat))
            before = self.weekend.laps.get(run.heat, ())
            place = self._keep_laps(run.heat, laps)
            if place is None or self.pitwright.keep(run) is None:
                return False
            self.pitwright.guard(self.pitwright.session.clear_heat)
            self.pitwright.announce()
            if place:
                self._ask_which(run.heat, before, laps, place)
            return True

        laps = len(laps_of(heat))
        tail = f", {counted(laps, 'lap')} tapped" if laps else ""
        ask_form(
            self.pitwright,
            _FINISH,
            f"{base.heat} is over{tail}: fill in what you know",
            heat_form(self.weekend, base),
            lambda values: read_heat(self.weekend, base, values, self.pitwright.clock()),
            keep,
            fresh=("minutes",) if self._older_draft(heat) else (),
            caution="The bell is hot after a run: it burns at a touch",
        )

    def _older_draft(self, heat: OpenHeat) -> bool:
        """Tell whether the draft is from before the heat went on and was stopped again."""
        draft = self.weekend.open.drafts.get(_FINISH)
        stopped = heat.stopped_at
        return draft is not None and stopped is not None and draft.saved_at < stopped

    def _keep_laps(self, heat: str, laps: list[float]) -> str | None:
        """Keep the laps tapped; None when that failed.

        When the heat has others already they are put aside, and where that is is returned.
        """
        before = self.weekend.laps.get(heat, ())
        session = self.pitwright.session

        aside = ""

        def write() -> None:
            nonlocal aside
            if before:
                aside = session.keep_laps_aside(heat, laps)
            else:
                session.keep_laps(heat, laps)

        if not laps or [round(lap, 3) for lap in before] == laps:
            return ""
        return aside if self.pitwright.guard(write) else None

    def _ask_which(
        self, heat: str, before: Sequence[float], tapped: list[float], place: str
    ) -> None:
        """Ask which laps count; both are on the disk, whatever the answer."""
        from pitwright.app.widgets.dialogs import Choice, Pick
        from pitwright.desk.pace.lap_preview import figures_words

        def take() -> None:
            self.pitwright.session.keep_laps(heat, tapped)

        def answered(key: str | None) -> None:
            where = place
            if key == "tapped":
                if not self.pitwright.guard(take):
                    return
                where = "laps/as-it-came"
                self.pitwright.announce()
            others = "earlier" if key == "tapped" else "tapped"
            self.notify(
                f"The {others} ones stay in the folder, in {where}; l brings them in",
                title=f"Laps of {heat}",
                markup=False,
            )

        self.app.push_screen(
            Pick(
                f"{heat} has other laps already. Which count?",
                [
                    Choice("before", "Those there already", figures_words(before)),
                    Choice("tapped", "Those tapped", figures_words(tapped)),
                ],
            ),
            answered,
        )

    def action_add_heat(self) -> None:
        """Note a heat that was run already."""
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.heat_form import add_form, heat_form, read_heat

        now = self.pitwright.clock()
        plan = self.chosen_plan()
        base = add_form(self.weekend, now, plan if plan and plan.starts_at <= now else None)
        fields = [
            replace(f, value=free_name(self.weekend, f.value)) if f.key == "heat" and f.value else f
            for f in heat_form(self.weekend, base)
        ]
        ask_form(
            self.pitwright,
            "heat-add",
            "A heat that was run already",
            fields,
            lambda values: read_heat(self.weekend, base, values, self.pitwright.clock()),
            lambda run, _values: self.pitwright.keep(run) is not None,
        )
