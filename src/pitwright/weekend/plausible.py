"""What the figures of a clutch card are usually like: the trade's sizes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["PLAUSIBLE", "Plausible"]


@dataclass(frozen=True)
class Plausible:
    """What a figure of a 1/8 or 1/10 clutch lies between, ends included, in the card's unit.

    ``asked`` is what is likely meant when it lies outside. A ``*`` in ``key`` stands for every
    name, or every entry of a list; what holds for ``spring`` and ``shoes`` holds for their kinds.
    The bounds are common practice, no source, unless ``source``
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
    Plausible("spring.curve.*.force", 0, 400, "newtons, or a scale's grams, meant?"),
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
