"""The keys of the Timeline that look into the weekend: part of it, the best heat, the way back."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content

from pitwright.app.screens.base import WeekendScreen
from pitwright.desk.heats.timeline import Timeline, TimelineFilter
from pitwright.desk.heats.timeline_rows import HeatLine
from pitwright.weekend.records import HeatRun

# What only a key asks for is imported at that key: this screen is on the way to the first look.
__all__ = ["LookKeys"]


class LookKeys(WeekendScreen):
    """What the Timeline can show of the weekend besides its rows."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "r",
            "return_to",
            "Return",
            id="timeline.return",
            tooltip="What to move to get back to how it was at this heat",
        ),
        Binding("slash", "search", "Find", id="timeline.search", tooltip="Search in every word"),
        Binding("f", "filter", "Filter", id="timeline.filter", tooltip="By day, kind or spring"),
        Binding(
            "b",
            "best",
            "Best",
            id="timeline.best",
            tooltip="What changed before the best heat",
        ),
        Binding("l", "laps", "Laps", id="timeline.laps", tooltip="Bring in the laps of a heat"),
        Binding(
            "escape",
            "show_all",
            "All",
            show=False,
            id="timeline.all",
            tooltip="Show every heat again",
        ),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._chosen = TimelineFilter()
        self._timeline = Timeline((), ())

    def chosen_line(self) -> HeatLine | None:
        """Return the heat under the cursor, or the one a change led to."""
        return None

    def chosen_run(self) -> HeatRun | None:
        """Return the noted heat under the cursor."""
        return None

    def action_return_to(self) -> None:
        """Show the moves back to the heat under the cursor."""
        from pitwright.app.widgets.show_text import ShowText
        from pitwright.desk.heats.return_to import plan_lines, return_to

        line = self.chosen_line()
        if line is None or not line.record:
            self.notify("Put the cursor on a heat that was run", severity="warning")
            return
        plan = return_to(self.weekend, line.record, self.pitwright.clock())
        title, *rest = plan_lines(plan, self.weekend)
        self.app.push_screen(ShowText(title, Content("\n".join(rest) or "Nothing to do.")))

    def action_best(self) -> None:
        """Show what changed before the best heat."""
        from pitwright.app.widgets.show_text import ShowText
        from pitwright.desk.heats.best_heat import before_best

        found = before_best(self.weekend, self.pitwright.clock())
        lines = [found.sentence]
        if found.before is not None:
            lines += ["", f"Done since {found.before.heat}:"]
            lines += [f"  {c.text}" for c in found.changes] or ["  nothing that was noted"]
            lines += ["", f"Clutch against {found.before.heat}:"]
            lines += [f"  {d.text}" for d in found.differences] or ["  nothing known differs"]
        if found.caution:
            lines += ["", found.caution]
        self.app.push_screen(ShowText("Before the best heat", Content("\n".join(lines))))

    def action_laps(self) -> None:
        """Bring in the laps of the heat under the cursor."""
        from pitwright.app.screens.lap_import import open_lap_import

        run = self.chosen_run()
        open_lap_import(self.pitwright, run.heat if run is not None else "")

    def action_search(self) -> None:
        """Search in every word of the heats and what happened between them."""
        from pitwright.app.widgets.dialogs import AskLine

        def answered(text: str | None) -> None:
            if text is not None:
                self._choose(text=text.strip())

        self.app.push_screen(
            AskLine(
                "Find",
                value=self._chosen.text,
                hint="enter finds, empty shows all, escape leaves",
                draft="find",
            ),
            answered,
        )

    def action_filter(self) -> None:
        """Choose a day, a kind or a spring."""
        from pitwright.app.widgets.dialogs import Choice, Pick

        found = self._timeline
        choices = [
            Choice("all", "Show all"),
            *(Choice(f"day {day}", f"{day:%A}", f"{day.day} {day:%B}") for day in found.days),
            *(Choice(f"kind {kind}", kind.capitalize()) for kind in found.kinds),
            *(Choice(f"spring {key}", label) for key, label in found.springs),
        ]

        def answered(key: str | None) -> None:
            if key is None:
                return
            what, _, value = key.partition(" ")
            if what == "all":
                self._chosen = TimelineFilter()
                self.show_weekend()
            elif what == "day":
                self._choose(day=date.fromisoformat(value))
            else:
                self._choose(**{what: value})

        self.app.push_screen(Pick("Show only", choices), answered)

    def _choose(self, **changes: object) -> None:
        self._chosen = replace(self._chosen, **changes)  # type: ignore[arg-type]
        self.show_weekend()

    def action_show_all(self) -> None:
        """Show all again."""
        if self._chosen:
            self._chosen = TimelineFilter()
            self.show_weekend()
