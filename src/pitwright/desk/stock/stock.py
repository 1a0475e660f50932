"""What is in the tin and on the shelf now: stock.toml with everything the log did to it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from pitwright.weekend.places import SHIM_PLACES
from pitwright.weekend.records import CarryOver, Fit, StockChange
from pitwright.weekend.weekend import Weekend

__all__ = [
    "ShimCount",
    "SupplyCount",
    "microns",
    "shim_change",
    "shims_now",
    "supplies_now",
]


@dataclass(frozen=True)
class ShimCount:
    """Shims of one thickness: how many lie in the tin, and how many are fitted on any clutch.

    ``missing`` is how many more were fitted or lost than were ever owned: a count to be mended.
    """

    micrometres: int
    in_tin: int
    fitted: int
    missing: int = 0

    @property
    def mm(self) -> float:
        """The thickness [mm]."""
        return self.micrometres / 1000


@dataclass(frozen=True)
class SupplyCount:
    """Things counted: how many there are, and below how many to buy."""

    name: str
    label: str
    count: int
    buy_below: int


def microns(thickness_mm: float) -> int:
    """Return a shim's thickness in whole micrometres, the grain of a tin."""
    return round(thickness_mm * 1000)


def shims_now(weekend: Weekend, moment: datetime | None = None) -> tuple[ShimCount, ...]:
    """Return the tin at ``moment`` (now when None), thinnest first.

    A stack fitted leaves the tin and the one it replaces comes back to it, unless it was thrown
    away. A count is the tin as counted, without what is fitted.
    """
    tin = Counter({microns(s.thickness.value): s.count for s in weekend.stock.shim})
    fitted: dict[tuple[str, str], Counter[int]] = {}

    def fit(where: tuple[str, str], stack: list[float], *, kept: bool) -> None:
        if kept:
            tin.update(fitted.get(where, Counter()))
        fitted[where] = Counter(microns(s) for s in stack)
        tin.subtract(fitted[where])

    for record in weekend.log.records:
        if moment is not None and record.happened_at > moment:
            break
        if isinstance(record, Fit) and record.place in SHIM_PLACES:
            fit((record.clutch, record.place), record.shims_mm, kept=record.fate == "kept")
        elif isinstance(record, CarryOver):
            fit((record.clutch, "height shims"), record.height_shims_mm, kept=True)
            fit((record.clutch, "end play shims"), record.end_play_shims_mm, kept=True)
        elif isinstance(record, StockChange) and record.shim_mm is not None:
            thickness = microns(record.shim_mm)
            tin[thickness] = _changed(tin[thickness], record)
    on: Counter[int] = Counter()
    for stack in fitted.values():
        on.update(stack)
    return tuple(
        ShimCount(t, max(tin[t], 0), on[t], max(-tin[t], 0)) for t in sorted({*tin, *on}) if t > 0
    )


def supplies_now(weekend: Weekend, moment: datetime | None = None) -> tuple[SupplyCount, ...]:
    """Return the counted supplies at ``moment`` (now when None), in the order of stock.toml."""
    counts = {s.name: s.count for s in weekend.stock.supply}
    labels = {s.name: (s.label, s.buy_below) for s in weekend.stock.supply}
    for record in weekend.log.records:
        if moment is not None and record.happened_at > moment:
            break
        if isinstance(record, StockChange) and record.supply is not None:
            counts[record.supply] = _changed(counts.get(record.supply, 0), record)
            labels.setdefault(record.supply, (record.label or record.supply, 1))
    return tuple(
        SupplyCount(name, labels[name][0], max(count, 0), labels[name][1])
        for name, count in counts.items()
    )


def _changed(count: int, record: StockChange) -> int:
    if record.change == "counted":
        return record.count
    return count + record.count if record.change == "bought" else count - record.count


def shim_change(
    shim_mm: float,
    count: int,
    change: Literal["bought", "counted", "lost", "discarded"],
    *,
    clutch: str,
    now: datetime,
    reason: str = "",
) -> StockChange:
    """Return the record of shims bought, counted, lost or thrown away."""
    return StockChange(
        clutch=clutch,
        happened_at=now,
        change=change,
        shim_mm=shim_mm,
        count=count,
        reason=reason,
    )
