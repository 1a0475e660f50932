"""Parts used: what ran, what was fitted and what was thrown away in the time of a sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from pitwright.desk.sheet.scope import Scope
from pitwright.desk.wording import part_label
from pitwright.weekend.places import PartPlace
from pitwright.weekend.records import Fit, StockChange
from pitwright.weekend.weekend import Weekend

__all__ = ["PartUsed", "SupplyUsed", "parts_used", "supplies_used"]


@dataclass(frozen=True)
class PartUsed:
    """A part that ran, was fitted or was thrown away; minutes in this time, and since new.

    ``heats`` counts the runs of this time, ``unknown_runs`` those of them nobody timed and
    ``unknown_total`` all untimed ones.
    """

    clutch: str
    place: PartPlace
    part: str
    label: str
    fitted_at: datetime | None
    run_minutes: float
    unknown_runs: int
    heats: int
    total_minutes: float
    unknown_total: int
    became: str
    reason: str


@dataclass(frozen=True)
class SupplyUsed:
    """Something of the stock counted by number that was bought, used up, lost or counted."""

    at: datetime
    what: str
    change: str
    count: int
    reason: str


def parts_used(scope: Scope) -> tuple[PartUsed, ...]:
    """Return the parts in the order of their places on each clutch."""
    weekend = scope.weekend
    before = scope.start - timedelta(microseconds=1)
    fitted = _fitted_within(scope)
    found = []
    for key in weekend.clutches:
        old, new = weekend.state(before, key), weekend.state(None, key)
        for part in new.parts.values():
            was = old.parts.get(part.part)
            minutes = part.run_minutes - (was.run_minutes if was is not None else 0.0)
            heats = part.heats - (was.heats if was is not None else 0)
            unknown = part.unknown_runs - (was.unknown_runs if was is not None else 0)
            thrown = part.discarded and not (was is not None and was.discarded)
            fitted_at = fitted.get((key, part.part))
            if not heats and not thrown and fitted_at is None:
                continue
            found.append(
                PartUsed(
                    clutch=key,
                    place=part.place,
                    part=part.part,
                    label=part_label(part.label, part.part),
                    fitted_at=fitted_at,
                    run_minutes=round(minutes if heats else 0.0, 6),
                    unknown_runs=unknown if heats else 0,
                    heats=heats,
                    total_minutes=round(part.run_minutes, 6),
                    unknown_total=part.unknown_runs,
                    became="thrown away"
                    if part.discarded
                    else "fitted"
                    if part.fitted
                    else "taken off",
                    reason=part.discarded_because if part.discarded else "",
                )
            )
    order = ("spring", "shoes", "bell", "pinion", "bearings")
    return tuple(sorted(found, key=lambda p: (p.clutch, order.index(p.place))))


def _fitted_within(scope: Scope) -> dict[tuple[str, str], datetime]:
    return {
        (record.clutch, record.part): record.happened_at
        for record in scope.weekend.log.records
        if isinstance(record, Fit) and record.part is not None and scope.holds(record.happened_at)
    }


def supplies_used(scope: Scope) -> tuple[SupplyUsed, ...]:
    """Return what the log says of shims and supplies in the time of the sheet."""
    return tuple(
        SupplyUsed(
            record.happened_at,
            _name(scope.weekend, record),
            record.change,
            record.count,
            record.reason,
        )
        for record in scope.weekend.log.records
        if isinstance(record, StockChange)
        and record.part is None
        and scope.holds(record.happened_at)
    )


def _name(weekend: Weekend, record: StockChange) -> str:
    if record.shim_mm is not None:
        return f"Shim {record.shim_mm:g} mm"
    labels = {s.name: s.label for s in weekend.stock.supply}
    return record.label or labels.get(record.supply or "", record.supply or "")
