"""From the day sheet's figures to the document every format shows."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from pitwright.desk.sheet.day_sheet import DaySheet
from pitwright.desk.wording import counted, day_time
from pitwright.report.document import Block, Document, Section
from pitwright.report.sheet_ahead import buy, points, preparation
from pitwright.report.sheet_clutch import clutch, happened, out_of_limits, parts, wear
from pitwright.report.sheet_laps import heats

__all__ = ["document"]


def document(sheet: DaySheet) -> Document:
    """Return a sheet as a document; every figure in it is one of the sheet's."""
    zone = ZoneInfo(sheet.time_zone)
    what = "Day sheet" if sheet.day is not None else "Weekend sheet"
    return Document(
        title=f"{sheet.event}: {sheet.label}",
        subtitle=what,
        facts=tuple(_facts(sheet, zone)),
        sections=tuple(
            Section(key, title, tuple(blocks)) for key, title, blocks in _sections(sheet, zone)
        ),
        footer=(
            f"Made {day_time(sheet.made_at, zone)} with pitwright. Times are the venue's, "
            f"{sheet.time_zone}. The maker's instructions, the race director and local rules "
            "come before anything written here."
        ),
    )


def _sections(sheet: DaySheet, zone: ZoneInfo) -> Iterator[tuple[str, str, Iterator[Block]]]:
    yield "heats", "Heats and results", heats(sheet, zone)
    yield "clutch", "The clutch at each heat", clutch(sheet, zone)
    yield "happened", "What was done", happened(sheet, zone)
    yield "wear", "Wear", wear(sheet, zone)
    yield "out", "Readings out of limits", out_of_limits(sheet, zone)
    yield "parts", "Parts used", parts(sheet, zone)
    yield "points", "Open points", points(sheet, zone)
    yield "prepare", _prepare_title(sheet, zone), preparation(sheet, zone)
    yield "buy", "To buy", buy(sheet)


def _prepare_title(sheet: DaySheet, zone: ZoneInfo) -> str:
    heat = sheet.prepare.heat
    if heat is None:
        return "To prepare"
    return f"To prepare before {heat.name}, {day_time(heat.starts_at, zone)}"


def _facts(sheet: DaySheet, zone: ZoneInfo) -> Iterator[str]:
    who = ", ".join(x for x in (sheet.venue, sheet.racing_class, sheet.driver) if x)
    if who:
        yield who
    totals = sheet.totals
    if sheet.standing == "to come":
        yield f"To come: {counted(totals.heats_to_come, 'heat')} planned."
        return
    told = [f"{counted(totals.heats_run, 'heat')} run" if totals.heats_run else "No heat run"]
    if totals.heats_run:
        timed = totals.unknown_runs < totals.heats_run
        told.append(
            (f"{totals.run_minutes:g} min of running" if timed else "running not timed")
            + (
                f" and {counted(totals.unknown_runs, 'run')} not timed"
                if timed and totals.unknown_runs
                else ""
            )
        )
        told.append(counted(totals.laps, "lap") if totals.laps else "no laps kept")
    for number, word in (
        (totals.heats_cancelled, "called off"),
        (totals.heats_not_noted, "not noted"),
        (totals.heats_to_come, "to come"),
    ):
        told += [f"{number} {word}"] if number else []
    told.append(counted(totals.builds, "build") if totals.builds else "no build")
    told.append(
        f"{counted(totals.readings_out, 'reading')} out of limits"
        if totals.readings_out
        else "no reading out of limits"
    )
    yield ", ".join(told) + "."
    if sheet.standing == "in progress":
        yield f"In progress: as it stands at {day_time(sheet.made_at, zone)}."
