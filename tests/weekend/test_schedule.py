"""The schedule now: delays, moves, midnight and the change of daylight saving."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from pitwright.weekend.event import EventCard, ScheduledHeat
from pitwright.weekend.records import ScheduleChange
from pitwright.weekend.schedule import schedule_now, to_utc

NOW = datetime(2026, 3, 28, 6, tzinfo=UTC)


def event(*starts: str, zone: str = "Europe/Lisbon") -> EventCard:
    return EventCard(
        format=1,
        name="Any",
        time_zone=zone,
        starts_on=date(2026, 3, 28),
        ends_on=date(2026, 3, 29),
        heat=[
            ScheduledHeat(
                name=f"H{n}", kind="qualifier", starts_at=datetime.fromisoformat(s), minutes=8
            )
            for n, s in enumerate(starts, 1)
        ],
    )


def change(**what: object) -> ScheduleChange:
    return ScheduleChange(happened_at=NOW, **what)  # type: ignore[arg-type]


def starts(card: EventCard, *changes: ScheduleChange) -> dict[str, str]:
    return {
        h.name: f"{h.starts_at.astimezone(card.zone):%a %H:%M}"
        for h in schedule_now(card, changes)
        if not h.cancelled
    }


def test_a_delay_shifts_the_heat_and_the_rest_of_its_day_only() -> None:
    card = event("2026-03-28T10:00", "2026-03-28T12:00", "2026-03-28T14:00", "2026-03-29T10:00")
    assert starts(card, change(change="delay", heat="H2", minutes=15)) == {
        "H1": "Sat 10:00",
        "H2": "Sat 12:15",
        "H3": "Sat 14:15",
        "H4": "Sun 10:00",
    }


def test_a_delay_carries_along_what_goes_on_past_midnight() -> None:
    card = event("2026-03-28T23:30", "2026-03-29T00:10", "2026-03-29T10:00")
    found = starts(card, change(change="delay", heat="H1", minutes=20))
    assert found == {"H1": "Sat 23:50", "H2": "Sun 00:30", "H3": "Sun 10:00"}


def test_two_delays_add_up() -> None:
    card = event("2026-03-28T10:00", "2026-03-28T12:00")
    first = change(change="delay", heat="H1", minutes=10)
    second = change(change="delay", heat="H2", minutes=5)
    assert starts(card, first, second) == {"H1": "Sat 10:10", "H2": "Sat 12:15"}


def test_move_cancel_and_add() -> None:
    card = event("2026-03-28T10:00", "2026-03-28T12:00")
    found = starts(
        card,
        change(change="move", heat="H1", starts_at=datetime(2026, 3, 28, 9, 30, tzinfo=UTC)),
        change(change="cancel", heat="H2"),
        change(
            change="add",
            heat="X",
            heat_kind="main",
            minutes=20,
            starts_at=datetime(2026, 3, 28, 16, 0, tzinfo=UTC),
        ),
    )
    assert found == {"H1": "Sat 09:30", "X": "Sat 16:00"}


def test_wall_clock_across_the_change_of_daylight_saving() -> None:
    # Lisbon goes to summer time on 2026-03-29 at 01:00 UTC.
    card = event("2026-03-28T23:30", "2026-03-29T10:00")
    heats = {h.name: h for h in schedule_now(card, ())}
    assert heats["H2"].starts_at == datetime(2026, 3, 29, 9, 0, tzinfo=UTC)
    assert heats["H2"].starts_at - heats["H1"].starts_at == timedelta(hours=9, minutes=30)


def test_a_heat_past_midnight_belongs_to_the_day_it_starts() -> None:
    card = event("2026-03-28T23:55")
    (heat,) = schedule_now(card, [change(change="delay", heat="H1", minutes=20)])
    assert heat.day(card.zone) == date(2026, 3, 29)


@pytest.mark.parametrize(
    ("wall", "expected"),
    [
        ("2026-10-25T01:30:00", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),  # comes twice: first
        ("2026-03-29T01:30:00", datetime(2026, 3, 29, 1, 30, tzinfo=UTC)),  # skipped
    ],
)
def test_times_that_come_twice_or_never(wall: str, expected: datetime) -> None:
    assert to_utc(datetime.fromisoformat(wall), ZoneInfo("Europe/Lisbon")) == expected


def test_a_change_to_an_unknown_heat_changes_nothing() -> None:
    card = event("2026-03-28T10:00")
    assert starts(card, change(change="cancel", heat="nobody")) == {"H1": "Sat 10:00"}
