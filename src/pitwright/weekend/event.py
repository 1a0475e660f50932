"""The event card: what, where, when, and the schedule of heats."""

from datetime import date, datetime
from typing import Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator, model_validator

from pitwright.weekend.figures import Seconds, Speed
from pitwright.weekend.model import Line, Model, Name

__all__ = ["EventCard", "HeatKind", "ScheduledHeat", "SlowCorner", "Track"]

HeatKind = Literal["practice", "warm-up", "run-in", "qualifier", "main"]


class ScheduledHeat(Model):
    """A heat on the schedule; ``starts_at`` is the venue's wall clock."""

    name: Name
    kind: HeatKind
    round: int | None = Field(default=None, ge=1, le=99)
    starts_at: datetime
    minutes: float = Field(gt=0, le=24 * 60)

    @field_validator("starts_at")
    @classmethod
    def _wall_clock(cls, value: datetime) -> datetime:
        if value.tzinfo is not None:
            raise ValueError("write the venue's local time without an offset")
        return value


class SlowCorner(Model):
    """A corner slow enough for the clutch to slip on the way out, ``a_lap`` times in a lap."""

    label: Line = ""
    speed: Speed
    a_lap: int = Field(default=1, ge=1, le=30)


class Track(Model):
    """What the track asks of the clutch; ``lap`` stands in where no laps were kept."""

    lap: Seconds | None = None
    corner: list[SlowCorner] = Field(default_factory=list, max_length=30)


class EventCard(Model):
    """The weekend. Hand-written; never rewritten."""

    format: Literal[1]
    name: Line
    venue: Line = ""
    time_zone: Line
    starts_on: date
    ends_on: date
    racing_class: Line = ""
    driver: Line = ""
    heat: list[ScheduledHeat] = Field(default_factory=list)
    track: Track | None = None

    @field_validator("time_zone")
    @classmethod
    def _zone_exists(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(f"'{value}' is not a time zone such as \"Europe/Lisbon\"") from None
        return value

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.ends_on < self.starts_on:
            raise ValueError("'ends_on' lies before 'starts_on'")
        if (self.ends_on - self.starts_on).days > 31:
            raise ValueError("a weekend longer than a month is surely a slip in a date")
        seen: set[str] = set()
        for heat in self.heat:
            if heat.name.lower() in seen:
                raise ValueError(f"two heats are called '{heat.name}'")
            seen.add(heat.name.lower())
        return self

    @property
    def zone(self) -> ZoneInfo:
        """The venue's time zone."""
        return ZoneInfo(self.time_zone)
