"""What to buy: the stock left against what this weekend used."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.stock.parts import PLACE_WORDS, PartStock, PlaceCount, StockDesk, stock_desk
from pitwright.desk.wording import mm
from pitwright.weekend.weekend import Weekend

__all__ = ["RULE", "ToBuy", "to_buy"]

RULE = (
    "Listed: a shoe set when none unused is left; as many springs as new ones were taken into use "
    "this weekend; any part of which more were thrown away or are past their time than are left "
    "unused; a shim thickness that is in use or was owned, with none in the tin; supplies below "
    "the number on your stock card."
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
    return (*_parts(weekend, stock), *_shims(stock), *_supplies(stock))


def _parts(weekend: Weekend, stock: StockDesk) -> list[ToBuy]:
    found = []
    for count in stock.counts:
        due = sum(1 for p in stock.parts if p.place == count.place and _past_its_time(weekend, p))
        wanted = count.thrown_away + due
        if count.place == "spring":  # the next weekend will take as many
            wanted = max(wanted, count.started)
        if count.place in ("spring", "shoes"):
            wanted = max(wanted, 1)
        if count.unused < wanted:
            what = PLACE_WORDS[count.place].capitalize()
            found.append(ToBuy(what, wanted - count.unused, _part_why(count, due)))
    return found


def _past_its_time(weekend: Weekend, part: PartStock) -> bool:
    """Tell whether bearings still owned have run longer than the card gives them."""
    if part.place != "bearings" or part.standing in ("thrown away", "unused"):
        return False
    card = weekend.card(part.on)
    return card.bearings is not None and part.run_minutes >= card.bearings.life.value


def _part_why(count: PlaceCount, due: int) -> str:
    told = [f"{count.unused} unused left" if count.unused else "none unused left"]
    if count.place == "spring" and count.started:
        told.append(f"{count.started} new ones used this weekend")
    told += [f"{count.thrown_away} thrown away"] if count.thrown_away else []
    told += [f"{due} past the life on the card"] if due else []
    return ", ".join(told)


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
