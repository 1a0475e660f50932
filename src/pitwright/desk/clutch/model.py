"""From card and state to the clutch the mechanics compute with, saying what was assumed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pitwright.desk.clutch.clearance import gap, worn_shoes
from pitwright.desk.clutch.doubts import Doubt, merged
from pitwright.desk.clutch.fitted import Fitted, fitted
from pitwright.desk.clutch.nut_thread import NutFit, nut_fit
from pitwright.desk.clutch.readings import reading_u
from pitwright.desk.clutch.spring_law import shape_doubts, spring_law
from pitwright.desk.sizes import only_a_bound
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.engine import EngineTorque, constant_torque, torque_from_points
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure
from pitwright.weekend.priors import FigureKind, figure_u
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = [
    "ClutchModel",
    "UnknownClutchError",
    "clutch_model",
    "engine_curve",
    "heat_doubts",
    "input_u",
    "why",
]

_MM = 1e-3
_UNSEEN_SAG = 0.15 * _MM
"""Doubt of the length of a spring that has run and was never measured; judgement, no source."""


class UnknownClutchError(Exception):
    """A figure the computation cannot do without has not been recorded; the message names it."""


_WORDS = {
    "curve": "the spring's curve",
    "recess": "the nut recess",
    "free_length": "the free length",
    "worn": "the shoe wear",
    "wedge_angle": "the wedge",
    "face_friction": "the face friction",
    "spring_temperature_rise": "the spring's temperature",
    "speed": "the engine speed",
    "engine": "the engine's torque",
    "s_scale": "an observed speed",
    "t_scale": "an observed speed",
}


def why(error: RangeError) -> str:
    """Return a refusal of the mechanics in words for the bench."""
    return f"{_WORDS.get(error.argument, error.argument.replace('_', ' '))} {error.reason}"


@dataclass(frozen=True)
class ClutchModel:
    """A clutch ready for the mechanics.

    ``doubts`` are the independent errors it stands on, by key: two models share a key when one
    error moves both (a reading, or a figure of the card). ``sources`` is the record of each field
    that was measured; ``assumed`` says in words what stands on the card's figure because nothing
    was measured; ``disagrees`` what was measured and does not fit the rest.
    """

    clutch: Clutch
    doubts: Mapping[str, Doubt]
    sources: Mapping[str, str]
    nut: NutFit
    fitted: Fitted
    assumed: tuple[str, ...] = field(default=())
    disagrees: tuple[str, ...] = field(default=())

    @property
    def u(self) -> Mapping[str, float]:
        """The standard uncertainty of each field that has one (SI)."""
        squares: dict[str, float] = {}
        for doubt in self.doubts.values():
            for name, by in doubt.moves.items():
                squares[name] = squares.get(name, 0.0) + (by * doubt.u) ** 2
        return {name: math.sqrt(square) for name, square in squares.items() if square}

    def own_effect(self, slopes: Mapping[str, float]) -> float:
        """Return the standard uncertainty that readings of this state alone give a result.

        ``slopes`` is what one of each field moves the result by.
        """
        return math.hypot(
            *(
                doubt.u * sum(by * slopes.get(name, 0.0) for name, by in doubt.moves.items())
                for doubt in self.doubts.values()
                if doubt.own
            )
        )

    def moved(self, by: Mapping[str, float]) -> Clutch:
        """Return the clutch with its errors moved by key; raises RangeError where it cannot be."""
        changes: dict[str, float] = {}
        for key, doubt in self.doubts.items():
            if by.get(key):
                for name, slope in doubt.moves.items():
                    changes[name] = changes.get(name, 0.0) + slope * by[key]
        if not changes:
            return self.clutch
        return replace(self.clutch, **{n: getattr(self.clutch, n) + d for n, d in changes.items()})

    def changed(self, **fields: Any) -> ClutchModel:
        """Return it with fields of its clutch at other values; RangeError where it cannot be."""
        clutch = replace(self.clutch, **fields)
        shape = shape_doubts(self.fitted, self.clutch)
        doubts = {key: doubt for key, doubt in self.doubts.items() if key not in shape}
        return replace(self, clutch=clutch, doubts=doubts | shape_doubts(self.fitted, clutch))


def engine_curve(card: ClutchCard) -> EngineTorque:
    """Return the card's engine torque curve.

    Raises RangeError when its points do not make a curve.
    """
    if len(card.engine.curve) >= 2:
        return torque_from_points([(p.speed.si, p.torque.si) for p in card.engine.curve])
    assert card.engine.torque is not None  # the card's own check
    return constant_torque(card.engine.torque.si)


def clutch_model(
    weekend: Weekend, state: State, *, recess_mm: float | None = None, hot: bool = False
) -> ClutchModel:
    """Return the clutch of ``state`` as the mechanics see it, uncalibrated.

    ``recess_mm`` stands in for the recess of the state; ``hot`` softens the spring by the card's
    running temperature. For another spring or shoe set, at its own length and wear, give
    ``state.refitted(card, "spring", "S2")``. Raises UnknownClutchError when no recess is known, or
    only a bound of a figure it needs; RangeError when the figures do not make a working clutch.
    """
    card = weekend.card(state.clutch)
    recess = state.recess
    for quantity in ("free_length", "shoe_thickness", *(["recess"] if recess_mm is None else [])):
        refused = only_a_bound(state, card, quantity)
        if refused:
            raise UnknownClutchError(refused)
    if recess is None and recess_mm is None:
        raise UnknownClutchError("the nut recess has not been set or measured yet")
    sources: dict[str, str] = {}
    on = fitted(weekend, card, state)
    fit = nut_fit(weekend, card)
    free_length, free_doubt, assumed = _free_length(card, on, state, sources)
    if recess is not None and recess_mm is None:
        sources["recess"] = recess.record
        u_recess = (recess.u_mm * _MM) if recess.u_mm else reading_u(card, "recess")
        recess_mm = recess.value_mm
    else:
        u_recess = reading_u(card, "recess")
    assert recess_mm is not None
    worn = worn_shoes(card, on.shoes, state, on.tables)
    room = gap(weekend, card, on.shoes, state, worn, on.tables)
    for name, record in (
        ("worn", worn.record), ("clearance", room.read), ("bell_radius", room.bore)
    ):  # fmt: skip
        if record is not None:
            sources[name] = record
    rate, curve, rate_doubts = spring_law(on)
    softening, rise = on.spring.softening_per_kelvin, on.spring.hot_above_bench
    warm = hot and rise is not None and softening is not None
    doubts = merged(
        (
            {
                f"{sources.get('recess', 'typed')}/recess": Doubt(
                    u_recess, {"recess": 1.0}, own=True
                ),
                "nut/recess_bottomed": Doubt(fit.u_recess_bottomed, {"recess_bottomed": 1.0}),
            },
            free_doubt,
            worn.doubts,
            room.doubts,
            rate_doubts,
            _card_doubts(card, on),
            heat_doubts(on) if warm else {},
        )
    )
    clutch = Clutch(
        shoes=card.shoes.count,
        shoe_mass=on.shoes.mass.si,
        mass_radius=on.shoes.mass_radius.si,
        clearance=room.clearance,
        bell_radius=room.bell_radius,
        wedge_angle=card.wedge.angle.si,
        wedge_friction=card.wedge.friction.value,
        face_friction=on.shoes.face_friction.value,
        bell_friction=on.shoes.bell_friction.value,
        spring_rate=rate,
        free_length=free_length,
        solid_length=on.spring.solid_length.si,
        recess_bottomed=fit.recess_bottomed,
        recess=recess_mm * _MM,
        mass_lost_per_wear=on.shoes.mass_lost_per_wear.si,
        worn=worn.value,
        softening=softening.si if softening is not None else 0.0,
        spring_temperature_rise=rise.value if rise is not None and warm else 0.0,
        curve=curve,
        kinds=on.kinds,
    )
    return ClutchModel(
        clutch,
        doubts | shape_doubts(on, clutch),
        sources,
        fit,
        on,
        tuple(each for each in (assumed, worn.assumed, room.assumed) if each),
        tuple(each for each in (room.disagrees,) if each),
    )


def input_u(models: Iterable[ClutchModel]) -> dict[str, float]:
    """Return the standard uncertainty of every error of some models, by key."""
    return {key: doubt.u for model in models for key, doubt in model.doubts.items() if doubt.u}


def _free_length(
    card: ClutchCard, on: Fitted, state: State, sources: dict[str, str]
) -> tuple[float, dict[str, Doubt], str]:
    free = state.figure("free_length")
    if free is not None:
        sources["free_length"] = free.record
        u = (free.u_mm * _MM) if free.u_mm else reading_u(card, "free_length")
        return (
            free.value_mm * _MM,
            {f"{free.record}/free_length": Doubt(u, {"free_length": 1.0}, own=True)},
            "",
        )
    part, new = state.spring, on.spring.free_length_new
    ran = part is None or part.run_minutes > 0 or part.unknown_runs > 0
    u = figure_u(new, "length").si + (_UNSEEN_SAG if ran else 0.0)
    key = f"{'unknown' if part is None else part.part}/free_length"
    return (
        new.si,
        {key: Doubt(u, {"free_length": 1.0})},
        "spring as new: its free length has not been measured",
    )


def _card_doubts(card: ClutchCard, on: Fitted) -> dict[str, Doubt]:
    """Return the errors of what the mechanics take from the card as it stands there."""
    shoes, found = on.shoes, {}
    figures: tuple[tuple[str, str, Figure, FigureKind], ...] = (
        ("shoe_mass", "mass", shoes.mass, "mass"),
        ("mass_radius", "mass_radius", shoes.mass_radius, "centre of mass"),
        ("solid_length", "solid_length", on.spring.solid_length, "length"),
        ("wedge_angle", "", card.wedge.angle, "angle"),
        ("wedge_friction", "", card.wedge.friction, "friction"),
        ("face_friction", "face_friction", shoes.face_friction, "friction"),
        ("bell_friction", "bell_friction", shoes.bell_friction, "friction"),
        ("mass_lost_per_wear", "mass_lost_per_wear", shoes.mass_lost_per_wear, "share of mass"),
    )
    for name, field_name, figure, kind in figures:
        table = on.tables.get(field_name, "card")
        found[f"{table}/{name}"] = Doubt(figure_u(figure, kind).si, {name: 1.0})
    return found


def heat_doubts(on: Fitted) -> dict[str, Doubt]:
    """Return the errors that enter with a hot spring."""
    found = {}
    rise, softening = on.spring.hot_above_bench, on.spring.softening_per_kelvin
    if rise is not None:
        u = figure_u(rise, "rise").own
        found["card/spring_temperature_rise"] = Doubt(u, {"spring_temperature_rise": 1.0})
    if softening is not None:
        u = figure_u(softening, "softening").si
        found["card/softening"] = Doubt(u, {"softening": 1.0})
    return found
