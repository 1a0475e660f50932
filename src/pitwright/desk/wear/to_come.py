"""The running that is still to come: heats not yet run, with their usual warm-up."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from datetime import datetime

from pitwright.weekend.event import HeatKind
from pitwright.weekend.records import HeatRun
from pitwright.weekend.weekend import Weekend

__all__ = ["HeatToCome", "ToCome", "to_come"]


@dataclass(frozen=True)
class HeatToCome:
    """A heat still to be run and the running it puts on the clutch, warm-up included."""

    name: str
    kind: HeatKind
    starts_at: datetime
    run_minutes: float


@dataclass(frozen=True)
class ToCome:
    """The heats to come up to the last main, or all of them when no main is left.

    ``warm_up_minutes`` is the usual warm-up, None when none was ever noted (then none is counted).
    ``uncounted`` names heats that put running on the clutch, or may have, and cannot be counted:
    those whose time has passed without a note, and one that is running with no planned length.
    """

    heats: tuple[HeatToCome, ...]
    warm_up_minutes: float | None
    uncounted: tuple[str, ...]

    @property
    def main(self) -> HeatToCome | None:
        """The last main still to come."""
        last = self.heats[-1] if self.heats else None
        return last if last is not None and last.kind == "main" else None


def to_come(weekend: Weekend, now: datetime) -> ToCome:
    """Return what is still to be run: the schedule less what was run, called off or has passed.

    A heat that is running counts in full, for none of it is in the log yet.
    """
    noted = {r.heat.lower() for r in weekend.log.records if isinstance(r, HeatRun)}
    usual = _usual_warm_up(weekend)
    extra = usual or 0.0
    coming: list[HeatToCome] = []
    uncounted: list[str] = []
    running = weekend.open.heat.heat if weekend.open.heat is not None else None
    known = {heat.name.lower(): heat for heat in weekend.schedule}
    if running is not None:
        planned = known.get(running.heat.lower())
        minutes = running.planned_minutes or (planned.minutes if planned is not None else None)
        warm_up = running.warm_up_minutes if running.warm_up_minutes is not None else extra
        noted.add(running.heat.lower())
        if minutes is None:
            uncounted.append(running.heat)
        else:
            coming.append(
                HeatToCome(running.heat, running.heat_kind, running.happened_at, minutes + warm_up)
            )
    for heat in weekend.schedule:
        if heat.cancelled or heat.name.lower() in noted:
            continue
        if heat.ends_at < now:
            uncounted.append(heat.name)
        else:
            coming.append(HeatToCome(heat.name, heat.kind, heat.starts_at, heat.minutes + extra))
    mains = [i for i, heat in enumerate(coming) if heat.kind == "main"]
    if mains:
        coming = coming[: mains[-1] + 1]
    return ToCome(tuple(coming), usual, tuple(uncounted))


def _usual_warm_up(weekend: Weekend) -> float | None:
    noted = [
        r.warm_up_minutes
        for r in weekend.log.records
        if isinstance(r, HeatRun) and r.status != "cancelled" and r.warm_up_minutes is not None
    ]
    return statistics.median(noted) if noted else None
