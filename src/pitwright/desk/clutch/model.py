"""From card and state to the clutch the mechanics compute with, saying what was assumed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from pitwright.desk.sizes import only_a_bound
from pitwright.mechanics import nut, springs
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.engine import EngineTorque, constant_torque, torque_from_points
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.records import NutCalibration
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = [
    "ClutchModel",
    "NutFit",
    "UnknownClutchError",
    "clutch_model",
    "engine_curve",
    "input_u",
    "nut_fit",
    "reading_u",
    "spring_rate",
    "why",
]

_MM = 1e-3
_READ = frozenset({"recess", "free_length", "worn"})


class UnknownClutchError(Exception):
    """A figure the computation cannot do without has not been recorded; the message names it."""


_WORDS = {
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
class NutFit:
    """Pitch and bottomed recess in force [m]: the user's own pairs where there are some."""

    pitch: float
    u_pitch: float
    recess_bottomed: float
    u_recess_bottomed: float
    pairs: int


@dataclass(frozen=True)
class ClutchModel:
    """A clutch ready for the mechanics.

    ``u`` holds the standard uncertainty of each field that has one (SI), ``sources`` the record
    of each field that was measured; ``assumed`` says in words what stands on the card's figure
    because nothing was measured.
    """

    clutch: Clutch
    u: Mapping[str, float]
    sources: Mapping[str, str]
    nut: NutFit
    assumed: tuple[str, ...] = field(default=())

    @property
    def keys(self) -> Mapping[str, str]:
        """Each uncertain field's key: two models share a key when one error moves both.

        That is the record of a reading, or the card for what the card states.
        """
        return {
            name: f"{self.sources.get(name, 'typed' if name in _READ else 'card')}/{name}"
            for name in self.u
        }

    def moved(self, by: Mapping[str, float]) -> Clutch:
        """Return the clutch with inputs shifted by key; raises RangeError where it cannot be."""
        changes = {name: by[key] for name, key in self.keys.items() if by.get(key)}
        if not changes:
            return self.clutch
        return replace(self.clutch, **{n: getattr(self.clutch, n) + d for n, d in changes.items()})


def nut_fit(weekend: Weekend, card: ClutchCard) -> NutFit:
    """Return pitch and bottomed recess: fitted from recorded pairs, else the card's figures.

    One pair, or several at one setting, give the offset with the card's pitch. Records since the
    last calibration are not mixed with older ones: a nut put on again starts a new count.
    """
    u_card = card.nut.recess_bottomed.u_si or 0.0
    on_card = NutFit(
        card.nut.pitch.si, card.nut.pitch.u_si or 0.0, card.nut.recess_bottomed.si, u_card, 0
    )
    last = next(
        (
            r
            for r in reversed(weekend.log.records)
            if isinstance(r, NutCalibration) and r.clutch == card.id
        ),
        None,
    )
    if last is None:
        return on_card
    pairs = [(p.turns_out, p.recess_mm * _MM) for p in last.pairs]
    settings = len({turns for turns, _ in pairs})
    u_reading = reading_u(card, "recess")
    try:
        if settings < 2:
            fit = nut.calibrate(
                pairs,
                known_pitch=card.nut.pitch.si,
                u_known_pitch=card.nut.pitch.u_si or 0.0,
                u_recess=u_reading,
            )
        else:
            fit = nut.calibrate(pairs, u_recess=u_reading)
    except RangeError:
        return on_card
    return NutFit(fit.pitch, fit.u_pitch, fit.recess_bottomed, fit.u_recess_bottomed, len(pairs))


def reading_u(card: ClutchCard, quantity: str) -> float:
    """Return a standard uncertainty [m] for a reading whose record states none."""
    spec = card.quantities.get(quantity)
    tool = card.instruments.get(spec.instrument) if spec is not None else None
    if tool is None or tool.permissible_error is None:
        return 0.02 * _MM
    resolution = tool.resolution.si if tool.resolution is not None else 0.0
    return float((tool.permissible_error.si**2 / 3 + resolution**2 / 12) ** 0.5)


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
    running temperature. Raises UnknownClutchError when no recess is known, or only a bound of a
    figure it needs; RangeError when the figures do not make a working clutch.
    """
    card = weekend.card(state.clutch)
    recess = state.recess
    for quantity in ("free_length", "shoe_thickness", *(["recess"] if recess_mm is None else [])):
        refused = only_a_bound(state, card, quantity)
        if refused:
            raise UnknownClutchError(refused)
    if recess is None and recess_mm is None:
        raise UnknownClutchError("the nut recess has not been set or measured yet")
    assumed: list[str] = []
    sources: dict[str, str] = {}
    fit = nut_fit(weekend, card)
    u: dict[str, float] = {"recess_bottomed": fit.u_recess_bottomed}
    free = state.figure("free_length")
    if free is None:
        assumed.append("spring as new: its free length has not been measured")
        free_length = card.spring.free_length_new.si
    else:
        free_length = free.value_mm * _MM
        sources["free_length"] = free.record
        u["free_length"] = (free.u_mm * _MM) if free.u_mm else reading_u(card, "free_length")
    u["recess"] = reading_u(card, "recess")
    if recess is not None and recess_mm is None:
        sources["recess"] = recess.record
        u["recess"] = (recess.u_mm * _MM) if recess.u_mm else u["recess"]
        recess_mm = recess.value_mm
    assert recess_mm is not None
    thickness = state.figure("shoe_thickness")
    worn = 0.0
    if thickness is None:
        assumed.append("shoes as new: their thickness has not been measured")
    else:
        sources["worn"] = thickness.record
        worn = max(card.shoes.thickness_new.si - thickness.value_mm * _MM, 0.0)
        u["worn"] = (thickness.u_mm * _MM) if thickness.u_mm else reading_u(card, "shoe_thickness")
    for name, figure in (
        ("shoe_mass", card.shoes.mass),
        ("mass_radius", card.shoes.mass_radius),
        ("clearance", card.shoes.clearance),
        ("solid_length", card.spring.solid_length),
        ("bell_radius", card.bell.bore_radius),
        ("wedge_angle", card.wedge.angle),
        ("wedge_friction", card.wedge.friction),
        ("face_friction", card.shoes.face_friction),
        ("bell_friction", card.shoes.bell_friction),
        ("mass_lost_per_wear", card.shoes.mass_lost_per_wear),
    ):
        if figure.u_si:
            u[name] = figure.u_si
    rate, u_rate = spring_rate(card)
    if u_rate:
        u["spring_rate"] = u_rate
    rise = card.spring.hot_above_bench
    clutch = Clutch(
        shoes=card.shoes.count,
        shoe_mass=card.shoes.mass.si,
        mass_radius=card.shoes.mass_radius.si,
        clearance=card.shoes.clearance.si,
        bell_radius=card.bell.bore_radius.si,
        wedge_angle=card.wedge.angle.si,
        wedge_friction=card.wedge.friction.value,
        face_friction=card.shoes.face_friction.value,
        bell_friction=card.shoes.bell_friction.value,
        spring_rate=rate,
        free_length=free_length,
        solid_length=card.spring.solid_length.si,
        recess_bottomed=fit.recess_bottomed,
        recess=recess_mm * _MM,
        mass_lost_per_wear=card.shoes.mass_lost_per_wear.si,
        worn=worn,
        softening=card.spring.softening_per_kelvin.si if card.spring.softening_per_kelvin else 0.0,
        spring_temperature_rise=(rise.value if rise is not None and hot else 0.0),
    )
    return ClutchModel(clutch, u, sources, fit, tuple(assumed))


def input_u(models: Iterable[ClutchModel]) -> dict[str, float]:
    """Return the standard uncertainty of every input of some models, by key."""
    return {model.keys[name]: u for model in models for name, u in model.u.items()}


def spring_rate(card: ClutchCard) -> tuple[float, float]:
    """Return the spring's rate and its standard uncertainty [N/m] from the card's figures."""
    spring = card.spring
    rate = springs.rate(
        spring.shear_modulus.si,
        spring.wire_diameter.si,
        spring.mean_diameter.si,
        spring.active_coils.value,
    )
    # k = G d^4 / (8 D^3 Na): relative uncertainties add in quadrature, times the powers.
    shares = (
        power * (figure.u_si or 0.0) / figure.si
        for power, figure in (
            (1, spring.shear_modulus),
            (4, spring.wire_diameter),
            (3, spring.mean_diameter),
            (1, spring.active_coils),
        )
    )
    return rate, rate * math.hypot(*shares)
