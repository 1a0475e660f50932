"""From card and state to the clutch the mechanics compute with, saying what was assumed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from pitwright.mechanics import calibration, nut, springs
from pitwright.mechanics.calibration import Calibration, Creep, Plateau
from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.engine import EngineTorque, constant_torque, torque_from_points
from pitwright.mechanics.errors import RangeError
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.records import NutCalibration, Observation
from pitwright.weekend.state import State, walk
from pitwright.weekend.weekend import Weekend

__all__ = [
    "ClutchModel",
    "NutFit",
    "ObservationUsed",
    "UnknownClutchError",
    "calibrated",
    "clutch_model",
    "engine_curve",
    "nut_fit",
]

_MM = 1e-3
_OBSERVATION_U_RPM = {"tachometer": 200.0, "recording": 300.0, "by ear": 800.0}
"""Standard uncertainty taken for an observation that states none; from memory, no source."""


class UnknownClutchError(Exception):
    """A figure the computation cannot do without has not been recorded; the message names it."""


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
    u_reading = _reading_u(card, "recess")
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


def _reading_u(card: ClutchCard, quantity: str) -> float:
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
    running temperature. Raises UnknownClutchError when no recess is known, RangeError when the
    figures do not make a working clutch.
    """
    card = weekend.card(state.clutch)
    recess = state.recess
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
        u["free_length"] = (free.u_mm * _MM) if free.u_mm else _reading_u(card, "free_length")
    u["recess"] = _reading_u(card, "recess")
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
        u["worn"] = (thickness.u_mm * _MM) if thickness.u_mm else _reading_u(card, "shoe_thickness")
    for name, figure in (
        ("shoe_mass", card.shoes.mass),
        ("mass_radius", card.shoes.mass_radius),
        ("clearance", card.shoes.clearance),
        ("solid_length", card.spring.solid_length),
    ):
        if figure.u_si:
            u[name] = figure.u_si
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
        spring_rate=springs.rate(
            card.spring.shear_modulus.si,
            card.spring.wire_diameter.si,
            card.spring.mean_diameter.si,
            card.spring.active_coils.value,
        ),
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


@dataclass(frozen=True)
class ObservationUsed:
    """An observed speed; ``why_not`` says what barred the calibration from using it."""

    record: str
    how: str
    rpm: float
    u_rpm: float
    why_not: str = ""


def calibrated(
    weekend: Weekend, clutch: str | None = None
) -> tuple[Calibration, tuple[ObservationUsed, ...]]:
    """Fit the two scales from every observation, each on the state it was made in."""
    card = weekend.card(clutch)
    curve = engine_curve(card)
    creeps: list[Creep] = []
    plateaus: list[Plateau] = []
    used: list[ObservationUsed] = []
    for record, before, _after in walk(card, weekend.stock, weekend.log.records):
        if not isinstance(record, Observation):
            continue
        u_rpm = record.u_rpm or _OBSERVATION_U_RPM[record.source]
        seen = ObservationUsed(record.id, record.how, record.rpm, u_rpm)
        speed, u_speed = to_si(record.rpm, "rpm"), to_si(u_rpm, "rpm")
        try:
            model = clutch_model(weekend, before).clutch
            if record.how == "creep":
                creep = Creep(model, speed, u_speed)
                calibration.calibrate([creep], [])
                creeps.append(creep)
            else:
                plateau = Plateau(model, speed, u_speed, curve.at(speed))
                calibration.calibrate([], [plateau])
                plateaus.append(plateau)
        except (UnknownClutchError, RangeError) as error:
            seen = replace(seen, why_not=str(error))
        used.append(seen)
    try:
        return calibration.calibrate(creeps, plateaus), tuple(used)
    except RangeError as error:
        barred = tuple(replace(s, why_not=s.why_not or str(error)) for s in used)
        return calibration.UNCALIBRATED, barred
