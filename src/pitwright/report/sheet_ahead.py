"""What lies ahead: open points, preparation in order, and what to buy."""

from __future__ import annotations

import math
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from pitwright.desk.sheet.day_sheet import DaySheet
from pitwright.desk.sheet.points import OpenPoint
from pitwright.desk.stock.to_buy import RULE
from pitwright.desk.wording import clock_time, day_time, minutes_words
from pitwright.report.document import Block, Column, Note, Table

__all__ = ["buy", "points", "preparation"]


def points(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield what is open."""
    if not sheet.points:
        yield Note("Nothing is open.")
    for point in sheet.points:
        yield Note(_point(point, zone), "point")


def _point(point: OpenPoint, zone: ZoneInfo) -> str:
    if point.sort == "note":
        about = f" ({point.why})" if point.why else ""
        text = f"{point.what}{about}"
    else:
        text = point.what + (f", {point.why}" if point.why else "")
    dated = point.at is not None and point.sort != "heat"
    return f"{text}, {day_time(point.at, zone)}" if dated and point.at is not None else text


def preparation(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield the tasks in order with times, and what every route would take."""
    ahead = sheet.prepare
    if ahead.heat is None:
        yield Note("No heat is left on the schedule.")
    if ahead.tasks:
        yield Table(
            "In this order; 'by' is the latest start",
            (
                Column("No."),
                Column("By"),
                Column("Takes"),
                Column("What", long=True),
                Column("Why", long=True),
            ),
            tuple(
                (
                    str(task.number),
                    day_time(task.by, zone) if task.by is not None else "",
                    _minutes(task.minutes),
                    task.what,
                    task.why,
                )
                for task in ahead.tasks
            ),
        )
    elif ahead.heat is not None:
        yield Note("Nothing is open and no figure calls for a build.")
    if ahead.heat is None:
        return
    if ahead.build_minutes and ahead.spare_minutes is not None:
        words = minutes_words(ahead.spare_minutes)
        yield Note(
            f"The builds leave {words} to spare before {ahead.heat.name}."
            if ahead.spare_minutes >= 0
            else f"The builds take {words} more than there are before {ahead.heat.name}.",
            "plain" if ahead.spare_minutes >= 0 else "caution",
        )
    if len(ahead.heats_that_day) > 1:
        told = ", ".join(f"{h.name} {clock_time(h.starts_at, zone)}" for h in ahead.heats_that_day)
        yield Note(f"Heats from then on that day: {told}.")
    yield Table(
        f"What each job takes before {ahead.heat.name}, thread-lock's "
        f"{minutes_words(ahead.handling_minutes)} of handling time included",
        (Column("Job"), Column("Takes"), Column("Waiting"), Column("Start by"), Column("From")),
        tuple(
            (
                job.route.capitalize(),
                _minutes(job.needed),
                _minutes(job.waiting) if job.waiting >= 0.5 else "",
                day_time(job.latest_start, zone) if job.latest_start is not None else "",
                job.basis,
            )
            for job in ahead.jobs
        ),
    )
    yield Note(
        "Engine off, glow off, tank empty and clutch cool before any of it; thread-lock off skin "
        "and out of the bearings.",
        "caution",
    )


def _minutes(minutes: float | None) -> str:
    return "" if minutes is None else minutes_words(math.ceil(minutes - 1e-9))


def buy(sheet: DaySheet) -> Iterator[Block]:
    """Yield what to buy, and by what rule."""
    if sheet.buy:
        yield Table(
            "To buy, at least",
            (Column("What"), Column("Count", numeric=True), Column("Why", long=True)),
            tuple((b.what, str(b.count), b.why) for b in sheet.buy),
        )
    else:
        yield Note("Nothing.")
    yield Note(RULE, "quiet")
