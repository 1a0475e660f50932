"""What one weekend hands on to the next."""

from __future__ import annotations

from datetime import datetime

from pitwright.weekend.records import CarriedPart, CarryOver, Reading
from pitwright.weekend.weekend import Weekend

__all__ = ["carry_over"]


def carry_over(weekend: Weekend, now: datetime, clutch: str | None = None) -> CarryOver:
    """Return the record that hands on parts with their ages, last readings, setting and shims."""
    state = weekend.state(None, clutch)
    readings: list[Reading] = [f.reading for f in state.figures.values() if f.reading is not None]
    for part in state.parts.values():
        readings += [
            figure.reading.model_copy(update={"part": part.part})
            for figure in part.figures.values()
            if figure.reading is not None
        ]
    height, play = state.shims.get("height shims"), state.shims.get("end play shims")
    return CarryOver(
        clutch=state.clutch,
        happened_at=now,
        event=weekend.event.name,
        parts=[
            CarriedPart(
                part=p.part,
                place=p.place,
                label=p.label,
                run_minutes=p.run_minutes,
                unknown_runs=p.unknown_runs,
                fitted=p.fitted,
                discarded=p.discarded,
            )
            for p in state.parts.values()
        ],
        readings=readings,
        recess_mm=state.recess.value_mm if state.recess is not None else None,
        height_shims_mm=list(height.shims_mm) if height is not None else [],
        end_play_shims_mm=list(play.shims_mm) if play is not None else [],
    )
