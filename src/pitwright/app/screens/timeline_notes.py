"""The keys of the Timeline that note what is done between heats, and correct it."""

from __future__ import annotations

from typing import ClassVar, Literal

from textual.binding import Binding, BindingType

from pitwright.app.screens.base import WeekendScreen
from pitwright.desk.heats.happenings import record_words
from pitwright.weekend.log import Replaced
from pitwright.weekend.places import PLACES, PartPlace, ShimPlace
from pitwright.weekend.records import AnyRecord, Correction, Fit, HeatRun, ScheduleChange, Setting
from pitwright.weekend.schedule import PlannedHeat

__all__ = ["NoteKeys"]


class NoteKeys(WeekendScreen):
    """What the Timeline can note and correct."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("n", "note", "Note", id="timeline.note", tooltip="Write a note"),
        Binding("c", "setting", "Nut", id="timeline.setting", tooltip="Change the setting"),
        Binding("p", "fit", "Fit", id="timeline.fit", tooltip="Fit a part or shims"),
        Binding("e", "edit", "Edit", id="timeline.edit", tooltip="Correct what was noted"),
        Binding(
            "x",
            "take_back",
            "Undo",
            id="timeline.take_back",
            tooltip="Take a record back, or bring one back; nothing is erased",
        ),
        Binding(
            "d", "delay", "Delay", show=False, id="timeline.delay", tooltip="The schedule runs late"
        ),
    ]

    @property
    def clutch(self) -> str:
        """The clutch that is worked on."""
        return self.weekend.card(self.pitwright.clutch).id

    def chosen_record(self) -> AnyRecord | None:
        """Return the record in force under the cursor."""
        return None

    def chosen_gone(self) -> Replaced | None:
        """Return the taken-back record under the cursor."""
        return None

    def chosen_plan(self) -> PlannedHeat | None:
        """Return the planned heat under the cursor."""
        return None

    def chosen_heat_name(self) -> str:
        """Return the name of the heat under the cursor."""
        return ""

    # Noting

    def action_note(self) -> None:
        """Write a note, about the heat under the cursor."""
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.note_forms import note_form, read_note

        now = self.pitwright.clock()
        ask_form(
            self.pitwright,
            "note",
            "A note",
            note_form(self.weekend, now, self.chosen_heat_name()),
            lambda values: read_note(self.weekend, values, self.pitwright.clock()),
            lambda record, _values: self.pitwright.keep(record) is not None,
        )

    def action_setting(self) -> None:
        """Note a change of the nut's setting."""
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.note_forms import read_setting, setting_doubt, setting_form

        def keep(record: Setting, _values: dict[str, str]) -> bool:
            doubt = setting_doubt(self.weekend, record)
            if self.pitwright.keep(record) is None:
                return False
            if doubt:
                self.notify(doubt, title="Kept, but look at it", severity="warning", markup=False)
            return True

        ask_form(
            self.pitwright,
            "setting",
            "The nut was set",
            setting_form(self.weekend, self.pitwright.clock(), self.clutch),
            lambda values: read_setting(self.weekend, values, self.pitwright.clock(), self.clutch),
            keep,
        )

    def action_delay(self) -> None:
        """Note that the schedule runs late."""
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.note_forms import delay_form, read_delay

        plan = self.chosen_plan()
        ask_form(
            self.pitwright,
            "delay",
            "The schedule runs late",
            delay_form(self.weekend, self.pitwright.clock(), plan.name if plan else ""),
            lambda values: read_delay(self.weekend, values, self.pitwright.clock()),
            lambda record, _values: self.pitwright.keep(record) is not None,
        )

    # Fitting

    def action_fit(self) -> None:
        """Fit a part or shims: where, what, and what became of the old one."""
        from pitwright.app.widgets.dialogs import Choice, Pick
        from pitwright.desk.stock.fitting import as_shim_place, fitted_now

        places = [
            Choice(place, f"{place.capitalize():<15}", fitted_now(self.weekend, place, self.clutch))
            for place in PLACES
        ]

        def answered(place: str | None) -> None:
            found = next((p for p in PLACES if p == place), None)
            if found is None:
                return
            shims = as_shim_place(found)
            if shims is not None:
                self._fit_shims(shims)
            else:
                self._fit_part(next(p for p in _PART_PLACES if p == found))

        self.app.push_screen(Pick("Where was something fitted?", places), answered)

    def _fit_part(self, place: PartPlace) -> None:
        from pitwright.app.widgets.dialogs import Choice, Pick
        from pitwright.desk.stock.fitting import fitted_now, part_choices, part_to_fit

        choices = part_choices(self.weekend, place, self.clutch)
        if not choices:
            self.notify(f"stock.toml lists nothing for {place}", severity="warning")
            return

        def answered(part: str | None) -> None:
            if part is None:
                return
            there = self.weekend.state(None, self.clutch).fitted(place)
            if there is None or there.part == part:
                self._keep_fit(place, part)
            else:
                self._ask_fate(place, part, fitted_now(self.weekend, place, self.clutch))

        self.app.push_screen(
            Pick(
                f"Which {place} was fitted?",
                [Choice(c.part, c.label, c.detail) for c in choices],
                chosen=part_to_fit(self.weekend, place, self.clutch) or "",
            ),
            answered,
        )

    def _ask_fate(self, place: PartPlace, part: str, old: str) -> None:
        from pitwright.app.widgets.dialogs import AskLine, Choice, Pick
        from pitwright.desk.form_text import line_trouble

        def answered(fate: str | None) -> None:
            if fate == "kept":
                self._keep_fit(place, part)
            elif fate == "discarded":
                self.app.push_screen(
                    AskLine(
                        f"Why was {old} discarded?",
                        value="worn out",
                        check=line_trouble,
                        draft="why discarded",
                    ),
                    lambda reason: (
                        None if reason is None else self._keep_fit(place, part, "discarded", reason)
                    ),
                )

        choices = [
            Choice("kept", "Kept, it can be fitted again"),
            Choice("discarded", "Discarded, it is done for"),
        ]
        self.app.push_screen(Pick(f"What became of {old}?", choices), answered)

    def _keep_fit(
        self,
        place: PartPlace,
        part: str,
        fate: Literal["kept", "discarded"] = "kept",
        reason: str = "",
    ) -> None:
        from pitwright.desk.stock.fitting import part_fit

        self.pitwright.keep(
            part_fit(
                self.weekend,
                place,
                part,
                clutch=self.clutch,
                now=self.pitwright.clock(),
                fate=fate,
                reason=reason,
            )
        )

    def _fit_shims(self, place: ShimPlace) -> None:
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.form_text import FormError, FormField
        from pitwright.desk.stock.fitting import fitted_now, read_shims, shim_fit

        def read(values: dict[str, str]) -> Fit:
            typed = read_shims(self.weekend, values["stack"])
            if typed.trouble:
                raise FormError({"stack": typed.trouble})
            return shim_fit(place, typed.shims_mm, clutch=self.clutch, now=self.pitwright.clock())

        def keep(record: Fit, values: dict[str, str]) -> bool:
            doubt = read_shims(self.weekend, values["stack"]).question
            if self.pitwright.keep(record) is None:
                return False
            if doubt:
                self.notify(doubt, severity="warning", markup=False)
            return True

        there = fitted_now(self.weekend, place, self.clutch)
        ask_form(
            self.pitwright,
            place.replace(" ", "-"),
            f"{place.capitalize()}" + (f", {there} before" if there else ""),
            [FormField("stack", "Each shim, mm", "", "0.10 0.05, or none", half=False)],
            read,
            keep,
        )

    # Correcting

    def action_edit(self) -> None:
        """Correct the record under the cursor; the old one stays on file."""
        from pitwright.desk.heats.corrections import can_edit

        record = self.chosen_record()
        if record is None:
            self.notify("Put the cursor on what is to be corrected", severity="warning")
        elif isinstance(record, HeatRun):
            self._edit_heat(record)
        elif can_edit(record):
            self._edit(record)
        else:
            self.notify(
                "This has no form; take it back with x and note it again", severity="warning"
            )

    def _edit_heat(self, record: HeatRun) -> None:
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.form_text import FormField
        from pitwright.desk.heats.corrections import corrected
        from pitwright.desk.heats.heat_form import heat_form, read_heat

        reason = FormField("reason", "Why corrected", "", "mistyped", "In words", half=False)

        def read(values: dict[str, str]) -> Correction:
            now = self.pitwright.clock()
            run = read_heat(self.weekend, record, values, now)
            return corrected(record, run, values["reason"], now)

        def keep(change: Correction, _values: dict[str, str]) -> bool:
            new = change.replacement
            if isinstance(new, HeatRun) and not self._move_laps(record.heat, new.heat):
                return False
            return self.pitwright.keep(change) is not None

        ask_form(
            self.pitwright,
            _draft_of(record),
            f"Correct {record.heat}",
            [*heat_form(self.weekend, record), reason],
            read,
            keep,
        )

    def _move_laps(self, old: str, new: str) -> bool:
        """Let the laps follow a heat that gets another name.

        Laps that stood under that name, of a heat taken back, are put aside in the folder.
        """
        laps = self.weekend.laps.get(old)
        if new == old or not laps:
            return True

        def write() -> None:
            self.pitwright.session.keep_laps(new, list(laps), marks=self.weekend.marks.get(old))
            # Left in place, they would be taken for those of a later heat of the old name.
            self.pitwright.session.keep_laps(old, [])

        return self.pitwright.guard(write)

    def _edit(self, record: AnyRecord) -> None:
        from pitwright.app.widgets.drafted_form import ask_form
        from pitwright.desk.heats.corrections import corrected, edit_form, read_edit

        def read(values: dict[str, str]) -> Correction:
            now = self.pitwright.clock()
            new = read_edit(self.weekend, record, values, now)
            return corrected(record, new, values["reason"], now)

        ask_form(
            self.pitwright,
            _draft_of(record),
            "Correct what was noted",
            edit_form(self.weekend, record),
            read,
            lambda change, _values: self.pitwright.keep(change) is not None,
        )

    def action_take_back(self) -> None:
        """Take the record under the cursor back, bring one back, or take a heat off."""
        gone, record, plan = self.chosen_gone(), self.chosen_record(), self.chosen_plan()
        if gone is not None:
            self._bring_back(gone)
        elif record is not None:
            self._take_back(record)
        elif plan is not None and not plan.cancelled:
            self._take_off(plan)
        else:
            self.notify("Put the cursor on what is to be taken back", severity="warning")

    def _take_back(self, record: AnyRecord) -> None:
        from pitwright.app.widgets.dialogs import AskLine, Confirm
        from pitwright.desk.form_text import line_trouble
        from pitwright.desk.heats.corrections import take_back

        was_corrected = any(r.last.id == record.id for r in self.weekend.log.replaced)
        words = record_words(self.weekend, record)
        question = (
            f"Undo the last correction? What it had replaced counts again. {words}"
            if was_corrected
            else f"Take this back? It stays on file, but counts no more. {words}"
        )

        def answered(reason: str | None) -> None:
            if reason is None:
                return
            names = {h.run.heat for h in self.weekend.heats}
            undone = take_back(record.id, record.clutch, reason, self.pitwright.clock())
            if self.pitwright.keep(undone) is None or not isinstance(record, HeatRun):
                return
            # What was called otherwise before a correction is called so again, and so are its laps.
            again = {h.run.heat for h in self.weekend.heats} - names
            for name in again:
                self._move_laps(record.heat, name)
                self.pitwright.announce()

        def confirmed(yes: bool | None) -> None:
            if yes:
                self.app.push_screen(
                    AskLine(
                        "Why?", value="noted by mistake", check=line_trouble, draft="why taken back"
                    ),
                    answered,
                )

        self.app.push_screen(Confirm(question), confirmed)

    def _bring_back(self, gone: Replaced) -> None:
        from pitwright.app.widgets.dialogs import Confirm
        from pitwright.desk.heats.corrections import take_back

        def confirmed(yes: bool | None) -> None:
            if yes:
                self.pitwright.keep(
                    take_back(
                        gone.last.id,
                        gone.record.clutch,
                        "it counts after all",
                        self.pitwright.clock(),
                    )
                )

        words = record_words(self.weekend, gone.record)
        self.app.push_screen(
            Confirm(f"Bring this back, so that it counts again? {words}"), confirmed
        )

    def _take_off(self, plan: PlannedHeat) -> None:
        from pitwright.app.widgets.dialogs import Confirm

        def confirmed(yes: bool | None) -> None:
            if yes:
                self.pitwright.keep(
                    ScheduleChange(
                        clutch=self.clutch,
                        happened_at=self.pitwright.clock(),
                        change="cancel",
                        heat=plan.name,
                    )
                )

        self.app.push_screen(Confirm(f"Take {plan.name} off the schedule?"), confirmed)


_PART_PLACES: tuple[PartPlace, ...] = ("spring", "shoes", "bell", "pinion", "bearings")


def _draft_of(record: AnyRecord) -> str:
    """Return the draft's name for a record: its stamp and tail, short enough for a file."""
    return f"edit-{record.id[:16]}-{record.id[-4:]}"
