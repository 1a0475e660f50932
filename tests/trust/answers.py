"""Every answer the desk gives about a weekend, asked in one go."""

from __future__ import annotations

from datetime import datetime

from pitwright.weekend.weekend import Weekend


def ask_everything(weekend: Weekend, now: datetime) -> list[str]:
    """Ask all there is to ask; return the lines said. Nothing may raise."""
    from pitwright.desk.best_heat import before_best
    from pitwright.desk.bite import bite_desk, prepare
    from pitwright.desk.bite_words import bite_lines
    from pitwright.desk.condition import condition, condition_lines
    from pitwright.desk.forecast import part_forecasts
    from pitwright.desk.gears import gear_desk, gear_lines
    from pitwright.desk.heat_detail import heat_detail
    from pitwright.desk.launch import launch_desk, launch_lines
    from pitwright.desk.measure import fields
    from pitwright.desk.nut import nut_advice, nut_lines
    from pitwright.desk.return_to import plan_lines, return_to
    from pitwright.desk.shim_words import shim_lines
    from pitwright.desk.shims import shim_desk
    from pitwright.desk.status import status_line
    from pitwright.desk.stock_parts import stock_desk
    from pitwright.desk.threads import torque_desk, torque_lines
    from pitwright.desk.timeline import timeline
    from pitwright.desk.to_buy import to_buy

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
    for forecast in part_forecasts(weekend, now):
        lines += forecast.sentences
    shown = timeline(weekend, now)
    for heat in shown.heats[-2:]:
        heat_detail(weekend, heat.key, now)
    for run in weekend.heats[:2]:
        lines += plan_lines(return_to(weekend, run.run.heat, now), weekend)
    before_best(weekend, now)
    fields(weekend, now)
    stock_desk(weekend)
    to_buy(weekend)
    return lines
