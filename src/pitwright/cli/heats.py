"""Commands about heats: note one, list the weekend, write a note."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from pitwright.cli.shared import (
    CliError,
    Commands,
    answer,
    clutch_option,
    folder_argument,
    json_option,
    opened,
    refusals_told,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from zoneinfo import ZoneInfo

    from pitwright.desk.heats.timeline import Row
    from pitwright.desk.heats.timeline_rows import HeatLine

__all__ = ["add"]

# The option, the form's field, what stands for its value, and what it is.
_OPTIONS = (
    ("--kind", "kind", "KIND", "practice, warm-up, run-in, qualifier or main"),
    ("--start", "start", "TIME", "such as 10:32, 'Sat 10:32' or '2026-05-16 10:32'"),
    ("--round", "round", "N", "which round"),
    ("--minutes", "minutes", "MIN", "how long it ran; left out: not known"),
    ("--warm-up", "warm_up", "MIN", "warm-up minutes, counted as running"),
    ("--status", "status", "WORD", "run (default), 'stopped early' or cancelled"),
    ("--air", "air", "TEMP", "air, in °C or with its unit, such as '75 F'"),
    ("--track", "track", "TEMP", "track, in °C or with its unit"),
    ("--humidity", "humidity", "PERCENT", "humidity of the air"),
    ("--pressure", "pressure", "HPA", "air pressure"),
    ("--grip", "grip", "1-5", "grip"),
    ("--bite", "bite", "1-5", "the driver's rating of the bite"),
    ("--bottom-end", "bottom_end", "1-5", "the driver's rating of the bottom end"),
    ("--consistency", "consistency", "1-5", "the driver's rating of the consistency"),
    ("--engine", "engine", "TEMP", "engine temperature"),
    ("--fuel", "fuel", "ML", "fuel used"),
    ("--pinion", "pinion", "TEETH", "such as 17 or '17 21'"),
    ("--spur", "spur", "TEETH", "such as 46 or '46 42'"),
    ("--tyres", "tyres", "TEXT", "which tyres"),
    ("--result", "result", "TEXT", "how it ended"),
    ("--trouble", "trouble", "TEXT", "what went wrong"),
    ("--note", "note", "TEXT", "anything else"),
)


def add(commands: Commands) -> None:
    """Add this family's parsers."""
    heat = commands.add_parser("heat", help="note a heat that was run")
    folder_argument(heat)
    heat.add_argument("name", metavar="NAME", help="the heat, such as Q2")
    for option, field, metavar, words in _OPTIONS:
        heat.add_argument(option, dest=f"field_{field}", metavar=metavar, help=words)
    clutch_option(heat)
    json_option(heat)
    heat.set_defaults(run=_heat)

    timeline = commands.add_parser("timeline", help="the heats and what changed between them")
    folder_argument(timeline)
    timeline.add_argument("--day", metavar="DATE", help="one day, such as 2026-05-16")
    timeline.add_argument("--kind", metavar="KIND", help="one kind of heat")
    timeline.add_argument("--spring", metavar="NAME", help="heats on one spring")
    timeline.add_argument("--find", metavar="TEXT", default="", help="heats with this in a word")
    json_option(timeline)
    timeline.set_defaults(run=_timeline)

    note = commands.add_parser("note", help="write a note")
    folder_argument(note)
    note.add_argument("text", metavar="TEXT", help="the note")
    note.add_argument("--about", metavar="WHAT", default="", help="a heat or a part")
    note.add_argument("--open", action="store_true", help="it is still to be seen to")
    json_option(note)
    note.set_defaults(run=_note)


def _heat(arguments: argparse.Namespace) -> int:
    from pitwright.desk.heats.heat_form import add_form, heat_form, read_heat
    from pitwright.desk.wording import day_time

    with opened(arguments.folder, write=True) as session:
        weekend, now = session.weekend, session.clock()
        name = arguments.name.strip()
        if arguments.clutch is not None and arguments.clutch not in weekend.clutches:
            raise CliError(f"there is no clutch '{arguments.clutch}' in this weekend")
        plan = next((h for h in weekend.schedule if h.name.lower() == name.lower()), None)
        base = add_form(weekend, now, plan)
        base = base.model_copy(update={"clutch": weekend.card(arguments.clutch).id})
        values = {field.key: field.value for field in heat_form(weekend, base)}
        values["heat"] = plan.name if plan is not None else name
        given = {
            field: text
            for _option, field, _metavar, _words in _OPTIONS
            if (text := getattr(arguments, f"field_{field}")) is not None
        }
        if plan is None and "kind" not in given:
            raise CliError(f"'{name}' is not on the schedule: say its --kind")
        if plan is None and "start" not in given:
            raise CliError(f"'{name}' is not on the schedule: say its --start")
        with refusals_told():
            landed = session.append(read_heat(weekend, base, values | given, now))
        if arguments.json:
            answer(landed)
        else:
            ran = "not timed" if landed.run_minutes is None else f"{landed.run_minutes:g} min"
            at = day_time(landed.happened_at, weekend.event.zone)
            print(f"Noted {landed.heat}, {landed.heat_kind}, {at}, {ran}")
    return 0


def _timeline(arguments: argparse.Namespace) -> int:
    from datetime import date

    from pitwright.desk.form_text import FieldError, read_choice
    from pitwright.desk.heats.heats import HEAT_KINDS
    from pitwright.desk.heats.timeline import TimelineFilter, timeline

    try:
        day = date.fromisoformat(arguments.day) if arguments.day else None
        kind = read_choice(arguments.kind or "", HEAT_KINDS)
    except FieldError as error:
        raise CliError(f"--kind: {error}") from error
    except ValueError:
        raise CliError(f"'{arguments.day}' is not a date such as 2026-05-15") from None
    chosen = TimelineFilter(day, kind, arguments.spring, arguments.find)
    with opened(arguments.folder) as session:
        found = timeline(session.weekend, session.clock(), chosen)
        if arguments.json:
            keys = {getattr(row, "key", "") for row in found.rows}
            answer({"heats": [h for h in found.heats if h.key in keys]})
            return 0
        for line in _lines(found.rows, session.weekend.event.zone):
            print(line)
        if not found.rows:
            print("Nothing fits." if chosen else "Nothing yet.")
    return 0


def _lines(rows: Sequence[Row], zone: ZoneInfo) -> list[str]:
    from pitwright.desk.heats.timeline_rows import Day, HeatLine

    lines: list[str] = []
    for row in rows:
        if isinstance(row, Day):
            lines += ([""] if lines else []) + [f"{row.date:%A} {row.date.day} {row.date:%B}"]
        elif isinstance(row, HeatLine):
            lines.append(_heat_line(row, zone))
        else:
            tail = f" ({row.corrected})" if row.corrected else ""
            lines.append(f"      {row.text}{tail}")
    return lines


def _heat_line(line: HeatLine, zone: ZoneInfo) -> str:
    from pitwright.desk.heats.timeline_rows import lap_words
    from pitwright.desk.wording import clock_time, counted, mm

    parts = [f"{clock_time(line.at, zone)} {line.heat} {line.kind}"]
    if line.status != "run":
        parts.append(line.status)
    if line.status in ("run", "stopped early"):
        parts.append("not timed" if line.run_minutes is None else f"{line.run_minutes:g} min")
    start = line.start
    if start is not None and line.status != "cancelled":
        for label, value in (
            (start.spring_label or "spring", start.free_length_mm),
            ("recess", start.recess_mm),
            (start.shoes_label or "shoes", start.shoe_thickness_mm),
            ("end play", start.end_play_mm),
        ):
            if value is not None:
                parts.append(f"{label} {mm(value)}")
    if line.laps.best is not None:
        best, median = lap_words(line.laps.best), lap_words(line.laps.median)
        parts.append(f"{counted(line.laps.count, 'lap')}, best {best}, median {median}")
    parts += [flag.label + " " + flag.word for flag in line.flags]
    parts += [line.trouble] if line.trouble else []
    parts += [line.corrected] if line.corrected else []
    return ", ".join(parts)


def _note(arguments: argparse.Namespace) -> int:
    from pitwright.desk.heats.note_forms import read_note

    values = {
        "text": arguments.text,
        "about": arguments.about,
        "open": "yes" if arguments.open else "",
    }
    with opened(arguments.folder, write=True) as session:
        with refusals_told():
            landed = session.append(read_note(session.weekend, values, session.clock()))
        if arguments.json:
            answer(landed)
        else:
            print("Noted.")
    return 0
