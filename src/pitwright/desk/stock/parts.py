"""Parts that keep their own history: fitted, spare, thrown away, and how many are left unused."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from pitwright.desk.stock.stock import ShimCount, SupplyCount, shims_now, supplies_now
from pitwright.desk.wording import mm, part_label
from pitwright.weekend.places import PART_PLACES, PartPlace
from pitwright.weekend.records import Fit, StockChange
from pitwright.weekend.state import PartState
from pitwright.weekend.weekend import Weekend

__all__ = [
    "PLACE_WORDS",
    "PartStock",
    "PlaceCount",
    "StockDesk",
    "stock_desk",
    "stock_lines",
    "thrown_away",
]

PLACE_WORDS: dict[PartPlace, str] = {
    "spring": "springs",
    "shoes": "shoe sets",
    "bell": "bells",
    "pinion": "pinions",
    "bearings": "bearing sets",
}
"""A place's parts in the plural."""

PartStanding = Literal["fitted", "unused", "used", "thrown away"]


@dataclass(frozen=True)
class PartStock:
    """One part: where it is now and how long it has run [min] over all clutches.

    ``run_minutes`` leaves out the ``unknown_runs``; ``on`` is the clutch it is fitted to.
    """

    place: PartPlace
    part: str
    label: str
    kind: str
    standing: PartStanding
    on: str | None
    run_minutes: float
    unknown_runs: int
    heats: int
    discarded_because: str = ""


@dataclass(frozen=True)
class PlaceCount:
    """Parts of one place by standing.

    ``thrown_away`` counts those of this weekend only, ``started`` those that were new when they
    were fitted at this weekend and not taken off before they ran.
    """

    place: PartPlace
    fitted: int
    unused: int
    used: int
    thrown_away: int
    started: int


@dataclass(frozen=True)
class StockDesk:
    """All that is owned, now."""

    parts: tuple[PartStock, ...]
    counts: tuple[PlaceCount, ...]
    shims: tuple[ShimCount, ...]
    supplies: tuple[SupplyCount, ...]


def stock_desk(weekend: Weekend, moment: datetime | None = None) -> StockDesk:
    """Return the stock at ``moment`` (now when None): stock.toml with what the log did to it."""
    parts = _parts(weekend, moment)
    gone, new = thrown_away(weekend, moment), _started(weekend, moment)
    counts = []
    for place in PART_PLACES:
        here = [p for p in parts if p.place == place]
        if here:
            standing = [p.standing for p in here]
            counts.append(
                PlaceCount(
                    place,
                    standing.count("fitted"),
                    standing.count("unused"),
                    standing.count("used"),
                    sum(1 for p in here if p.part in gone),
                    sum(1 for p in here if p.part in new and p.standing != "unused"),
                )
            )
    return StockDesk(
        parts, tuple(counts), shims_now(weekend, moment), supplies_now(weekend, moment)
    )


def thrown_away(weekend: Weekend, moment: datetime | None = None) -> dict[str, str]:
    """Return the parts thrown away or lost at this weekend, with the reason given."""
    found: dict[str, str] = {}
    for record in weekend.log.records:
        if moment is not None and record.happened_at > moment:
            break
        if isinstance(record, Fit):
            if record.removed is not None and record.fate == "discarded":
                found[record.removed] = record.reason
            if record.part is not None:
                found.pop(record.part, None)
        elif isinstance(record, StockChange) and record.part is not None:
            if record.change in ("discarded", "lost"):
                found[record.part] = record.reason or record.change
            else:
                found.pop(record.part, None)
    return found


def _started(weekend: Weekend, moment: datetime | None) -> set[str]:
    """Return the parts that were new when they were fitted at this weekend."""
    found = set()
    for card in weekend.clutches.values():
        for record, before, _ in weekend.walk(card):
            if moment is not None and record.happened_at > moment:
                break
            if isinstance(record, Fit) and record.part is not None:
                known = before.parts.get(record.part)
                if known is None or not (known.run_minutes or known.unknown_runs):
                    found.add(record.part)
    return found


def _parts(weekend: Weekend, moment: datetime | None) -> tuple[PartStock, ...]:
    stated = {p.id: p for place in PART_PLACES for p in weekend.stock.parts(place)}
    seen: dict[str, list[tuple[str, PartState]]] = {}
    for clutch in weekend.clutches:
        for part in weekend.state(moment, clutch).parts.values():
            seen.setdefault(part.part, []).append((clutch, part))
    found = []
    for key, on in seen.items():
        first = on[0][1]
        came_with = stated[key].run_minutes if key in stated else 0.0
        # Every clutch's fold starts from the age the part came with, which counts once.
        minutes = came_with + sum(part.run_minutes - came_with for _, part in on)
        unknown = sum(part.unknown_runs for _, part in on)
        fitted = next((clutch for clutch, part in on if part.fitted), None)
        gone = [part for _, part in on if part.discarded]
        standing: PartStanding = "unused"
        if fitted is not None:
            standing = "fitted"
        elif gone:
            standing = "thrown away"
        elif minutes > 0 or unknown:
            standing = "used"
        found.append(
            PartStock(
                place=first.place,
                part=key,
                label=part_label(first.label, key),
                kind=stated[key].kind if key in stated else "",
                standing=standing,
                on=fitted,
                run_minutes=round(minutes, 6),
                unknown_runs=unknown,
                heats=sum(part.heats for _, part in on),
                discarded_because=gone[0].discarded_because if gone and not fitted else "",
            )
        )
    order = {place: n for n, place in enumerate(PART_PLACES)}
    return tuple(sorted(found, key=lambda p: order[p.place]))


def stock_lines(found: StockDesk) -> list[str]:
    """Return the stock as aligned lines of text."""
    lines: list[str] = []
    width = max([24, *(len(p.label) for p in found.parts)])
    for count in found.counts:
        told = [f"{count.fitted} fitted", f"{count.unused} unused"]
        told += [f"{count.used} used"] if count.used else []
        told += [f"{count.thrown_away} thrown away"] if count.thrown_away else []
        lines += [""] if lines else []
        lines.append(f"{PLACE_WORDS[count.place].capitalize()}: {', '.join(told)}")
        for part in found.parts:
            if part.place != count.place:
                continue
            untimed = f" + {part.unknown_runs} not timed" if part.unknown_runs else ""
            ran = f"{part.run_minutes:6.1f} min{untimed}"
            why = f": {part.discarded_because}" if part.discarded_because else ""
            lines.append(f"  {part.label:<{width}}  {part.standing:<11}  {ran}{why}")
    if found.shims:
        lines += ["", f"Shims{'':<21}{'in the tin':>12}{'fitted':>9}"]
        for shim in found.shims:
            note = f"   {shim.missing} more used than owned: count them" if shim.missing else ""
            lines.append(
                f"  {mm(shim.mm, _shim_decimals(shim)):<24}{shim.in_tin:>12}{shim.fitted:>9}{note}"
            )
    if found.supplies:
        room = max(24, *(len(supply.label) for supply in found.supplies))
        lines += ["", f"{'Supplies':<{room + 2}}{'left':>12}"]
        for supply in found.supplies:
            note = "   buy" if supply.count < supply.buy_below else ""
            lines.append(f"  {supply.label:<{room}}{supply.count:>12}{note}")
    return lines or ["Nothing is listed in stock.toml and nothing was fitted yet."]


def _shim_decimals(shim: ShimCount) -> int:
    return 2 if shim.micrometres % 10 == 0 else 3
