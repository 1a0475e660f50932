"""A clutch card held against physics, which refuses, and against the trade's sizes, which ask.

What no clutch can be is refused, with both keys that do not go together. What one could be and
none in the trade is, is used as it stands and asked about: most often a unit is another one, or a
decimal point has moved.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from pitwright.mechanics.centrifugal import closing_factor
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure
from pitwright.weekend.problems import Problem

__all__ = ["PLAUSIBLE", "Plausible", "card_questions", "card_refusals"]


@dataclass(frozen=True)
class Plausible:
    """What a figure of a 1/8 or 1/10 clutch lies between, ends included, in the card's unit.

    ``asked`` is what is likely meant when it lies outside. A ``*`` in ``key`` stands for every
    name, or every entry of a list. The bounds are common practice, no source, unless ``source``
    says otherwise; they are wide enough for any clutch known to be built and narrow enough for a
    slip of ten.
    """

    key: str
    low: float
    high: float
    asked: str
    source: str = "common practice, no source"


_TEN: Final = "has a decimal point moved?"

PLAUSIBLE: Final = (
    Plausible("spring.wire_diameter", 0.5, 3.0, _TEN),
    Plausible("spring.mean_diameter", 4, 25, _TEN),
    Plausible("spring.active_coils", 1, 15, _TEN),
    Plausible("spring.total_coils", 1, 18, _TEN),
    Plausible("spring.solid_length", 1.5, 30, _TEN),
    Plausible("spring.free_length_new", 3, 40, _TEN),
    Plausible(
        "spring.shear_modulus", 35, 90, "GPa meant?",
        "titanium 40 to stainless and music wire 69 to 82 GPa in the handbooks' wire tables",
    ),
    Plausible("spring.softening_per_kelvin", 0.0001, 0.001, "per kelvin meant?"),
    Plausible("spring.hot_above_bench", 0, 250, "kelvin above the bench meant?"),
    Plausible("shoes.mass", 0.2, 10, "the mass of one shoe in grams meant?"),
    Plausible("shoes.mass_radius", 4, 30, _TEN),
    Plausible("shoes.clearance", 0.03, 2, _TEN),
    Plausible("shoes.thickness_new", 1, 15, _TEN),
    Plausible("shoes.bell_friction", 0.05, 0.8, "a friction number such as 0.3 meant?"),
    Plausible("shoes.face_friction", 0.01, 0.5, "a friction number such as 0.1 meant?"),
    Plausible("shoes.mass_lost_per_wear", 0.01, 3, "grams per mm meant?"),
    Plausible("wedge.angle", 15, 75, "measured from the radial plane?"),
    Plausible("wedge.friction", 0.01, 0.5, "a friction number such as 0.1 meant?"),
    Plausible("bell.bore_radius", 6, 30, "the radius meant, not the diameter?"),
    Plausible("bell.mass", 3, 120, "grams meant?"),
    Plausible("bell.specific_heat", 350, 1100, "J/(kg K) meant?", "titanium 520, steel 490, "
              "aluminium 900 J/(kg K) in handbooks"),
    Plausible("bell.heat_loss", 0.005, 2, "W/K meant?"),
    Plausible("bell.cools_in", 0.5, 60, "minutes meant?"),
    Plausible("shoes.friction_per_kelvin", -0.01, 0.01, "a share per kelvin meant?"),
    Plausible("bearings.life", 10, 3000, "minutes meant?"),
    Plausible("nut.pitch", 0.25, 1.75, _TEN, "ISO 261: fine and coarse threads of M3 to M12"),
    Plausible("nut.recess_bottomed", 0.1, 10, _TEN),
    Plausible("engine.torque", 0.05, 2, "N m, such as 0.40, meant?"),
    Plausible("engine.curve.*.torque", 0, 2, "N m, such as 0.40, meant?"),
    Plausible("engine.idle", 2500, 16000, "rpm meant?"),
    Plausible("engine.inertia", 5, 1500, "g cm^2 meant?"),
    Plausible("car.mass", 800, 8000, "the whole car in grams meant?"),
    Plausible("car.wheel_diameter", 40, 180, _TEN),
    Plausible("car.module", 0.3, 1.5, _TEN),
    Plausible("car.internal_ratio", 1, 6, _TEN),
    Plausible("car.grip", 0.2, 3, _TEN),
    Plausible("shims.end_play_target", 0.02, 1, _TEN),
    Plausible("thread_lock.handling", 1, 1440, "minutes meant?"),
    Plausible("fuel.tank", 40, 300, "ml meant?"),
    Plausible("targets.bite", 4000, 30000, "rpm meant?"),
    Plausible("torques.*", 0.03, 30, "N m meant?"),
    Plausible("instruments.*.resolution", 0.0001, 0.2, _TEN),
    Plausible("instruments.*.resolution_inch", 0.0001, 0.2, _TEN),
    Plausible("instruments.*.permissible_error", 0.0002, 0.3, _TEN),
    Plausible(
        "instruments.*.permissible_error_ratio", 0.005, 0.3, "a share such as 0.06 meant?",
        "ISO 6789-1 allows hand torque tools 4 and 6 %",
    ),
)  # fmt: skip
"""Every bound there is, by the card's key."""


def card_questions(card: ClutchCard, name: str) -> list[Problem]:
    """Return a question for each figure of the card in the file ``name`` that is hardly meant."""
    found = []
    for row in PLAUSIBLE:
        for key, figure in _figures(card, "", row.key.split(".")):
            if not row.low <= figure.value <= row.high:
                unit = f" {figure.unit}" if figure.unit else ""
                reason = (
                    f"{_said(figure)}: {row.asked} (usual is {row.low:g} to {row.high:g}{unit})"
                )
                found.append(Problem(name, key, reason, "", "question"))
    return found


def _said(figure: Figure) -> str:
    """Return a figure as it may have been written: 0.0817 GPa as 81.7 MPa."""
    if figure.unit == "GPa" and abs(figure.value) < 1:
        return f"{figure.value * 1000:g} MPa"
    return f"{figure.value:g} {figure.unit}".strip()


def _figures(at: object, path: str, parts: list[str]) -> Iterator[tuple[str, Figure]]:
    if at is None:
        return
    if isinstance(at, Figure):
        yield path, at
        return
    part, rest = parts[0], parts[1:]
    if isinstance(at, dict):
        for name, value in at.items():
            yield from _figures(value, f"{path}.{name}", rest)
    elif isinstance(at, list):
        for number, value in enumerate(at, 1):
            yield from _figures(value, f"{path}[{number}]", rest)
    else:
        yield from _figures(getattr(at, part), f"{path}.{part}".lstrip("."), rest)


def card_refusals(card: ClutchCard, name: str) -> list[Problem]:
    """Return what on the card in the file ``name`` no clutch can be: keys, and why."""
    return [Problem(name, key, reason) for key, reason in (*_signs(card), *_together(card))]


def _signs(card: ClutchCard) -> Iterator[tuple[str, str]]:
    """Yield what is nothing or less and has to be more."""
    spring, shoes, nut = card.spring, card.shoes, card.nut
    for key, figure in (
        ("spring.wire_diameter", spring.wire_diameter),
        ("spring.active_coils", spring.active_coils),
        ("spring.solid_length", spring.solid_length),
        ("spring.shear_modulus", spring.shear_modulus),
        ("shoes.mass", shoes.mass),
        ("shoes.mass_radius", shoes.mass_radius),
        ("shoes.clearance", shoes.clearance),
        ("shoes.thickness_new", shoes.thickness_new),
        ("shoes.bell_friction", shoes.bell_friction),
        ("nut.pitch", nut.pitch),
        ("nut.recess_bottomed", nut.recess_bottomed),
    ):
        if figure.value <= 0:
            yield key, f"is {_said(figure)}; it must be above zero"


def _together(card: ClutchCard) -> Iterator[tuple[str, str]]:
    """Yield pairs of figures that no clutch can have together."""
    spring, shoes, wedge, bell, nut = card.spring, card.shoes, card.wedge, card.bell, card.nut
    for low_key, low, high_key, high, why in (
        ("spring.wire_diameter", spring.wire_diameter, "spring.mean_diameter", spring.mean_diameter,
         "the coil would close on itself"),
        ("spring.active_coils", spring.active_coils, "spring.total_coils", spring.total_coils,
         "more coils would work than there are"),
        ("spring.solid_length", spring.solid_length, "spring.free_length_new",
         spring.free_length_new, "the spring could not be squeezed"),
        ("shoes.mass_radius", shoes.mass_radius, "bell.bore_radius", bell.bore_radius,
         "the shoes would lie outside the bell"),
        ("shoes.clearance", shoes.clearance, "bell.bore_radius", bell.bore_radius,
         "no room would be left for the shoes"),
        ("nut.recess_max", nut.recess_max, "nut.recess_bottomed", nut.recess_bottomed,
         "the spring is solid before the nut is there"),
        ("nut.recess_new_spring_low", nut.recess_new_spring_low, "nut.recess_new_spring_high",
         nut.recess_new_spring_high, "no recess would be right for a new spring"),
    ):  # fmt: skip
        equal_is_fine = low_key in ("nut.recess_max", "spring.active_coils")
        if low.value > high.value or (low.value == high.value and not equal_is_fine):
            yield low_key, f"is {_said(low)} against {high_key} {_said(high)}: {why}"
    for number, point in enumerate(spring.curve, 1):
        if point.length.value <= spring.solid_length.value:
            yield (
                f"spring.curve[{number}].length",
                f"is {_said(point.length)} against spring.solid_length "
                f"{_said(spring.solid_length)}: no spring goes beyond solid",
            )
    try:
        closing_factor(wedge.angle.si, wedge.friction.value, shoes.face_friction.value)
    except RangeError as error:
        frictions = (
            f"wedge.friction {_said(wedge.friction)} and shoes.face_friction "
            f"{_said(shoes.face_friction)}"
        )
        angle = f"{math.degrees(wedge.angle.si):g} deg"
        if error.argument == "wedge_angle":
            yield "wedge.angle", f"is {angle} with {frictions}: the wedge {error.reason}"
        else:
            yield _KEYS[error.argument], error.reason


_KEYS: Final = {"wedge_friction": "wedge.friction", "face_friction": "shoes.face_friction"}
