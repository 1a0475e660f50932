"""The day sheet: one answer per day, and one for the weekend, that every format shows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from pitwright.desk.heats.happenings import Happening, happenings
from pitwright.desk.sheet.heats import AtClose, SheetHeat, at_close, calibrations, sheet_heats
from pitwright.desk.sheet.out import OutReading, out_readings
from pitwright.desk.sheet.parts import PartUsed, SupplyUsed, parts_used, supplies_used
from pitwright.desk.sheet.points import OpenPoint, open_points
from pitwright.desk.sheet.prepare import Preparation, prepare_next
from pitwright.desk.sheet.scope import (
    Scope,
    Standing,
    day_words,
    default_day,
    scope_of,
    weekend_days,
)
from pitwright.desk.stock.to_buy import ToBuy, to_buy
from pitwright.desk.wear.forecast import part_forecasts
from pitwright.desk.wear.part_forecast import PartForecast
from pitwright.weekend.problems import Problem
from pitwright.weekend.weekend import Weekend

__all__ = ["DaySheet", "Totals", "day_sheet", "default_day", "weekend_days"]


@dataclass(frozen=True)
class Totals:
    """Sums over the heats run: minutes with warm-up, of the runs that were timed."""

    heats_run: int
    heats_to_come: int
    heats_cancelled: int
    heats_not_noted: int
    run_minutes: float
    unknown_runs: int
    laps: int
    builds: int
    readings_out: int


@dataclass(frozen=True)
class DaySheet:
    """All of one day, or of the weekend when ``day`` is None, as known when it closed.

    Lengths are millimetres, laps seconds, speeds rpm, times UTC moments; ``time_zone`` is the
    venue's. ``wear`` holds the forecast of each part that was read or ran; ``calibrated`` is
    whether every clutch's bite was put right by an observed speed.
    """

    event: str
    venue: str
    racing_class: str
    driver: str
    time_zone: str
    day: date | None
    label: str
    standing: Standing
    made_at: datetime
    clutches: tuple[tuple[str, str], ...]
    totals: Totals
    heats: tuple[SheetHeat, ...]
    at_close: tuple[AtClose, ...]
    happenings: tuple[Happening, ...]
    wear: tuple[PartForecast, ...]
    wear_labels: tuple[tuple[str, str], ...]
    calibrated: bool
    out: tuple[OutReading, ...]
    parts: tuple[PartUsed, ...]
    supplies: tuple[SupplyUsed, ...]
    points: tuple[OpenPoint, ...]
    prepare: Preparation
    buy: tuple[ToBuy, ...]

    @property
    def timed(self) -> tuple[SheetHeat, ...]:
        """The heats with laps."""
        return tuple(h for h in self.heats if h.laps)


def day_sheet(
    weekend: Weekend,
    now: datetime,
    day: date | None = None,
    *,
    problems: Iterable[Problem] = (),
) -> DaySheet:
    """Return the sheet of a day, or of the whole weekend when ``day`` is None.

    A day that is over is shown as it stood when it closed, with what was corrected later.
    ``problems`` are those of the folder's files. Raises ValueError for a day that is not the
    weekend's.
    """
    if day is not None and day not in weekend_days(weekend):
        raise ValueError(f"{day} is not a day of {weekend.event.name}")
    scope = scope_of(weekend, now, day)
    known = scope.weekend
    seen = calibrations(known)
    heats = sheet_heats(scope, seen)
    told = happenings(known)
    wear = {key: part_forecasts(known, scope.now, key) for key in known.clutches}
    points = open_points(scope, problems)
    out = out_readings(scope, told)
    parts = parts_used(scope)
    happened = tuple(h for h in told if scope.holds(h.at) and not h.quiet)
    event = known.event
    labels = {
        key: quantity.label
        for card in known.clutches.values()
        for key, quantity in card.quantities.items()
    }
    return DaySheet(
        event=event.name,
        venue=event.venue,
        racing_class=event.racing_class,
        driver=event.driver,
        time_zone=event.time_zone,
        day=day,
        label=day_words([day] if day is not None else weekend_days(weekend)),
        standing=scope.standing,
        made_at=now,
        clutches=tuple((key, card.name) for key, card in known.clutches.items()),
        totals=_totals(heats, happened, out),
        heats=heats,
        at_close=at_close(scope, seen),
        happenings=happened,
        wear=tuple(
            found
            for of_clutch in wear.values()
            for found in of_clutch
            if _shown(found, scope, parts)
        ),
        wear_labels=tuple(labels.items()),
        calibrated=all(scales.any_bite_known for scales in seen.values()),
        out=out,
        parts=parts,
        supplies=supplies_used(scope),
        points=points,
        prepare=prepare_next(scope, points, wear),
        buy=to_buy(known),
    )


def _shown(found: PartForecast, scope: Scope, parts: Iterable[PartUsed]) -> bool:
    used = found.standing == "fitted" or any(p.part == found.part for p in parts)
    return bool(found.points) and (used or any(scope.holds(p.at) for p in found.points))


def _totals(
    heats: Iterable[SheetHeat], happened: Iterable[Happening], out: tuple[OutReading, ...]
) -> Totals:
    every = list(heats)
    ran = [h for h in every if h.ran]
    timed = [h for h in ran if h.run_minutes is not None]
    return Totals(
        heats_run=len(ran),
        heats_to_come=sum(1 for h in every if h.status in ("planned", "running")),
        heats_cancelled=sum(1 for h in every if h.status == "cancelled"),
        heats_not_noted=sum(1 for h in every if h.status == "not noted"),
        run_minutes=round(
            sum((h.run_minutes or 0.0) for h in timed) + sum(h.warm_up_minutes or 0.0 for h in ran),
            6,
        ),
        unknown_runs=len(ran) - len(timed),
        laps=sum(h.lap_figures.count for h in ran),
        builds=sum(1 for h in happened if h.sort == "build"),
        readings_out=len(out),
    )
