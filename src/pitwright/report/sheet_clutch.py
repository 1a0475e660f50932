"""The clutch through the day: its state at each heat, what was done, wear, parts."""

from __future__ import annotations

from collections.abc import Iterator
from zoneinfo import ZoneInfo

from pitwright.desk.heats.timeline_rows import Flag, Start
from pitwright.desk.sheet.day_sheet import DaySheet
from pitwright.desk.sheet.heats import ModelBite
from pitwright.desk.sheet.out import OutReading
from pitwright.desk.sheet.parts import PartUsed
from pitwright.desk.sizes import size_words
from pitwright.desk.wear.forecast_words import left_words, percent
from pitwright.desk.wear.part_forecast import PartForecast
from pitwright.desk.wording import day_time, fixed
from pitwright.report.document import Block, Column, Note, Picture, Table
from pitwright.report.sheet_laps import moment

__all__ = ["clutch", "happened", "out_of_limits", "parts", "wear"]


# State and changes


def clutch(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield the clutch at each heat, what changed from heat to heat, and its bite."""
    several = len(sheet.clutches) > 1
    ran = [h for h in sheet.heats if h.start is not None and (h.ran or h.status == "running")]
    rows = [
        _state_row(h.heat, h.clutch, h.start, h.bite, h.flags, several)
        for h in ran
        if h.start is not None
    ]
    word = "Now" if sheet.standing == "in progress" else "At the close"
    rows += [
        _state_row(word, close.clutch, close.start, close.bite, close.flags, several)
        for close in sheet.at_close
        if _known(close.start)
    ]
    if not rows:
        yield Note("Nothing is known of the clutch yet.")
        return
    columns = (
        Column("Heat"),
        *((Column("Clutch"),) if several else ()),
        Column("Spring"),
        Column("Free mm", numeric=True),
        Column("Recess mm", numeric=True),
        Column("Shoes"),
        Column("Thick mm", numeric=True),
        Column("Play mm", numeric=True),
        Column("Bite rpm", numeric=True),
        Column("Not good", long=True),
    )
    yield Table("The clutch each heat started on; lengths in millimetres", columns, tuple(rows))
    if any("?" in cell for row in rows for cell in row):
        yield Note(
            "A figure followed by ? is doubtful: a part was fitted since it was read.", "quiet"
        )
    yield from _bite(sheet)
    changed = [(h.heat, "; ".join(h.changed)) for h in sheet.heats if h.changed]
    if changed:
        yield Table(
            "What differs on the clutch from the heat before it",
            (Column("Heat"), Column("Changed", long=True)),
            tuple(changed),
        )


def _bite(sheet: DaySheet) -> Iterator[Block]:
    drawn = [h for h in sheet.heats if h.bite.rpm is not None]
    missing = {h.bite.unknown for h in sheet.heats if h.ran and h.bite.unknown}
    if drawn or any(c.bite.rpm is not None for c in sheet.at_close):
        yield Note(
            "Bite by the model, put right by observed speeds, ± its expanded uncertainty (k = 2)."
            if sheet.calibrated
            else "Bite is the model's own, ± its expanded uncertainty (k = 2): no creep speed was "
            "observed, so trust its changes, not its height.",
            "quiet",
        )
    for reason in sorted(missing):
        yield Note(f"No bite for some heats: {reason}.", "quiet")
    if drawn:
        own = "" if sheet.calibrated else " (the model's own)"
        told = ", ".join(f"{h.heat} {_rpm(h.bite.rpm)}" for h in drawn)
        yield Picture(
            "bite", f"Bite at the start of each heat, rpm{own}", f"Bite in rpm{own}: {told}."
        )


def _state_row(
    name: str,
    clutch_key: str,
    start: Start,
    bite: ModelBite,
    flags: tuple[Flag, ...],
    several: bool,
) -> tuple[str, ...]:
    def figure(value: float | None, key: str) -> str:
        doubt = "?" if key in start.doubtful else ""
        return "" if value is None else f"{fixed(value)}{doubt}"

    return (
        name,
        *((clutch_key,) if several else ()),
        start.spring_label,
        figure(start.free_length_mm, "free_length"),
        figure(start.recess_mm, "recess"),
        start.shoes_label,
        figure(start.shoe_thickness_mm, "shoe_thickness"),
        figure(start.end_play_mm, "end_play"),
        _bite_words(bite),
        "; ".join(f"{f.label} {f.word}" for f in flags),
    )


def _known(start: Start) -> bool:
    return any(
        x is not None for x in (start.spring, start.shoes, start.recess_mm, start.free_length_mm)
    )


def _rpm(rpm: float | None) -> str:
    return "" if rpm is None else f"{round(rpm / 10) * 10:,.0f}".replace(",", " ")


def _bite_words(bite: ModelBite) -> str:
    if bite.rpm is None:
        return ""
    return _rpm(bite.rpm) + (f" ± {_rpm(2 * bite.u_rpm)}" if bite.u_rpm else "")


def happened(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield everything that was done, in order."""
    if not sheet.happenings:
        yield Note("Nothing was noted besides heats." if sheet.heats else "Nothing was noted.")
        return
    yield Table(
        "Fits, settings, builds, notes and readings that were not good, in order",
        (Column("When"), Column("What", long=True), Column("Verdict")),
        tuple(
            (
                moment(sheet, h.at, zone),
                h.text + (f" ({h.corrected})" if h.corrected else ""),
                h.word,
            )
            for h in sheet.happenings
        ),
    )


# Wear


def wear(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield what was read of the wearing parts, and how long they last."""
    if not sheet.wear:
        yield Note("No spring and no shoes were measured.")
        return
    yield Table(
        "Wearing parts, and how long they last",
        (
            Column("Part"),
            Column("Now"),
            Column("Last mm", numeric=True),
            Column("Run min", numeric=True),
            Column("Limit mm", numeric=True),
            Column("Lasts", long=True),
        ),
        tuple(_wear_row(found) for found in sheet.wear),
    )
    labels = dict(sheet.wear_labels)
    for quantity in dict.fromkeys(found.quantity for found in sheet.wear):
        of_kind = [found for found in sheet.wear if found.quantity == quantity]
        told = "; ".join(
            f"{found.label} "
            + ", ".join(
                f"{fixed(p.value_mm, found.decimals)} at {p.minutes:.0f} min" for p in found.points
            )
            for found in of_kind
        )
        label = labels.get(quantity, quantity)
        yield Picture(
            f"wear:{quantity}",
            f"{label} in mm against minutes of running, with the limit dashed",
            f"{label} in mm: {told}.",
        )
        yield Table(
            f"{label}: every reading",
            (
                Column("Part"),
                Column("Run min", numeric=True),
                Column("Read mm", numeric=True),
                Column("When"),
            ),
            tuple(
                (
                    found.label,
                    f"{p.minutes:.0f}",
                    fixed(p.value_mm, found.decimals),
                    day_time(p.at, zone) + ("" if p.run_in else ", before the squeezes"),
                )
                for found in of_kind
                for p in found.points
            ),
        )


def _wear_row(found: PartForecast) -> tuple[str, ...]:
    d = found.decimals
    limit = "" if found.limit is None else f"{found.limit.value_mm:.{d}f}"
    last = f"{found.points[-1].value_mm:.{d}f}" if found.points else ""
    since = f" since {found.since}" if found.since else ""
    return (
        found.label,
        found.standing,
        last,
        f"{found.age_minutes:.0f}{since}",
        limit,
        _lasts(found),
    )


def _lasts(found: PartForecast) -> str:
    if found.standing == "thrown away":
        return ""
    if found.unknown or found.minutes_left is None:
        return found.short
    chance = f"{found.goal}: {percent(found.chance)}; " if found.chance is not None else ""
    return f"{chance}{left_words(found.minutes_left)}"


# Out of limits, parts


def out_of_limits(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield the readings that were out, and what was done."""
    if not sheet.out:
        yield Note("None.")
        return
    yield Table(
        "Readings out of limits, and what was done about each",
        (
            Column("Reading"),
            Column("When"),
            Column("Read mm", numeric=True),
            Column("Limits"),
            Column("Done", long=True),
        ),
        tuple(
            (
                out.label + (f", {out.part}" if out.part else ""),
                moment(sheet, out.at, zone),
                size_words(out.value_mm, out.bound, out.decimals).replace(" mm", ""),
                out.limits,
                _done(out),
            )
            for out in sheet.out
        ),
    )


def _done(out: OutReading) -> str:
    told = [f"accepted: {out.reason}"] if out.reason else []
    told += [*out.done, *([out.after] if out.after else [])]
    return "; ".join(told) or "nothing noted"


def parts(sheet: DaySheet, zone: ZoneInfo) -> Iterator[Block]:
    """Yield the parts that ran, were fitted or were thrown away, and the supplies."""
    if sheet.parts:
        yield Table(
            "Minutes of running with warm-up; + ? where a run was not timed",
            (
                Column("Part"),
                Column("Ran min", numeric=True),
                Column("Since new", numeric=True),
                Column("Heats", numeric=True),
                Column("Now"),
            ),
            tuple(_part_row(sheet, part, zone) for part in sheet.parts),
        )
    if sheet.supplies:
        yield Table(
            "Shims and supplies",
            (Column("What"), Column("When"), Column("Count", numeric=True), Column("Change")),
            tuple(
                (
                    s.what,
                    moment(sheet, s.at, zone),
                    str(s.count),
                    s.change + (f": {s.reason}" if s.reason else ""),
                )
                for s in sheet.supplies
            ),
        )
    if not sheet.parts and not sheet.supplies:
        yield Note("None.")


def _part_row(sheet: DaySheet, part: PartUsed, zone: ZoneInfo) -> tuple[str, ...]:
    fitted = f", fitted {moment(sheet, part.fitted_at, zone)}" if part.fitted_at is not None else ""
    why = f": {part.reason}" if part.reason else ""
    became = "on the clutch" if part.became == "fitted" else part.became
    return (
        part.label,
        _ran(part.run_minutes, part.unknown_runs),
        _ran(part.total_minutes, part.unknown_total),
        str(part.heats),
        f"{became}{why}{fitted}",
    )


def _ran(minutes: float, unknown_runs: int) -> str:
    return f"{minutes:.1f}" + (" + ?" if unknown_runs else "")
