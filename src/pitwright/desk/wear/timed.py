"""Parts that are changed by the clock: bearings, whose life no caliper shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.stock.parts import PartStock, stock_desk
from pitwright.desk.wear.forecast import part_forecasts
from pitwright.desk.wear.part_forecast import PartForecast, WearCells
from pitwright.desk.wear.to_come import to_come
from pitwright.desk.wording import minutes_words, running_words
from pitwright.weekend.places import PartPlace
from pitwright.weekend.weekend import Weekend

__all__ = ["TimedLife", "all_that_wears", "timed_lives"]


@dataclass(frozen=True)
class TimedLife:
    """A part's running against the life on the card [min]; nothing of it is measured.

    ``minutes_left`` is below zero when it is past its life, ``unknown_runs`` were not counted.
    ``change_before`` is the first heat to come in which it would pass its life, ``goal`` the last
    heat to come.
    """

    part: str
    label: str
    standing: str
    run_minutes: float
    unknown_runs: int
    life_minutes: float
    source: str
    goal: str = ""
    change_before: str | None = None
    place: PartPlace = "bearings"
    notes: tuple[str, ...] = ()

    @property
    def minutes_left(self) -> float:
        """Running left until the life on the card [min]."""
        return self.life_minutes - self.run_minutes

    @property
    def cells(self) -> WearCells:
        """The cells of its row in the list of what wears."""
        return self.label, self.standing, minutes_words(self.run_minutes), "", self._what

    @property
    def _what(self) -> str:
        if self.standing == "thrown away":
            return ""
        if self.minutes_left <= 0:
            return "past its life by time"
        if self.standing == "fitted" and self.change_before is not None:
            return f"change before {self.change_before}"
        return f"{self.minutes_left:.0f} min left by time"

    @property
    def sentences(self) -> tuple[str, ...]:
        """What it means, in sentences for the bench."""
        where = {"fitted": "fitted", "unused": "a spare", "used": "a spare"}.get(self.standing)
        ran = running_words(self.run_minutes, self.unknown_runs)
        lines = [f"{self.label}, {where or self.standing}: {ran}."]
        if where is None:
            return tuple(lines)
        life = f"Life {self.life_minutes:.0f} min by the card, {self.source}"
        if self.minutes_left <= 0:
            lines.append(f"{life}: it is past that. Change it.")
        else:
            lines.append(f"{life}: {self.minutes_left:.0f} min left.")
        if self.standing == "fitted" and self.change_before is not None and self.minutes_left > 0:
            lines.append(f"Change it before {self.change_before}: by its end it is past its life.")
        lines.append("Time alone tells it here: turn it by hand, and a rough one goes at once.")
        return tuple(lines)

    @property
    def short(self) -> str:
        """What it means, in a line."""
        return self._what or self.standing

    @property
    def table(self) -> tuple[str, ...]:
        """No figures stand behind the sentences."""
        return ()


def timed_lives(
    weekend: Weekend, now: datetime, clutch: str | None = None
) -> tuple[TimedLife, ...]:
    """Return the bearing sets against the card's life; none when the card has no life for them.

    Fitted first, thrown away last. Raises KeyError when there is no such clutch.
    """
    card = weekend.card(clutch)
    if card.bearings is None:
        return ()
    coming = to_come(weekend, now)
    life = card.bearings.life
    order = {"fitted": 0, "unused": 1, "used": 1, "thrown away": 2}
    found = []
    for part in stock_desk(weekend).parts:
        if part.place == "bearings" and part.on in (None, card.id):
            ahead = coming.heats if part.standing == "fitted" else ()
            found.append(
                TimedLife(
                    part.part,
                    part.label,
                    part.standing,
                    part.run_minutes,
                    part.unknown_runs,
                    life.value,
                    life.provenance,
                    ahead[-1].name if ahead else "",
                    _change_before(part, life.value, [(h.name, h.run_minutes) for h in ahead]),
                )
            )
    return tuple(sorted(found, key=lambda each: order[each.standing]))


def _change_before(part: PartStock, life: float, ahead: list[tuple[str, float]]) -> str | None:
    run = part.run_minutes
    for name, minutes in ahead:
        run += minutes
        if run > life + 1e-9:
            return name
    return None


def all_that_wears(
    weekend: Weekend, now: datetime, clutch: str | None = None
) -> tuple[PartForecast | TimedLife, ...]:
    """Return what is forecast from readings and what goes by the clock, fitted parts first."""
    order = {"fitted": 0, "thrown away": 2}
    found: tuple[PartForecast | TimedLife, ...] = (
        *part_forecasts(weekend, now, clutch),
        *timed_lives(weekend, now, clutch),
    )
    return tuple(sorted(found, key=lambda each: order.get(each.standing, 1)))
