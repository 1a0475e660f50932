"""Shoe wear by slip heat: thickness lost per kilojoule, from the shoes' own readings."""

from __future__ import annotations

from dataclasses import dataclass

from pitwright.desk.bite.bite import Prepared
from pitwright.desk.clutch.model import UnknownClutchError, clutch_model
from pitwright.desk.warmth.course import WarmthInputs
from pitwright.desk.wear.history import WEARS, wear_histories
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.shoe_wear import WornReading, wear_rate
from pitwright.weekend.records import HeatRun

__all__ = ["ShoeHeat", "shoe_heat"]

_MM = 1e-3


@dataclass(frozen=True)
class ShoeHeat:
    """Thickness lost per slip heat [micrometre/kJ] with its standard uncertainty."""

    um_per_kj: float
    u_um_per_kj: float
    readings: int


def shoe_heat(prepared: Prepared, inputs: WarmthInputs) -> ShoeHeat | None:
    """Return what slip heat wears off, by every shoe set's readings; None while it is not known.

    Each set's heat is the sum over its runs, on the clutch as it was set in each. A set with a
    run that nobody timed counts from its end, as in the wear forecast.
    """
    weekend, card = prepared.weekend, prepared.card
    joules: dict[str, list[tuple[float, float]]] = {}
    for record, before, after in weekend.walk(card):
        if not isinstance(record, HeatRun) or after.shoes is None:
            continue
        part = after.shoes
        try:
            clutch = prepared.scales.applied_to(clutch_model(weekend, before).clutch)
            power = inputs.lap_energy(inputs.take_up(clutch)) / inputs.lap_s
        except (UnknownClutchError, RangeError):
            return None
        ran = part.run_minutes - (before.parts[part.part].run_minutes)
        so_far = joules.setdefault(part.part, [(before.parts[part.part].run_minutes, 0.0)])
        so_far.append((part.run_minutes, so_far[-1][1] + power * ran * 60))
    read = [
        WornReading(
            h.part, _energy_at(joules.get(h.part, []), p.minutes), p.value_mm * _MM, p.u_mm * _MM
        )
        for h in wear_histories(weekend, card.id)
        if h.quantity == WEARS["shoes"] and not h.since
        for p in h.points
        if p.u_mm > 0 and p.value_mm > 0
    ]
    try:
        found = wear_rate(read)
    except RangeError:
        return None
    return ShoeHeat(found.per_joule * 1e9, found.u_per_joule * 1e9, found.readings)


def _energy_at(course: list[tuple[float, float]], minutes: float) -> float:
    """Return the slip heat [J] a set had taken when it had run so many minutes."""
    return max((joules for ran, joules in course if ran <= minutes + 1e-6), default=0.0)
