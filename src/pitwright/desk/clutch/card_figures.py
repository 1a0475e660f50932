"""The card's figures that the clutch is reckoned from, each with its source and its doubt."""

from __future__ import annotations

from dataclasses import dataclass

from pitwright.desk.clutch.fitted import Fitted
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure
from pitwright.weekend.priors import PRIORS, FigureKind, figure_u

__all__ = ["CardFigure", "card_figures", "card_lines"]


@dataclass(frozen=True)
class CardFigure:
    """A figure with its source. ``u`` is its standard uncertainty in ``unit``.

    ``stated`` tells that the card states it; else it is the width taken by kind and source, and
    ``because`` is the reason for that. ``table`` is where the figure stands.
    """

    table: str
    name: str
    value: float
    unit: str
    provenance: str
    u: float
    stated: bool
    because: str


def card_figures(card: ClutchCard, on: Fitted) -> tuple[CardFigure, ...]:
    """Return every figure of the card that bite, launch, nut and warmth stand on."""
    spring, shoes = on.spring, on.shoes
    rows: list[tuple[str, str, Figure | None, FigureKind]] = [
        ("spring", "wire_diameter", spring.wire_diameter, "wire"),
        ("spring", "mean_diameter", spring.mean_diameter, "length"),
        ("spring", "active_coils", spring.active_coils, "coils"),
        ("spring", "solid_length", spring.solid_length, "length"),
        ("spring", "shear_modulus", spring.shear_modulus, "modulus"),
        ("spring", "free_length_new", spring.free_length_new, "length"),
        ("spring", "softening_per_kelvin", spring.softening_per_kelvin, "softening"),
        ("spring", "hot_above_bench", spring.hot_above_bench, "rise"),
        ("shoes", "mass", shoes.mass, "mass"),
        ("shoes", "mass_radius", shoes.mass_radius, "centre of mass"),
        ("shoes", "clearance", shoes.clearance, "length"),
        ("shoes", "thickness_new", shoes.thickness_new, "length"),
        ("shoes", "bell_friction", shoes.bell_friction, "friction"),
        ("shoes", "face_friction", shoes.face_friction, "friction"),
        ("shoes", "mass_lost_per_wear", shoes.mass_lost_per_wear, "share of mass"),
        ("shoes", "friction_per_kelvin", shoes.friction_per_kelvin, "fade"),
        ("shoes", "friction_known_at", shoes.friction_known_at, "temperature"),
        ("wedge", "angle", card.wedge.angle, "angle"),
        ("wedge", "friction", card.wedge.friction, "friction"),
        ("bell", "bore_radius", card.bell.bore_radius, "length"),
        ("bell", "heat_loss", card.bell.heat_loss, "cooling"),
        ("bell", "cools_in", card.bell.cools_in, "cooling"),
        ("nut", "pitch", card.nut.pitch, "ratio"),
        ("nut", "recess_bottomed", card.nut.recess_bottomed, "length"),
        ("engine", "torque", card.engine.torque, "torque"),
        ("engine", "idle", card.engine.idle, "speed"),
        ("engine", "inertia", card.engine.inertia, "inertia"),
    ]
    for number, point in enumerate(spring.curve, 1):
        rows += [
            ("spring", f"curve[{number}].length", point.length, "length"),
            ("spring", f"curve[{number}].force", point.force, "force"),
        ]
    if card.car is not None:
        rows += [
            ("car", "mass", card.car.mass, "mass"),
            ("car", "wheel_diameter", card.car.wheel_diameter, "length"),
            ("car", "internal_ratio", card.car.internal_ratio, "ratio"),
            ("car", "grip", card.car.grip, "grip"),
        ]

    def whose(table: str, name: str) -> str:
        own = table in ("spring", "shoes")
        return on.tables.get(name.partition("[")[0], table) if own else table

    return tuple(_row(whose(t, name), name, f, kind) for t, name, f, kind in rows if f is not None)


def _row(table: str, name: str, figure: Figure, kind: FigureKind) -> CardFigure:
    u = figure_u(figure, kind)
    because = "" if u.stated else PRIORS[kind].because
    unit, from_ = figure.unit, figure.provenance
    return CardFigure(table, name, figure.value, unit, from_, u.own, u.stated, because)


def _two_digits(value: float) -> str:
    return f"{float(f'{value:.2g}'):.8f}".rstrip("0").rstrip(".") if value else "0"


def card_lines(found: tuple[CardFigure, ...]) -> list[str]:
    """Return the figures as lines, each with twice its standard uncertainty."""
    lines = ["Figure, source, and give or take (twice its standard uncertainty)"]
    table = ""
    for each in found:
        if each.table != table:
            table = each.table
            lines.append(f"  [{table}]")
        value = f"{each.value:g} ± {_two_digits(2 * each.u)} {each.unit}".strip()
        whose = "the card's" if each.stated else "by judgement"
        lines.append(f"    {each.name:<21}{value:<20} {each.provenance:<16}{whose}")
    reasons = dict.fromkeys(each.because for each in found if each.because)
    lines += ["", "By judgement, where the card states no u; write yours beside the figure:"]
    return [*lines, *(f"    {reason}" for reason in reasons)]
