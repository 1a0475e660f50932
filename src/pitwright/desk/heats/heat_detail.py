"""All that is known of one heat, each figure with its source and its age in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from pitwright.desk.heats.changes import differences
from pitwright.desk.heats.corrected import field_differences, reason_of
from pitwright.desk.heats.happenings import Happening, happenings
from pitwright.desk.heats.timeline import since_heat_before, timeline
from pitwright.desk.heats.timeline_rows import HeatLine, lap_words
from pitwright.desk.sizes import shims_words, size_words
from pitwright.desk.wording import (
    ago,
    day_time,
    minutes_words,
    part_label,
    running_words,
)
from pitwright.weekend.places import PART_PLACES
from pitwright.weekend.records import CarryOver, HeatRun
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["DetailLine", "HeatDetail", "Section", "heat_detail"]


@dataclass(frozen=True)
class DetailLine:
    """A line: what it is, what it says, the verdict word where there is one, and its source."""

    label: str
    text: str
    word: str = ""
    source: str = ""


@dataclass(frozen=True)
class Section:
    """Lines that belong together."""

    title: str
    lines: tuple[DetailLine, ...]


@dataclass(frozen=True)
class HeatDetail:
    """A heat in sections; sections with nothing known are left out."""

    line: HeatLine
    title: str
    sections: tuple[Section, ...]


_UNKNOWN = "not known"


def heat_detail(
    weekend: Weekend, key: str, now: datetime, line: HeatLine | None = None
) -> HeatDetail:
    """Return everything known of the heat with a timeline row's key (or its record).

    ``line`` is the heat as it stands in a timeline already made of this weekend. Raises KeyError
    when there is no such heat.
    """
    line = line or timeline(weekend, now).line(key)
    if line is None:
        raise KeyError(key)
    zone = weekend.event.zone
    found = next((h for h in weekend.heats if h.run.id == line.record), None)
    state = found.state if found is not None else _start_state(weekend, line, now)
    sections = [
        Section("Heat", tuple(_heat(line, found.run if found else None, zone, now))),
        Section("Driver", tuple(_driver(found.run if found else None))),
        Section("Air, track and car", tuple(_air(found.run if found else None))),
        Section("Laps", tuple(_laps(line, weekend.laps.get(line.heat, ())))),
        Section(
            "Clutch at the start" if found else "Clutch as it is now",
            tuple(_clutch(weekend, state)),
        ),
    ]
    if found is not None:
        sections += _compared(weekend, found)
        sections.append(Section("Corrections", tuple(_corrections(weekend, found.run))))
    kind = line.kind + (f" {line.round}" if line.round else "")
    return HeatDetail(
        line,
        f"{line.heat}, {kind}, {day_time(line.at, zone)}",
        tuple(s for s in sections if s.lines),
    )


def _start_state(weekend: Weekend, line: HeatLine, now: datetime) -> State:
    at = line.at if line.status == "running" else now
    return weekend.state(at, line.clutch if line.clutch in weekend.clutches else None)


def _heat(
    line: HeatLine, run: HeatRun | None, zone: ZoneInfo, now: datetime
) -> Iterator[DetailLine]:
    if run is None:
        planned = minutes_words(line.planned_minutes) if line.planned_minutes else _UNKNOWN
        yield DetailLine("Planned", f"{day_time(line.at, zone)}, {planned}")
        if line.moved_minutes:
            word = "later" if line.moved_minutes > 0 else "earlier"
            yield DetailLine("Moved", f"{minutes_words(line.moved_minutes)} {word} than planned")
        yield DetailLine("Status", line.status)
        return
    yield DetailLine("Started", f"{day_time(line.at, zone)}, {ago(line.at, now)}")
    yield DetailLine("Went", run.status + (", a rerun" if line.rerun else ""))
    if run.status != "cancelled":
        planned = f" of {run.planned_minutes:g} planned" if run.planned_minutes else ""
        ran = _UNKNOWN if run.run_minutes is None else f"{run.run_minutes:g} min"
        yield DetailLine("Ran", ran + planned)
        if run.warm_up_minutes is not None:
            yield DetailLine("Warm-up", f"{run.warm_up_minutes:g} min, counted as running")
    for label, text in (
        ("Result", run.result),
        ("Trouble", run.trouble),
        ("Note", " ".join(run.note.split())),
    ):
        if text:
            yield DetailLine(label, text)


def _driver(run: HeatRun | None) -> Iterator[DetailLine]:
    if run is None:
        return
    for label, rating in (
        ("Bite", run.bite_rating),
        ("Bottom end", run.bottom_end_rating),
        ("Consistency", run.consistency_rating),
    ):
        if rating is not None:
            yield DetailLine(label, f"{rating} of 5")


def _air(run: HeatRun | None) -> Iterator[DetailLine]:
    if run is None:
        return
    air = run.conditions
    grip = None if air.grip is None else f"{air.grip} of 5"
    teeth = " / ".join(
        " ".join(str(n) for n in row) for row in (run.pinion_teeth, run.spur_teeth) if row
    )
    for label, text in (
        ("Air", _with(air.air_c, "°C")),
        ("Track", _with(air.track_c, "°C")),
        ("Humidity", _with(air.humidity_percent, "%")),
        ("Pressure", _with(air.pressure_hpa, "hPa")),
        ("Grip", grip),
        ("Engine", _with(run.engine_c, "°C")),
        ("Fuel used", _with(run.fuel_used_ml, "ml")),
        ("Pinion / spur", teeth),
        ("Tyres", run.tyres),
    ):
        if text:
            yield DetailLine(label, text)


def _with(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}"


def _laps(line: HeatLine, laps: tuple[float, ...]) -> Iterator[DetailLine]:
    figures = line.laps
    if not figures.count:
        return
    yield DetailLine("Laps", str(figures.count))
    if figures.best is not None:
        yield DetailLine("Best", f"{lap_words(figures.best)} s")
        quick = ", the quickest heat" if line.best else ""
        yield DetailLine("Median", f"{lap_words(figures.median)} s{quick}")
    yield DetailLine("In order", "  ".join(lap_words(lap) for lap in laps))


def _clutch(weekend: Weekend, state: State) -> Iterator[DetailLine]:
    card = weekend.card(state.clutch)
    zone = weekend.event.zone
    if len(weekend.clutches) > 1:
        yield DetailLine("Clutch", card.name)
    for place in PART_PLACES:
        part = state.fitted(place)
        if part is None:
            if place in ("spring", "shoes"):
                yield DetailLine(place.capitalize(), _UNKNOWN)
            continue
        since = f"fitted {day_time(part.fitted_at, zone)}, " if part.fitted_at is not None else ""
        age = f"{since}{running_words(part.run_minutes, part.unknown_runs)} on it"
        yield DetailLine(place.capitalize(), part_label(part.label, part.part), source=age)
    for key, quantity in card.quantities.items():
        figure = state.told(key)
        if figure is None:
            if key in ("free_length", "recess"):
                yield DetailLine(quantity.label, _UNKNOWN)
            continue
        word = figure.reading.verdict if figure.reading is not None else None
        yield DetailLine(
            quantity.label,
            size_words(figure.value_mm, figure.bound, quantity.decimals),
            word or "",
            _source(weekend, figure),
        )
    for shims in state.shims.values():
        yield DetailLine(
            shims.place.capitalize(),
            shims_words(shims.shims_mm),
            source=f"fitted {day_time(shims.at, zone)}",
        )
    if state.build is not None:
        finished = day_time(state.build.finished_at, zone)
        yield DetailLine("Last build", state.build.route, source=f"finished {finished}")


def _source(weekend: Weekend, figure: FigureInForce) -> str:
    """Return where a figure comes from: measured or set, when, how much it ran since."""
    record = next((r for r in weekend.log.records if r.id == figure.record), None)
    how = "set" if figure.reading is None else "measured"
    if isinstance(record, CarryOver):
        how = f"carried over from {record.event},"
    elif figure.reading is not None and figure.reading.instrument is not None:
        for card in weekend.clutches.values():
            tool = card.instruments.get(figure.reading.instrument)
            if tool is not None:
                how = f"{tool.label.lower()},"
                break
    words = f"{how} {day_time(figure.at, weekend.event.zone)}"
    ran = running_words(figure.run_minutes, figure.unknown_runs)
    words += f", {ran} since" if figure.run_minutes or figure.unknown_runs else ""
    if figure.overtaken:
        words += "; doubtful, a part was fitted since"
    corrected = next((r for r in weekend.log.replaced if r.last.id == figure.record), None)
    if corrected is None:
        return words
    reason = reason_of(corrected.last)
    return f"{words}; corrected" + (f": {reason}" if reason else "")


def _compared(weekend: Weekend, found: HeatOnClutch) -> Iterator[Section]:
    changes: tuple[Happening, ...] = next(
        (c for heat, c in since_heat_before(weekend, happenings(weekend)) if heat is found), ()
    )
    zone = weekend.event.zone
    yield Section(
        "Since the heat before",
        tuple(
            DetailLine(
                day_time(c.at, zone), c.text + (f" ({c.corrected})" if c.corrected else ""), c.word
            )
            for c in changes
        ),
    )
    earlier = [
        h
        for h in weekend.heats
        if h.run.clutch == found.run.clutch
        and h.run.status != "cancelled"
        and h.run.happened_at < found.run.happened_at
    ]
    if earlier:
        last = earlier[-1]
        yield Section(
            f"Clutch against {last.run.heat}",
            tuple(
                DetailLine(d.label, d.text.removeprefix(f"{d.label}: "))
                for d in differences(weekend.card(found.run.clutch), last.state, found.state)
            )
            or (DetailLine("", "nothing noted that differs"),),
        )


def _corrections(weekend: Weekend, run: HeatRun) -> Iterator[DetailLine]:
    for replaced in weekend.log.replaced:
        if replaced.last.id != run.id:
            continue
        when = day_time(replaced.last.happened_at, weekend.event.zone)
        yield DetailLine(f"Corrected {when}", reason_of(replaced.last) or "no reason was given")
        for label, was, is_ in field_differences(replaced.record, run, weekend.event.zone):
            yield DetailLine(label, f"was {was}, now {is_}")
