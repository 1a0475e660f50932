"""The parts owned, as written down by hand; the log says what became of them."""

from typing import Literal, Self

from pydantic import Field, model_validator

from pitwright.weekend.figures import Length, Mass
from pitwright.weekend.model import Line, Model, Name
from pitwright.weekend.places import PartPlace

__all__ = ["Part", "ShimStock", "Stock", "Supply"]


class Part(Model):
    """One part, or one set, that keeps its own history.

    ``mass`` is what one shoe of a set weighed new, where that was weighed.
    """

    id: Name
    label: Line
    kind: Line = ""
    run_minutes: float = Field(default=0.0, ge=0)
    note: Line = ""
    mass: Mass | None = None


class ShimStock(Model):
    """Shims of one thickness in the tin."""

    thickness: Length
    count: int = Field(ge=0, le=999)


class Supply(Model):
    """Things counted, not followed one by one: bearings, screws, thread-lock."""

    name: Name
    label: Line
    count: int = Field(ge=0, le=9999)
    buy_below: int = Field(default=1, ge=0)


class Stock(Model):
    """Springs, shoe sets, bells, pinions, bearings and shims owned."""

    format: Literal[1]
    spring: list[Part] = Field(default_factory=list)
    shoes: list[Part] = Field(default_factory=list)
    bell: list[Part] = Field(default_factory=list)
    pinion: list[Part] = Field(default_factory=list)
    bearings: list[Part] = Field(default_factory=list)
    shim: list[ShimStock] = Field(default_factory=list)
    supply: list[Supply] = Field(default_factory=list)

    def parts(self, place: PartPlace) -> list[Part]:
        """Return the parts owned for ``place``."""
        return list(getattr(self, place))

    @model_validator(mode="after")
    def _ids_differ(self) -> Self:
        seen: set[str] = set()
        for part in (*self.spring, *self.shoes, *self.bell, *self.pinion, *self.bearings):
            if part.id.lower() in seen:
                raise ValueError(f"two parts are called '{part.id}'")
            seen.add(part.id.lower())
        microns = [round(s.thickness.value * 1000) for s in self.shim]
        if len(set(microns)) != len(microns):
            raise ValueError("two 'shim' entries have the same thickness; add their counts")
        return self
