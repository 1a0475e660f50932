"""The tables of heats, with the clutch state each started on, and of laps."""

from __future__ import annotations

from dataclasses import dataclass

from pitwright.desk.heats.timeline_rows import LapFigures, Start, lap_figures, start_of
from pitwright.desk.sheet.heats import ModelBite, calibrations, model_bite
from pitwright.desk.tables.maker import Col, record_columns, table
from pitwright.inference.laps import set_aside
from pitwright.weekend.records import HeatRun
from pitwright.weekend.state import State
from pitwright.weekend.table import DataTable
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["heats", "laps"]


@dataclass(frozen=True)
class _Row:
    heat: HeatOnClutch
    start: Start
    bite: ModelBite
    laps: LapFigures

    @property
    def run(self) -> HeatRun:
        return self.heat.run

    @property
    def state(self) -> State:
        return self.heat.state


def _run_of(row: _Row) -> HeatRun:
    return row.run


def heats(weekend: Weekend) -> DataTable:
    """Return the heats; columns that begin with ``start_`` are derived from the log before it."""
    seen = calibrations(weekend)
    rows = [
        _Row(
            heat,
            start_of(weekend, heat.state),
            model_bite(weekend, heat.state, seen[heat.run.clutch]),
            lap_figures(heat.laps),
        )
        for heat in weekend.heats
    ]
    columns: list[Col[_Row]] = [
        *record_columns(_run_of),
        Col("heat", "text", lambda r: r.run.heat),
        Col("heat_kind", "text", lambda r: r.run.heat_kind),
        Col("round", "integer", lambda r: r.run.round),
        Col("status", "text", lambda r: r.run.status),
        Col("planned_min", "real", lambda r: r.run.planned_minutes),
        Col("run_min", "real", lambda r: r.run.run_minutes),
        Col("warm_up_min", "real", lambda r: r.run.warm_up_minutes),
        Col("laps", "integer", lambda r: r.laps.count),
        Col("best_lap_s", "real", lambda r: r.laps.best),
        Col("median_lap_s", "real", lambda r: r.laps.median),
        Col("air_c", "real", lambda r: r.run.conditions.air_c),
        Col("track_c", "real", lambda r: r.run.conditions.track_c),
        Col("humidity_percent", "real", lambda r: r.run.conditions.humidity_percent),
        Col("pressure_hpa", "real", lambda r: r.run.conditions.pressure_hpa),
        Col("grip_of_5", "integer", lambda r: r.run.conditions.grip),
        Col("bite_of_5", "integer", lambda r: r.run.bite_rating),
        Col("bottom_end_of_5", "integer", lambda r: r.run.bottom_end_rating),
        Col("consistency_of_5", "integer", lambda r: r.run.consistency_rating),
        Col("engine_c", "real", lambda r: r.run.engine_c),
        Col("fuel_used_ml", "real", lambda r: r.run.fuel_used_ml),
        Col("pinion_1_teeth", "integer", lambda r: _nth(r.run.pinion_teeth, 0)),
        Col("pinion_2_teeth", "integer", lambda r: _nth(r.run.pinion_teeth, 1)),
        Col("spur_1_teeth", "integer", lambda r: _nth(r.run.spur_teeth, 0)),
        Col("spur_2_teeth", "integer", lambda r: _nth(r.run.spur_teeth, 1)),
        Col("tyres", "text", lambda r: r.run.tyres),
        Col("result", "text", lambda r: r.run.result),
        Col("trouble", "text", lambda r: r.run.trouble),
        Col("note", "text", lambda r: r.run.note),
        Col("start_spring", "text", lambda r: r.start.spring),
        Col("start_spring_run_min", "real", lambda r: _age(r, "spring")),
        Col("start_spring_untimed_runs", "integer", lambda r: _untimed(r, "spring")),
        Col("start_free_length_mm", "real", lambda r: r.start.free_length_mm),
        Col("start_recess_mm", "real", lambda r: r.start.recess_mm),
        Col("start_shoes", "text", lambda r: r.start.shoes),
        Col("start_shoes_run_min", "real", lambda r: _age(r, "shoes")),
        Col("start_shoes_untimed_runs", "integer", lambda r: _untimed(r, "shoes")),
        Col("start_shoe_thickness_mm", "real", lambda r: r.start.shoe_thickness_mm),
        Col("start_end_play_mm", "real", lambda r: r.start.end_play_mm),
        Col("start_height_shims_mm", "real", lambda r: _sum(r.start.height_shims_mm)),
        Col("start_end_play_shims_mm", "real", lambda r: _sum(r.start.end_play_shims_mm)),
        Col("start_doubtful", "text", lambda r: " ".join(r.start.doubtful)),
        Col("start_build", "text", lambda r: r.state.build.id if r.state.build else None),
        Col("start_bite_model_rpm", "real", lambda r: r.bite.rpm),
        Col("start_bite_model_u_rpm", "real", lambda r: r.bite.u_rpm),
        Col("start_bite_calibrated", "boolean", lambda r: r.bite.calibrated),
    ]
    return table("heats", weekend.event.name, columns, rows)


def _nth(teeth: list[int], place: int) -> int | None:
    return teeth[place] if place < len(teeth) else None


def _age(row: _Row, place: str) -> float | None:
    part = row.state.spring if place == "spring" else row.state.shoes
    return None if part is None else round(part.run_minutes, 6)


def _untimed(row: _Row, place: str) -> int | None:
    part = row.state.spring if place == "spring" else row.state.shoes
    return None if part is None else part.unknown_runs


def _sum(stack: tuple[float, ...] | None) -> float | None:
    return None if stack is None else round(sum(stack), 6)


@dataclass(frozen=True)
class _Lap:
    heat: HeatOnClutch
    number: int
    seconds: float
    aside: str | None
    mark: str | None


def laps(weekend: Weekend) -> DataTable:
    """Return every lap; ``set_aside`` says why the pace rule leaves it out, None when it counts.

    ``mark`` is what stood beside it where it came from.
    """
    rows = []
    for heat in weekend.heats:
        aside = {mark.lap: mark.reason for mark in set_aside(heat.laps)} if heat.laps else {}
        rows += [
            _Lap(heat, number, lap, aside.get(number), heat.marks.get(number))
            for number, lap in enumerate(heat.laps, 1)
        ]
    columns: list[Col[_Lap]] = [
        Col("heat_record", "text", lambda x: x.heat.run.id),
        Col("clutch", "text", lambda x: x.heat.run.clutch),
        Col("heat", "text", lambda x: x.heat.run.heat),
        Col("lap", "integer", lambda x: x.number),
        Col("lap_s", "real", lambda x: x.seconds),
        Col("set_aside", "text", lambda x: x.aside),
        Col("mark", "text", lambda x: x.mark),
    ]
    return table("laps", weekend.event.name, columns, rows)
