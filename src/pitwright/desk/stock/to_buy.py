"""What to buy: the stock left against what this weekend used."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.stock.parts import PLACE_WORDS, PlaceCount, StockDesk, stock_desk
from pitwright.desk.wording import mm
from pitwright.weekend.weekend import Weekend

__all__ = ["RULE", "ToBuy", "to_buy"]

RULE = (
    "Listed: a spring or shoe set when none unused is left; any part of which more were thrown "
    "away than are left unused; a shim thickness that is in use or was owned, with none in the "
    "tin; supplies below the number on your stock card."
)
"""By what rule things come on the list (our own, no source)."""


@dataclass(frozen=True)
class ToBuy:
    """One thing to buy: how many at least, and why."""

    what: str
    count: int
    why: str


def to_buy(weekend: Weekend, moment: datetime | None = None) -> tuple[ToBuy, ...]:
    """Return what to buy as the stock stands at ``moment`` (now when None)."""
    stock = stock_desk(weekend, moment)
    return (*_parts(stock), *_shims(stock), *_supplies(stock))


def _parts(stock: StockDesk) -> list[ToBuy]:
    found = []
    for count in stock.counts:
        always = count.place in ("spring", "shoes")
        wanted = max(count.thrown_away, 1 if always else 0)
        if count.unused < wanted:
            found.append(
                ToBuy(
                    PLACE_WORDS[count.place].capitalize(), wanted - count.unused, _part_why(count)
                )
            )
    return found


def _part_why(count: PlaceCount) -> str:
    left = f"{count.unused} unused left" if count.unused else "none unused left"
    return f"{left}, {count.thrown_away} thrown away" if count.thrown_away else left


def _shims(stock: StockDesk) -> list[ToBuy]:
    return [
        ToBuy(
            f"Shims {mm(s.mm, 2 if s.micrometres % 10 == 0 else 3)}",
            1,
            f"none in the tin, {s.fitted} fitted" if s.fitted else "none in the tin",
        )
        for s in stock.shims
        if s.in_tin == 0
    ]


def _supplies(stock: StockDesk) -> list[ToBuy]:
    return [
        ToBuy(s.label, s.buy_below - s.count, f"{s.count} left, buy below {s.buy_below}")
        for s in stock.supplies
        if s.count < s.buy_below
    ]
