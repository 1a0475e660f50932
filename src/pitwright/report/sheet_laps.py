"""The heats and their results, as a table and as a picture."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from pitwright.desk.heats.timeline_rows import lap_words
from pitwright.desk.sheet.day_sheet import DaySheet
from pitwright.desk.sheet.heats import SheetHeat
from pitwright.desk.wording import clock_time, day_time
from pitwright.report.document import Block, Column, Note, Picture, Table

__all__ = ["heats", "moment"]

_COLUMNS = (
    Column("Heat"),
    Column("Start"),
    Column("Kind"),
    Column("Laps", numeric=True),
    Column("Best s", numeric=True),
    Column("Median s", numeric=True),
    Column("Run min", numeric=True),
    Column("Rated"),
    Column("Result and notes", long=True),
)


def moment(sheet: DaySheet, at: datetime, zone: ZoneInfo) -> str:
    """Return a moment as the sheet needs it: with its weekday on the weekend's sheet."""
    if sheet.day is not None and at.astimezone(zone).date() == sheet.day:
        return clock_time(at, zone)
    return day_time(at, zone)


def heats(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield the heats."""
    if not sheet.heats:
        yield Note(
            "No heat is planned or noted for this day."
            if sheet.day
            else "No heat is planned or noted."
        )
        return
    yield Table(
        "Lap times in seconds, of the laps that count; running in minutes, with + warm-up",
        _COLUMNS,
        tuple(_row(sheet, heat, zone) for heat in sheet.heats),
    )
    if any(_rated(h) for h in sheet.heats):
        yield Note("Rated: bite, bottom end, consistency, each of 5.", "quiet")
    if sheet.timed:
        told = ", ".join(
            f"{h.heat} best {lap_words(f.best)}, median {lap_words(f.median)}"
            for h in sheet.timed
            if (f := h.lap_figures).best is not None
        )
        yield Picture("laps", "Lap times of each heat, in seconds", f"Lap times: {told}.")
    elif any(h.ran for h in sheet.heats):
        yield Note("No laps were kept, so there are no lap times.")


def _row(sheet: DaySheet, heat: SheetHeat, zone: ZoneInfo) -> tuple[str, ...]:
    figures = heat.lap_figures
    return (
        heat.heat,
        moment(sheet, heat.at, zone),
        heat.kind,
        str(figures.count) if figures.count else "",
        lap_words(figures.best),
        lap_words(figures.median),
        _ran(heat),
        _rated(heat),
        "; ".join(_said(heat)),
    )


def _ran(heat: SheetHeat) -> str:
    if not heat.ran:
        return ""
    if heat.run_minutes is None:
        return "not timed"
    extra = f"+{heat.warm_up_minutes:g}" if heat.warm_up_minutes else ""
    return f"{heat.run_minutes:g}{extra}"


def _rated(heat: SheetHeat) -> str:
    ratings = (heat.bite_rating, heat.bottom_end_rating, heat.consistency_rating)
    if all(rating is None for rating in ratings):
        return ""
    return " ".join("–" if rating is None else str(rating) for rating in ratings)


def _said(heat: SheetHeat) -> Iterator[str]:
    if heat.status != "run":
        yield "called off" if heat.status == "cancelled" else heat.status
    if heat.quickest:
        yield "quickest median"
    if heat.result:
        yield heat.result
    if heat.trouble:
        yield f"trouble: {heat.trouble}"
    if heat.note:
        yield " ".join(heat.note.split())
    if heat.corrected:
        yield heat.corrected
