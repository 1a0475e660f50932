"""Every answer the desk gives about a weekend, asked in one go."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from pitwright.weekend.weekend import Weekend


def ask_everything(
    weekend: Weekend, now: datetime, forms: Sequence[str] = ("text", "md")
) -> list[str]:
    """Ask all there is to ask; return the lines said. Nothing may raise."""
    from pitwright.desk.bite.bite import bite_desk, prepare
    from pitwright.desk.bite.launch import launch_desk, launch_lines
    from pitwright.desk.bite.words import bite_lines
    from pitwright.desk.clock.pit_clock import pit_clock
    from pitwright.desk.clock.pit_clock_words import pit_clock_lines
    from pitwright.desk.clock.pre_main import pre_main, pre_main_lines
    from pitwright.desk.clutch.gears import gear_desk, gear_lines
    from pitwright.desk.clutch.torques import torque_desk, torque_lines
    from pitwright.desk.condition import condition, condition_lines
    from pitwright.desk.heats.best_heat import before_best
    from pitwright.desk.heats.heat_detail import heat_detail
    from pitwright.desk.heats.return_to import plan_lines, return_to
    from pitwright.desk.heats.timeline import timeline
    from pitwright.desk.measure.bench import gather
    from pitwright.desk.measure.judging import judge_on
    from pitwright.desk.measure.measure import field_on
    from pitwright.desk.nut.nut import nut_advice
    from pitwright.desk.nut.words import nut_lines
    from pitwright.desk.pace.pace import heat_pace, pace_heats
    from pitwright.desk.pace.words import pace_lines
    from pitwright.desk.sheet.day_sheet import day_sheet
    from pitwright.desk.status import status_line
    from pitwright.desk.stock.parts import stock_desk
    from pitwright.desk.stock.shim_words import shim_lines
    from pitwright.desk.stock.shims import shim_desk
    from pitwright.desk.stock.to_buy import to_buy
    from pitwright.desk.tables.tables import tables
    from pitwright.desk.warmth.warmth import warmth_desk
    from pitwright.desk.warmth.words import warmth_lines
    from pitwright.desk.wear.forecast import part_forecasts
    from pitwright.desk.wear.timed import timed_lives
    from pitwright.report.formats import formatted

    zone = weekend.event.zone
    status = status_line(weekend, now)
    lines = [status.left, status.right]
    lines += condition_lines(condition(weekend, now), zone)
    lines += nut_lines(nut_advice(weekend))
    lines += nut_lines(nut_advice(weekend, hold="bite"))
    prepared = prepare(weekend)
    found = bite_desk(prepared)
    lines += bite_lines(found)
    lines += launch_lines(launch_desk(prepared))
    lines += shim_lines(shim_desk(weekend))
    lines += gear_lines(gear_desk(weekend))
    lines += torque_lines(torque_desk(weekend.card()))
    lines += warmth_lines(warmth_desk(prepared, now))
    for forecast in (*part_forecasts(weekend, now), *timed_lives(weekend, now)):
        lines += forecast.sentences
    shown = timeline(weekend, now)
    for heat in shown.heats[-2:]:
        heat_detail(weekend, heat.key, now)
    for run in weekend.heats[:2]:
        lines += plan_lines(return_to(weekend, run.run.heat, now), weekend)
    before_best(weekend, now)
    stock_desk(weekend)
    to_buy(weekend)
    lines += pit_clock_lines(pit_clock(weekend, now), weekend)
    lines += pre_main_lines(pre_main(weekend, now), weekend, now)
    heats = pace_heats(weekend)
    lines += pace_lines(heats, [heat_pace(heat.laps) if heat.laps else None for heat in heats], 100)
    bench = gather(weekend, now)
    for key in bench.card.quantities:
        field_on(bench, key)
        judged = judge_on(bench, key, "10.15 10.18", final=True)
        lines += [judged.told()]
    tables(weekend)
    sheet = day_sheet(weekend, now, now.date())
    for form in forms:
        lines += formatted(sheet, form).splitlines()
    return lines
