"""The weekend in order: heats with the clutch they started on, and what changed between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TypeAlias

from pitwright.desk.heats.corrected import corrected_words
from pitwright.desk.heats.happenings import Happening, happenings
from pitwright.desk.heats.heats import landed
from pitwright.desk.heats.timeline_rows import (
    Day,
    HeatLine,
    HeatStatus,
    best_of,
    flags_of,
    is_rerun,
    lap_figures,
    start_of,
)
from pitwright.weekend.event import HeatKind
from pitwright.weekend.schedule import PlannedHeat
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["Row", "Timeline", "TimelineFilter", "since_heat_before", "timeline"]

Row: TypeAlias = "Day | HeatLine | Happening"


@dataclass(frozen=True)
class TimelineFilter:
    """What to show; an empty filter shows all. ``text`` is looked for in every word of a heat."""

    day: date | None = None
    kind: HeatKind | None = None
    spring: str | None = None
    text: str = ""

    def __bool__(self) -> bool:
        """Tell whether anything is filtered."""
        return self != TimelineFilter()


@dataclass(frozen=True)
class Timeline:
    """The rows in order, the heats among them, and what to do while there is nothing yet.

    ``springs`` and ``days`` and ``kinds`` are what can be filtered by.
    """

    rows: tuple[Row, ...]
    heats: tuple[HeatLine, ...]
    first_steps: tuple[str, ...] = ()
    days: tuple[date, ...] = ()
    kinds: tuple[HeatKind, ...] = ()
    springs: tuple[tuple[str, str], ...] = ()
    shown: int = 0

    def line(self, key: str) -> HeatLine | None:
        """Return the heat with a row's key."""
        return next((h for h in self.heats if h.key == key), None)


def timeline(weekend: Weekend, now: datetime, chosen: TimelineFilter | None = None) -> Timeline:
    """Return the weekend's timeline, filtered by ``chosen``.

    Heats run, called off, running and still planned stand in order of their start with what
    happened between them. Under a filter only the happenings of the heats shown are kept.
    """
    chosen = chosen or TimelineFilter()
    zone = weekend.event.zone
    events = happenings(weekend)
    lines = _mark_best(
        sorted(
            [*_run(weekend, events), *_running(weekend, events), *_planned(weekend, now)],
            key=lambda line: (line.at, line.heat),
        )
    )
    shown = [line for line in lines if _fits(line, chosen, weekend)]
    if chosen:
        kept = {h.record: h for line in shown for h in line.changes}
        loose = [h for h in events if h.record not in kept and _loose_fits(h, chosen, weekend)]
        drawn = [*kept.values(), *loose]
    else:
        drawn = list(events)
    rows = _in_order(weekend, shown, [h for h in drawn if not h.quiet])
    ran = [line for line in lines if line.status in ("run", "stopped early")]
    springs = {
        line.start.spring: line.start.spring_label
        for line in lines
        if line.start is not None and line.start.spring is not None
    }
    return Timeline(
        rows=rows,
        heats=tuple(lines),
        first_steps=() if ran else _first_steps(weekend),
        days=tuple(sorted({line.at.astimezone(zone).date() for line in lines})),
        kinds=tuple(dict.fromkeys(line.kind for line in lines)),
        springs=tuple((key, label) for key, label in springs.items() if key is not None),
        shown=len(shown),
    )


def _run(weekend: Weekend, events: Sequence[Happening]) -> list[HeatLine]:
    corrected = {r.last.id: corrected_words(weekend, r) for r in weekend.log.replaced}
    return [
        _run_line(weekend, heat, changes, corrected.get(heat.run.id, ""))
        for heat, changes in since_heat_before(weekend, events)
    ]


def since_heat_before(
    weekend: Weekend, events: Sequence[Happening]
) -> list[tuple[HeatOnClutch, tuple[Happening, ...]]]:
    """Return each heat with what happened since the last heat that was really run before it."""
    found: list[tuple[HeatOnClutch, tuple[Happening, ...]]] = []
    at = 0
    for heat in weekend.heats:
        until = at
        while until < len(events) and events[until].at <= heat.run.happened_at:
            until += 1
        found.append((heat, tuple(events[at:until])))
        if heat.run.status != "cancelled":
            at = until
    return found


def _run_line(
    weekend: Weekend, heat: HeatOnClutch, changes: tuple[Happening, ...], corrected: str = ""
) -> HeatLine:
    run = heat.run
    flags, word = flags_of(weekend, heat.state)
    cancelled = run.status == "cancelled"
    return HeatLine(
        key=run.id,
        record=run.id,
        heat=run.heat,
        kind=run.heat_kind,
        round=run.round,
        at=run.happened_at,
        status=run.status,
        clutch=run.clutch,
        rerun=is_rerun(run.heat),
        start=start_of(weekend, heat.state),
        changes=changes,
        flags=() if cancelled else flags,
        word="" if cancelled else word,
        laps=lap_figures(heat.laps),
        run_minutes=run.run_minutes,
        warm_up_minutes=run.warm_up_minutes,
        planned_minutes=run.planned_minutes,
        ratings=(run.bite_rating, run.bottom_end_rating, run.consistency_rating),
        trouble=run.trouble,
        result=run.result,
        note=run.note,
        corrected=corrected,
    )


def _running(weekend: Weekend, events: Sequence[Happening]) -> list[HeatLine]:
    running = weekend.open.heat
    if running is None or landed(weekend, running):
        return []
    heat = running.heat
    state = weekend.state(heat.happened_at, heat.clutch)
    ran = [h.run.happened_at for h in weekend.heats if h.run.status != "cancelled"]
    last = max((at for at in ran if at < heat.happened_at), default=None)
    changes = tuple(e for e in events if e.at <= heat.happened_at and (last is None or e.at > last))
    line = _run_line(weekend, HeatOnClutch(heat, state), changes)
    return [replace(line, key="running", record="", status="running")]


def _planned(weekend: Weekend, now: datetime) -> list[HeatLine]:
    noted = {h.run.heat.lower() for h in weekend.heats}
    if weekend.open.heat is not None:
        noted.add(weekend.open.heat.heat.heat.lower())
    return [_planned_line(heat, now) for heat in weekend.schedule if heat.name.lower() not in noted]


def _planned_line(heat: PlannedHeat, now: datetime) -> HeatLine:
    status: HeatStatus = "planned" if heat.ends_at >= now else "not noted"
    return HeatLine(
        key=f"planned:{heat.name}",
        record="",
        heat=heat.name,
        kind=heat.kind,
        round=heat.round,
        at=heat.starts_at,
        status="cancelled" if heat.cancelled else status,
        planned_minutes=heat.minutes,
        moved_minutes=(heat.starts_at - heat.first_planned_at).total_seconds() / 60,
    )


def _mark_best(lines: Sequence[HeatLine]) -> list[HeatLine]:
    best = best_of(lines)
    return [replace(line, best=True) if line is best else line for line in lines]


def _fits(line: HeatLine, chosen: TimelineFilter, weekend: Weekend) -> bool:
    if chosen.day is not None and line.at.astimezone(weekend.event.zone).date() != chosen.day:
        return False
    if chosen.kind is not None and line.kind != chosen.kind:
        return False
    if chosen.spring is not None and (line.start is None or line.start.spring != chosen.spring):
        return False
    return not chosen.text or all(
        word in _words_of(line) for word in chosen.text.casefold().split()
    )


def _words_of(line: HeatLine) -> str:
    start = line.start
    parts = [
        line.heat,
        line.kind,
        line.status,
        line.trouble,
        line.result,
        line.note,
        line.corrected,
        *([start.spring_label, start.shoes_label] if start is not None else []),
        *(f"{flag.label} {flag.word}" for flag in line.flags),
        *(h.text for h in line.changes),
    ]
    return " ".join(parts).casefold()


def _loose_fits(event: Happening, chosen: TimelineFilter, weekend: Weekend) -> bool:
    """Tell whether something after the last heat, or of a heat not shown, is looked for."""
    if not chosen.text or chosen.kind is not None or chosen.spring is not None:
        return False
    if chosen.day is not None and event.at.astimezone(weekend.event.zone).date() != chosen.day:
        return False
    return all(word in event.text.casefold() for word in chosen.text.casefold().split())


def _in_order(
    weekend: Weekend, lines: Sequence[HeatLine], events: Sequence[Happening]
) -> tuple[Row, ...]:
    zone = weekend.event.zone
    # What happened at the very moment of a heat's start belongs before it.
    order: list[HeatLine | Happening] = sorted(
        [*events, *lines], key=lambda row: (row.at, isinstance(row, HeatLine))
    )
    rows: list[Row] = []
    day: date | None = None
    for row in order:
        on = row.at.astimezone(zone).date()
        if on != day:
            day = on
            ran = [
                line
                for line in lines
                if line.at.astimezone(zone).date() == on and line.status in ("run", "stopped early")
            ]
            known = [line.run_minutes for line in ran if line.run_minutes is not None]
            rows.append(Day(f"day:{on}", on, len(ran), sum(known), len(ran) - len(known)))
        rows.append(row)
    return tuple(rows)


def _first_steps(weekend: Weekend) -> tuple[str, ...]:
    state = weekend.state()
    steps: list[str] = []
    missing = [
        name for name, known in (("spring", state.spring), ("shoes", state.shoes)) if known is None
    ]
    if missing:
        steps.append(f"p   Say which {' and '.join(missing)} are on the clutch now, or")
        steps.append("2   build the clutch step by step; it asks for all of it")
    if state.recess is None:
        steps.append("c   Note the recess the nut is at")
    if state.figure("free_length") is None:
        steps.append("3   Measure: free length, recess, shoes, end play")
    if not weekend.schedule:
        steps.append("    Write the heats into weekend.toml and the next one is always in sight")
    steps.append("h   Start the first heat when the car goes out, h again when it is over")
    steps.append("a   Note a heat that has been run already")
    return tuple(steps)
