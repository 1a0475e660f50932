"""The schedule now: the event card's heats with the log's delays, moves and cancellations."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from pitwright.weekend.event import EventCard, HeatKind
from pitwright.weekend.records import AnyRecord, ScheduleChange

_NIGHT = timedelta(hours=5)
"""A gap this long ends a day's racing, whatever the calendar says."""

__all__ = ["PlannedHeat", "schedule_now", "to_utc"]


@dataclass(frozen=True)
class PlannedHeat:
    """A heat as it stands on the schedule now; times are UTC."""

    name: str
    kind: HeatKind
    round: int | None
    starts_at: datetime
    minutes: float
    first_planned_at: datetime
    cancelled: bool = False

    @property
    def ends_at(self) -> datetime:
        """When it should be over."""
        return self.starts_at + timedelta(minutes=self.minutes)

    def day(self, zone: ZoneInfo) -> date:
        """Return the venue's calendar day of the start."""
        return self.starts_at.astimezone(zone).date()


def to_utc(wall_clock: datetime, zone: ZoneInfo) -> datetime:
    """Return the UTC moment of a venue wall-clock time.

    A time that daylight saving skips is read as the clock before the change would; of a time
    that comes twice, the first is meant.
    """
    return wall_clock.replace(tzinfo=zone, fold=0).astimezone(UTC)


def schedule_now(event: EventCard, records: Iterable[AnyRecord]) -> tuple[PlannedHeat, ...]:
    """Apply the log's schedule changes to the event card, in the order they happened.

    A delay shifts the named heat and every later heat of its day, also past midnight when the
    racing goes on; returned in order of start.
    """
    zone = event.zone
    heats: dict[str, PlannedHeat] = {}
    for heat in event.heat:
        start = to_utc(heat.starts_at, zone)
        heats[heat.name] = PlannedHeat(heat.name, heat.kind, heat.round, start, heat.minutes, start)
    for record in records:
        if isinstance(record, ScheduleChange):
            _apply(heats, record, zone)
    return tuple(sorted(heats.values(), key=lambda h: (h.starts_at, h.name)))


def _apply(heats: dict[str, PlannedHeat], change: ScheduleChange, zone: ZoneInfo) -> None:
    if change.change == "add":
        assert change.starts_at is not None
        assert change.heat_kind is not None
        assert change.minutes is not None
        heats[change.heat] = PlannedHeat(
            change.heat, change.heat_kind, None, change.starts_at, change.minutes, change.starts_at
        )
        return
    heat = heats.get(change.heat)
    if heat is None:
        return
    if change.change == "cancel":
        heats[heat.name] = replace(heat, cancelled=True)
    elif change.change == "move":
        assert change.starts_at is not None
        heats[heat.name] = replace(heat, starts_at=change.starts_at)
    else:
        assert change.minutes is not None
        shift = timedelta(minutes=change.minutes)
        for name in _same_session(heats.values(), heat, zone):
            heats[name] = replace(heats[name], starts_at=heats[name].starts_at + shift)


def _same_session(heats: Iterable[PlannedHeat], first: PlannedHeat, zone: ZoneInfo) -> list[str]:
    """Return the heat and those after it that a delay carries along.

    That is the rest of its day, and what goes on past midnight without a night in between.
    """
    session = [first]
    later = (h for h in heats if h.starts_at >= first.starts_at and h.name != first.name)
    for heat in sorted(later, key=lambda h: h.starts_at):
        goes_on = heat.starts_at - session[-1].ends_at < _NIGHT
        if heat.day(zone) != first.day(zone) and not goes_on:
            break
        session.append(heat)
    return [heat.name for heat in session]
