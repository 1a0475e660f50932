"""What Measure asks about tools and parts: which tool, which part, how warm, what zero."""

from __future__ import annotations

from textual import work

from pitwright.app.screens.measure_drafts import MeasureDrafts
from pitwright.app.widgets.dialogs import AskLine, Choice, Pick
from pitwright.app.widgets.reading_entry import ReadingEntry
from pitwright.desk.measure.gauging import read_part_c
from pitwright.desk.measure.instruments import judge_zero, tool_words

__all__ = ["MeasureTools"]

_MOST_SQUEEZES = 50


class MeasureTools(MeasureDrafts):
    """The keys about tools and parts."""

    @work(exclusive=True, group="pick")
    async def action_pick_instrument(self) -> None:
        """Choose the tool the quantity in hand is measured with."""
        entry = self.current
        if entry is None or entry.field is None:
            return
        key = await self.app.push_screen_wait(
            Pick(
                f"{entry.field.label}: measured with",
                self._tool_choices(),
                chosen=entry.field.instrument,
            )
        )
        if key is not None:
            entry.instrument = key
            self.show_detail()

    def _tool_choices(self, *, with_zero: bool = False) -> list[Choice]:
        return [
            Choice(key, found.label, tool_words(found))
            for key, found in self.bench.tools.items()
            if found.has_zero or not with_zero
        ]

    async def ask_part(self, entry: ReadingEntry) -> str | None:
        """Ask which part an entry's reading is of; must run in a worker."""
        choices = [Choice(p.part, p.label, p.detail) for p in self.bench.parts(entry.quantity)]
        label = entry.field.label if entry.field is not None else ""
        chosen = entry.field.part if entry.field is not None else None
        return await self.app.push_screen_wait(
            Pick(f"{label}: which one is it?", choices, chosen=chosen)
        )

    @work(exclusive=True, group="pick")
    async def action_pick_part(self) -> None:
        """Choose which part is measured, fitted or not."""
        entry = self.current
        if entry is None:
            return
        if not self.bench.parts(entry.quantity):
            self.notify("This is measured on the clutch, not on a part of the stock")
            return
        part = await self.ask_part(entry)
        if part is not None:
            entry.part = part
            self.show_detail()

    @work(exclusive=True, group="pick")
    async def action_check_zero(self) -> None:
        """Note what a tool shows at zero."""
        entry = self.current
        chosen = entry.field.instrument if entry is not None and entry.field is not None else None
        key = await self.app.push_screen_wait(
            Pick(
                "Zero of which tool?",
                self._tool_choices(with_zero=True),
                chosen=chosen,
            )
        )
        if key is None:
            return
        card = self.bench.card.instruments[key]
        now, clutch = self.pitwright.clock(), self.bench.card.id

        def trouble(text: str) -> str:
            found = judge_zero(key, card, text, now=now, clutch=clutch)
            return "" if found.record is not None else found.text

        text = await self.app.push_screen_wait(
            AskLine(
                f"{card.label}: what does it show at zero?",
                hint="in mm, several times if you can: 0.00 0.01 0.00; enter keeps it",
                check=trouble,
                draft=f"zero {key}"[:40],
            )
        )
        if text is None:
            return
        found = judge_zero(key, card, text, now=now, clutch=clutch)
        if found.record is not None and self.pitwright.keep(found.record) is not None:
            self.notify(f"{card.label}: {found.text}", markup=False)

    @work(exclusive=True, group="pick")
    async def action_warm_parts(self) -> None:
        """Say how warm the parts are, so that sizes are given at 20 degrees."""

        def trouble(text: str) -> str:
            try:
                _ = text.strip() and read_part_c(text)
            except ValueError as error:
                return str(error)
            return ""

        text = await self.app.push_screen_wait(
            AskLine(
                "How warm is the part, in °C?",
                value="" if self.part_c is None else f"{self.part_c:g}",
                hint="sizes are then given at 20 °C; empty for cold. Hot metal burns: let it cool",
                check=trouble,
                draft="warm parts",
            )
        )
        if text is None:
            return
        self.set_part_c(read_part_c(text) if text.strip() else None)
        self.show_weekend()

    @work(exclusive=True, group="pick")
    async def action_squeezes(self) -> None:
        """Say how often the spring was squeezed before this reading."""
        entry = self.current
        if entry is None or not self.of_spring(entry):
            return

        def trouble(text: str) -> str:
            right = text.strip().isdecimal() and int(text) <= _MOST_SQUEEZES
            return "" if right else f"a number from 0 to {_MOST_SQUEEZES}"

        text = await self.app.push_screen_wait(
            AskLine(
                "How often was the spring squeezed before this reading?",
                value="" if entry.squeezes is None else str(entry.squeezes),
                hint="0 for a new one as it came; what the squeezes take off is not wear",
                check=trouble,
                draft="squeezes",
            )
        )
        if text is not None:
            entry.squeezes = int(text)
            self.keep_draft()
            self.show_detail()

    def of_spring(self, entry: ReadingEntry) -> bool:
        """Tell whether an entry measures the spring."""
        return self.bench.card.quantities[entry.quantity].of == "spring"
