"""The Timeline: the weekend in order, and the keys to add to it."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from pitwright.app.screens.timeline_heat import HeatKeys
from pitwright.app.screens.timeline_look import LookKeys
from pitwright.app.screens.timeline_notes import NoteKeys
from pitwright.app.widgets.row_list import RowList
from pitwright.app.widgets.timeline_text import Columns, day_text, happening_row
from pitwright.app.widgets.wear_line import WearLine, of_fitted_parts
from pitwright.desk.heats.happenings import Happening, taken_back
from pitwright.desk.heats.heats import due_heat, running
from pitwright.desk.heats.timeline import timeline
from pitwright.desk.heats.timeline_rows import Day, HeatLine, lap_words
from pitwright.weekend.log import Replaced
from pitwright.weekend.records import AnyRecord, HeatRun
from pitwright.weekend.schedule import PlannedHeat

# What only a key asks for is imported at that key: this screen is on the way to the first look.
__all__ = ["TimelineScreen"]

_BESIDE_FROM = 130
_BESIDE_WIDTH = 46
_BESIDE_WIDEST = 76
_LIST_WIDTH = 124


class TimelineScreen(LookKeys, NoteKeys, HeatKeys):
    """Days and heats in order, what changed between them, and the heat that is running."""

    TITLE = "Timeline"
    PURPOSE = "What ran on which clutch, and what changed in between"
    HELP_TEXT = (
        "Every heat with the clutch it started on: spring and free length, nut recess, shoes and "
        "thickness, end play, all in millimetres, then minutes and laps. A figure followed by ? "
        "is doubtful: a part was fitted since it was read. What was done stands between the heats; "
        "nothing is ever erased, a correction says so. ★ marks the quickest median lap."
    )
    CSS_PATH = "timeline.tcss"

    def __init__(self) -> None:
        super().__init__()
        self._placed = False
        self._rows_width = 0

    def compose_body(self) -> ComposeResult:
        """Lay out the running heat, the list, and the heat beside it."""
        yield Static("", id="running")
        yield Static("", id="chosen")
        yield Static("", id="first-steps")
        with Horizontal(id="timeline"):
            with Vertical(id="list"):
                yield Static("", id="columns")
                yield RowList(id="rows")
            with VerticalScroll(id="beside", can_focus=False):
                yield WearLine(id="wear-line")
                yield Static("", id="beside-text")

    def on_mount(self) -> None:
        """Start the running heat's clock."""
        self.set_interval(0.5, self.refresh_heat)
        self.query_one("#rows").focus()

    def on_resize(self) -> None:
        """Fit the columns to the width."""
        self._fit_beside()
        # The first resize comes with the width that the rows were laid out for already.
        if self._placed and self._width() != self._rows_width:
            self.call_after_refresh(self._show_rows)

    # Showing

    def show_weekend(self) -> None:
        """Show the weekend as it stands now."""
        self.forget_landed()
        self._timeline = timeline(self.weekend, self.pitwright.clock(), self._chosen)
        self._fit_beside()
        self.refresh_heat()
        self._show_chosen()
        self._show_first_steps()
        self._show_rows()
        self.refresh_bindings()

    @property
    def _beside_width(self) -> int:
        """How wide the panel beside the list is: what the list can spare, 0 for none."""
        if self.size.width < _BESIDE_FROM:
            return 0
        return min(max(self.size.width - _LIST_WIDTH, _BESIDE_WIDTH), _BESIDE_WIDEST)

    def _fit_beside(self) -> None:
        beside = self.query_one("#beside")
        beside.display = self._beside_width > 0
        beside.styles.width = self._beside_width

    def _width(self) -> int:
        return max(self.size.width - self._beside_width - 2, 40)

    def _show_rows(self) -> None:
        rows = self.query_one("#rows", OptionList)
        width = self._rows_width = self._width()
        columns = Columns(width, self._timeline.heats, self.weekend.event.zone)
        self.query_one("#columns", Static).update(columns.header())
        at = self._key()
        options: list[Option] = []
        for row in self._timeline.rows:
            if isinstance(row, Day):
                options.append(Option(day_text(row), id=row.key, disabled=True))
            elif isinstance(row, HeatLine):
                options.append(Option(columns.heat_row(row), id=row.key))
            else:
                options.append(Option(happening_row(row, width), id=row.record))
        rows.clear_options()
        rows.add_options(options)
        self.query_one("#timeline").display = bool(options)
        self.query_one("#body").set_class(not options, "-alone")
        keys = [option.id for option in options]
        place = at if at in keys else self._place()
        if place in keys:
            rows.highlighted = keys.index(place)
        self._placed = True
        self._show_beside()

    def _place(self) -> str | None:
        """Return where the cursor belongs at first: what runs, what is due, what was last."""
        heats = self._timeline.heats
        due = due_heat(self.weekend, self.pitwright.clock())
        for line in heats:
            if line.status == "running" or (due is not None and line.key == f"planned:{due.name}"):
                return line.key
        coming = next((line.key for line in heats if line.status == "planned"), None)
        return coming or (heats[-1].key if heats else None)

    def _show_chosen(self) -> None:
        chosen, shown = self._chosen, self.query_one("#chosen", Static)
        shown.display = bool(chosen)
        parts = [
            f"{chosen.day:%A}" if chosen.day is not None else "",
            chosen.kind or "",
            dict(self._timeline.springs).get(chosen.spring, chosen.spring) if chosen.spring else "",
            f"'{chosen.text}'" if chosen.text else "",
        ]
        count = f"{self._timeline.shown} of {len(self._timeline.heats)} heats"
        words = ", ".join(p for p in parts if p)
        shown.update(Content(f"Only {words}: {count}. escape shows all"))

    def _show_first_steps(self) -> None:
        steps = self.query_one("#first-steps", Static)
        steps.display = bool(self._timeline.first_steps) and self.running_heat is None
        steps.update(
            Content.assemble(
                Content.styled("No heat has been run yet. What to do first:\n", "bold"),
                Content("\n".join(f"  {step}" for step in self._timeline.first_steps)),
            )
        )

    def refresh_heat(self) -> None:
        """Show the heat in progress as it is now."""
        panel = self.query_one("#running", Static)
        heat = self.running_heat
        panel.display = heat is not None
        if heat is None:
            return
        found = running(heat, self.pitwright.clock())
        clock = f"{int(found.seconds) // 60:02d}:{int(found.seconds) % 60:02d}"
        left = ""
        if found.left_seconds is not None and not found.stopped:
            size = abs(int(found.left_seconds))
            word = "to go" if found.left_seconds >= 0 else "over time"
            left = f"   {size // 60}:{size % 60:02d} {word}"
        laps = f"   laps {len(found.laps)}" if found.taps else ""
        if found.laps:
            laps += f"   last {lap_words(found.last)}   best {lap_words(found.best)}"
        elif found.taps:
            laps += "   the first lap runs"
        if found.stopped:
            state, keys = "stopped, not kept yet", "h fills it in and keeps it   g lets it go on"
        else:
            state, keys = "running", "space at the line   u takes a tap back   h stops"
        panel.update(
            Content.assemble(
                Content.styled(f"{found.heat} {state}  {clock}", "bold $accent"),
                Content(f"{left}{laps}\n"),
                Content.styled(keys, "$foreground 65%"),
            )
        )

    def _show_beside(self) -> None:
        if not self.query_one("#beside").display:
            return
        line = self.chosen_line()
        self.query_one(WearLine).ask(
            "all fitted",
            self.weekend,
            self.pitwright.clock(),
            self.pitwright.clutch,
            of_fitted_parts,
        )
        text = self.query_one("#beside-text", Static)
        if line is None:
            text.update("")
            return
        from pitwright.app.widgets.sections import sections_content
        from pitwright.desk.heats.heat_detail import heat_detail

        detail = heat_detail(self.weekend, line.key, self.pitwright.clock(), line)
        text.update(
            Content.assemble(
                Content.styled(f"{detail.title}\n\n", "bold"),
                sections_content(detail.sections, self._beside_width - 4),
            )
        )

    # The cursor

    def _key(self) -> str | None:
        rows = self.query_one("#rows", OptionList)
        if rows.highlighted is None or rows.option_count == 0:
            return None
        return rows.get_option_at_index(rows.highlighted).id

    def chosen_line(self) -> HeatLine | None:
        """Return the heat under the cursor, or the one a change led to."""
        key = self._key()
        if key is None:
            return None
        found = self._timeline.line(key)
        if found is None:
            found = next(
                (h for h in self._timeline.heats if any(c.record == key for c in h.changes)), None
            )
        return found

    def chosen_record(self) -> AnyRecord | None:
        """Return the record in force under the cursor."""
        key = self._key()
        return next((r for r in self.weekend.log.records if r.id == key), None)

    def chosen_run(self) -> HeatRun | None:
        """Return the noted heat under the cursor."""
        record = self.chosen_record()
        return record if isinstance(record, HeatRun) else None

    def chosen_gone(self) -> Replaced | None:
        """Return the taken-back record under the cursor."""
        key = self._key()
        return next((r for r in taken_back(self.weekend) if r.record.id == key), None)

    def chosen_plan(self) -> PlannedHeat | None:
        """Return the planned heat under the cursor, unless it was called off."""
        key = self._key() or ""
        return next(
            (h for h in self.weekend.schedule if key == f"planned:{h.name}" and not h.cancelled),
            None,
        )

    def chosen_heat_name(self) -> str:
        """Return the name of the heat under the cursor."""
        found = self._timeline.line(self._key() or "")
        return found.heat if found is not None and found.status != "planned" else ""

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the heat beside the list."""
        event.stop()
        if event.option_index <= 1:
            # The day's heading above the first line cannot be reached with the cursor.
            event.option_list.scroll_home(animate=False)
        self._show_beside()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the heat, or the whole text of a change."""
        from pitwright.app.widgets.show_text import ShowText

        event.stop()
        key = event.option.id or ""
        if self._timeline.line(key) is not None:
            from pitwright.app.screens.heat_detail import HeatDetailScreen

            self.app.push_screen(HeatDetailScreen(key))
            return
        found = next(
            (r for r in self._timeline.rows if isinstance(r, Happening) and r.record == key), None
        )
        if found is not None:
            text = found.text + (f"\n\n{found.corrected}" if found.corrected else "")
            self.app.push_screen(ShowText("What was noted", Content(text)))

    # Keys

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the keys of a running heat only while one runs."""
        heat = self.running_heat
        if action in ("tap", "undo_tap"):
            return heat is not None and heat.stopped_at is None
        if action == "go_on":
            return heat is not None and heat.stopped_at is not None
        return True

    def action_take_back(self) -> None:
        """Take back what is under the cursor; a running heat can be forgotten."""
        if self._key() == "running":
            self.throw_away_heat()
        else:
            super().action_take_back()
