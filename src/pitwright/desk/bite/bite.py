"""The bite: where the clutch takes up, lets go and locks, now, as tried, and in another heat."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from pitwright.desk.bite.curves import Curve, curves
from pitwright.desk.bite.figures import (
    BiteFigures,
    Change,
    PerTenth,
    change_between,
    figures_of,
    per_tenth,
)
from pitwright.desk.bite.ways import ways_to_bite
from pitwright.desk.clutch.air import AirDesk, AirRead, air_desk, air_of
from pitwright.desk.clutch.fitted import Fitted, fitted
from pitwright.desk.clutch.model import (
    ClutchModel,
    UnknownClutchError,
    clutch_model,
    engine_curve,
    heat_doubts,
    why,
)
from pitwright.desk.clutch.observed import Observed, Sighting, observed
from pitwright.desk.nut.reference import reference_heat
from pitwright.mechanics.engine import EngineTorque, corrected_for_air
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.priors import figure_u
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["BiteDesk", "BiteFigures", "Change", "Prepared", "Tries", "bite_desk", "prepare"]

_RPM = 30 / math.pi
_MM = 1e-3


@dataclass(frozen=True)
class Tries:
    """What the user tries: values that stand in for those in force [mm], a hot spring, the air."""

    recess_mm: float | None = None
    free_length_mm: float | None = None
    worn_mm: float | None = None
    hot: bool = False
    air: AirRead | None = None

    @property
    def any(self) -> bool:
        """Whether anything is tried at all."""
        return self != NOTHING_TRIED


NOTHING_TRIED = Tries()


@dataclass(frozen=True)
class BiteDesk:
    """All the Bite screen and its command show.

    ``now`` is the clutch as it stands, ``tried`` with the user's tries (the same without any),
    ``like`` the clutch of the compared heat. ``since_now`` is tried less now, ``since_like`` tried
    less like. ``calibrated`` is whether a creep speed was observed on this clutch. ``ways`` says
    what would let a clutch bite that cannot.
    """

    clutch: str
    moment: datetime | None
    now: BiteFigures
    tried: BiteFigures
    like: BiteFigures | None
    like_unknown: str
    since_now: Change | None
    since_like: Change | None
    per_tenth: PerTenth | None
    calibrated: bool
    lock_up_calibrated: bool
    scatter: float
    observations: tuple[Sighting, ...]
    idle_rpm: float | None
    target_rpm: float | None
    tries: Tries
    air: AirDesk | None
    lock_up_by_air_rpm: float | None
    cautions: tuple[str, ...]
    curves: tuple[Curve, ...]
    ways: tuple[str, ...] = ()


@dataclass(frozen=True)
class Prepared:
    """What does not change while the user tries things; make it with ``prepare``."""

    weekend: Weekend
    card: ClutchCard
    moment: datetime | None
    engine: EngineTorque
    scales: Observed
    now: ClutchModel | None
    unknown: str
    like: ClutchModel | None
    like_heat: HeatOnClutch | None
    like_unknown: str

    @cached_property
    def fitted(self) -> Fitted:
        """The figures of what is fitted, by kind."""
        return fitted(self.weekend, self.card, self.weekend.state(self.moment, self.card.id))

    @cached_property
    def idle(self) -> float | None:
        """Idle speed [rad/s], where the card has it."""
        return self.card.engine.idle.si if self.card.engine.idle is not None else None

    @cached_property
    def u_idle(self) -> float:
        """Its standard uncertainty [rad/s]."""
        idle = self.card.engine.idle
        return 0.0 if idle is None else figure_u(idle, "speed").si

    @cached_property
    def now_figures(self) -> BiteFigures:
        """The clutch as it stands, in the engine's reference air."""
        return figures_of(
            "now", self.now, self.unknown, self.scales, self.engine, self.idle, self.u_idle
        )

    @cached_property
    def like_figures(self) -> BiteFigures | None:
        """The compared heat's clutch, in the engine's reference air."""
        if self.like is None or self.like_heat is None:
            return None
        label = self.like_heat.run.heat
        return figures_of(label, self.like, "", self.scales, self.engine, self.idle, self.u_idle)


def prepare(
    weekend: Weekend,
    *,
    clutch: str | None = None,
    like: str | None = None,
    moment: datetime | None = None,
    recess_mm: float | None = None,
) -> Prepared:
    """Gather what the bite stands on: models, calibration and the compared heat.

    ``like`` names a heat (the last one with known figures when None); ``recess_mm`` stands in
    where no recess is known yet. Raises KeyError when there is no such clutch.
    """
    card = weekend.card(clutch)
    state = weekend.state(moment, clutch)
    now, unknown = None, ""
    try:
        stand_in = recess_mm if state.recess is None else None
        now = clutch_model(weekend, state, recess_mm=stand_in)
        if stand_in is not None:
            taken = f"recess never set or read: taken as {stand_in:.2f} mm"
            now = replace(now, assumed=(taken, *now.assumed))
    except UnknownClutchError as error:
        unknown = str(error)
    except RangeError as error:
        unknown = why(error)
    heat = reference_heat(weekend, card, like)
    like_model, like_unknown = None, heat if isinstance(heat, str) else ""
    if not isinstance(heat, str):
        try:
            like_model = clutch_model(weekend, heat.state)
        except (UnknownClutchError, RangeError) as error:
            reason = why(error) if isinstance(error, RangeError) else str(error)
            like_unknown = f"{heat.run.heat}: {reason}"
    return Prepared(
        weekend,
        card,
        state.moment,
        engine_curve(card),
        observed(weekend, card),
        now,
        unknown,
        like_model,
        None if isinstance(heat, str) else heat,
        like_unknown,
    )


def bite_desk(prepared: Prepared, tries: Tries = NOTHING_TRIED) -> BiteDesk:
    """Return every figure of the bite, with what the user tries."""
    card, scales = prepared.card, prepared.scales
    air = air_desk(tries.air) if tries.air is not None else None
    engine = prepared.engine
    if air is not None and air.factor is not None:
        engine = corrected_for_air(engine, air.factor)
    like_engine = prepared.engine
    if air is not None and prepared.like_heat is not None:
        like_air = air_of(prepared.like_heat.run.conditions)
        factor = air_desk(like_air).factor if like_air is not None else None
        if factor is not None:
            like_engine = corrected_for_air(like_engine, factor)
    tried_model, refused = _tried(card, prepared.now, tries)
    now, like = prepared.now_figures, prepared.like_figures
    tried = replace(now, label="tried")
    if tries.any:
        tried = figures_of(
            "tried",
            tried_model,
            refused or prepared.unknown,
            scales,
            engine,
            prepared.idle,
            prepared.u_idle,
        )
    if like is not None and like_engine is not prepared.engine:
        like = figures_of(
            like.label, prepared.like, "", scales, like_engine, prepared.idle, prepared.u_idle
        )
    tried_clutch = None if tried_model is None else tried_model.clutch
    drawn: list[Curve] = []
    if like is not None and prepared.like is not None and not like.refused:
        drawn += curves(like.label, scales.applied_to(prepared.like.clutch), like_engine)
    if tried_model is not None and not tried.refused:
        drawn += curves("now", scales.applied_to(tried_model.clutch), engine, with_engine=True)
    return BiteDesk(
        clutch=card.id,
        moment=prepared.moment,
        now=now,
        tried=tried,
        like=like,
        like_unknown=prepared.like_unknown,
        since_now=change_between(
            tried, tried_model, now, prepared.now, scales, engine, prepared.engine
        )
        if tries.any
        else None,
        since_like=None
        if like is None
        else change_between(tried, tried_model, like, prepared.like, scales, engine, like_engine),
        per_tenth=per_tenth(tried_model, scales),
        calibrated=scales.bite_known(tried_clutch),
        lock_up_calibrated=scales.lock_up_known(tried_clutch),
        scatter=scales.calibration(tried_clutch).scatter,
        observations=scales.seen,
        idle_rpm=None if card.engine.idle is None else card.engine.idle.value,
        target_rpm=None if card.targets.bite is None else card.targets.bite.value,
        tries=tries,
        air=air,
        lock_up_by_air_rpm=_by_air(tried_model, scales, prepared.engine, engine, air),
        cautions=_cautions(card, tried, tried_model, scales, tries),
        curves=tuple(drawn),
        ways=ways_to_bite(tried_model) if tried.refused and tried_model is not None else (),
    )


def _tried(
    card: ClutchCard, model: ClutchModel | None, tries: Tries
) -> tuple[ClutchModel | None, str]:
    if model is None:
        return None, ""
    changes: dict[str, float] = {}
    if tries.recess_mm is not None:
        changes["recess"] = tries.recess_mm * _MM
    if tries.free_length_mm is not None:
        changes["free_length"] = tries.free_length_mm * _MM
    if tries.worn_mm is not None:
        changes["worn"] = tries.worn_mm * _MM
    doubts = dict(model.doubts)
    if tries.hot and not _hot_unknown(model):
        rise = model.fitted.spring.hot_above_bench
        assert rise is not None
        changes["spring_temperature_rise"] = rise.value
        doubts |= heat_doubts(model.fitted)
    try:
        return replace(model, doubts=doubts).changed(**changes), ""
    except RangeError as error:
        return None, why(error)


def _hot_unknown(model: ClutchModel | None) -> str:
    """Return the figure that the card lacks for a hot spring, empty when it has all."""
    names = ("hot_above_bench", "softening_per_kelvin")
    if model is None:
        return ""
    return next((name for name in names if getattr(model.fitted.spring, name) is None), "")


def _by_air(
    model: ClutchModel | None,
    scales: Observed,
    reference: EngineTorque,
    today: EngineTorque,
    air: AirDesk | None,
) -> float | None:
    if model is None or air is None or air.factor is None:
        return None
    clutch = scales.applied_to(model.clutch)
    try:
        before, after = lock_up_speed(clutch, reference), lock_up_speed(clutch, today)
    except RangeError:
        return None
    return None if before is None or after is None else (after - before) * _RPM


def _cautions(
    card: ClutchCard,
    figures: BiteFigures,
    model: ClutchModel | None,
    scales: Observed,
    tries: Tries,
) -> tuple[str, ...]:
    found = [] if model is None else list(model.disagrees)
    clutch = None if model is None else model.clutch
    scatter = scales.calibration(clutch).scatter
    if figures.at_idle == "drags" and card.engine.idle is not None:
        found.append(
            f"the clutch drags: idle ({card.engine.idle.value:.0f} rpm) lies above the let-go"
        )
    elif figures.at_idle == "cannot tell":
        found.append("too close to call whether the clutch lets go at idle")
    if figures.free_travel_mm is not None and not figures.refused:
        if figures.free_travel_mm < 2 * (figures.u_free_travel_mm or 0.0):
            found.append("too close to call whether the spring binds before the bite")
        if figures.near_solid:
            found.append("spring near solid: real bite is higher")
    if figures.recess_mm is not None and figures.recess_mm > card.nut.recess_max.value + 1e-9:
        found.append(f"the recess is deeper than the card's most, {card.nut.recess_max.value:g} mm")
    if clutch is not None and clutch.curve is not None:
        found.append(f"the spring goes by its own curve of {len(clutch.curve.measured)} squeezes")
    if scatter > 2:
        found.append(f"speeds seen disagree, {scatter:.1f} x too much")
    unknown = _hot_unknown(model)
    if tries.hot and unknown:
        found.append(f"the card says nothing of a hot spring: [spring] {unknown}")
    elif tries.hot and scales.bite_known(clutch):
        found.append("observed speeds had a warm spring already: hot comes on top of that")
    return (*found, *figures.assumed)
