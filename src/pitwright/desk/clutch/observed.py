"""Engine speeds heard and seen, and the two scales they set on the clutch's model."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Literal

from pitwright.desk.clutch.fitted import pairs_owned
from pitwright.desk.clutch.gears import grip_torque_now
from pitwright.desk.clutch.model import (
    ClutchModel,
    UnknownClutchError,
    clutch_model,
    engine_curve,
    input_u,
    why,
)
from pitwright.desk.clutch.spread import propagate
from pitwright.mechanics import calibration
from pitwright.mechanics.bite import bite_slopes
from pitwright.mechanics.calibration import UNCALIBRATED, Calibration, Creep, Plateau
from pitwright.mechanics.clutch import Clutch, bite_speed
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import RangeError
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.priors import figure_u
from pitwright.weekend.records import Observation
from pitwright.weekend.state import State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = [
    "MODEL_U",
    "OBSERVED_U_RPM",
    "Fit",
    "Observed",
    "Sighting",
    "SourceWord",
    "fit_scales",
    "observation_record",
    "observed",
    "sightings",
]

OBSERVED_U_RPM: Mapping[str, float] = {"tachometer": 200.0, "recording": 300.0, "by ear": 800.0}
"""Standard uncertainty taken for an observation that states none; from memory, no source."""

MODEL_U = 0.25
"""Standard uncertainty of the scales s and t while nobody has seen a speed: what the model leaves
out (guides, a tilted plate, dust) can move the forces by a quarter. Judgement, no source."""

KIND_U = 0.10
"""The part of it that two pairs of kinds do not share. Judgement, no source."""

SourceWord = Literal["by ear", "recording", "tachometer"]

_UNMOVED: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True)
class Sighting:
    """An observed engine speed with the clutch it was observed on.

    ``u_rpm`` is the observation's standard uncertainty, ``u_all_rpm`` has that of the readings of
    its clutch state added. ``passed`` is the torque [N m] of a plateau held at the grip, None where
    it is the engine's. ``why_not`` says what bars it from the calibration, and is empty when
    it counts.
    """

    record: str
    how: Literal["creep", "plateau"]
    rpm: float
    u_rpm: float
    source: str
    at: datetime
    heat: str | None = None
    u_all_rpm: float = 0.0
    model: ClutchModel | None = None
    why_not: str = ""
    passed: float | None = None


@dataclass(frozen=True)
class Fit:
    """The scales of one pair of spring kind and shoe kind.

    ``u`` holds the standard uncertainty of every input of the calibration by key, ``slopes`` what
    one such u of it does to the scales s and t.
    """

    calibration: Calibration = UNCALIBRATED
    u: Mapping[str, float] = field(default_factory=dict)
    slopes: Mapping[str, tuple[float, float]] = field(default_factory=dict)


_NO_FIT = Fit()


@dataclass(frozen=True)
class Observed:
    """The calibrations in force, one for each pair of spring kind and shoe kind seen.

    A clutch carries its pair as ``Clutch.kinds``: s folds friction of the wedge and the errors of
    the spring's rate, t the friction of the lining, so what was seen with one pair says nothing of
    another. ``engine_share`` is the doubt of the engine's torque as a share of it; ``others`` are
    the pairs that could be fitted from stock.
    """

    fits: Mapping[str, Fit] = field(default_factory=dict)
    seen: tuple[Sighting, ...] = ()
    engine_share: float = 0.0
    others: tuple[str, ...] = ()

    def calibration(self, clutch: Clutch | None) -> Calibration:
        """Return the calibration of a clutch's pair of kinds."""
        return _NO_FIT.calibration if clutch is None else self._of(clutch).calibration

    def bite_known(self, clutch: Clutch | None) -> bool:
        """Whether a creep speed was seen on this pair, so that the bite is this car's own."""
        return self.calibration(clutch).s is not None

    def lock_up_known(self, clutch: Clutch | None) -> bool:
        """Whether a take-up speed was seen on this pair."""
        return self.calibration(clutch).t is not None

    @property
    def any_bite_known(self) -> bool:
        """Whether a creep speed was seen on any pair."""
        return any(fit.calibration.s is not None for fit in self.fits.values())

    @property
    def without(self) -> Observed:
        """All as if nothing had been seen: what two pairs of kinds can be compared by."""
        return replace(self, fits={})

    def _of(self, clutch: Clutch) -> Fit:
        return self.fits.get(clutch.kinds, _NO_FIT)

    @property
    def u(self) -> Mapping[str, float]:
        """The standard uncertainty of all that the scales stand on, by key.

        What is not calibrated is in doubt as the model is: see ``MODEL_U``.
        """
        found = {key: u for fit in self.fits.values() for key, u in fit.u.items()}
        found |= {"model/s": MODEL_U, "model/t": math.hypot(MODEL_U, self.engine_share)}
        kinds = {s.model.clutch.kinds for s in self.seen if s.model is not None}
        for each in (*self.fits, *kinds, *self.others):
            found |= {f"model/s/{each}": KIND_U, f"model/t/{each}": KIND_U}
        return found

    def applied_to(self, clutch: Clutch, moved: Mapping[str, float] = _UNMOVED) -> Clutch:
        """Return a clutch with its pair's scales, as they would be with inputs moved by key."""
        fit = self._of(clutch)
        s, t = fit.calibration.s, fit.calibration.t
        shift_s = shift_t = 0.0
        for key, by in moved.items():
            if key in fit.slopes:
                shift_s += fit.slopes[key][0] * by / fit.u[key]
                shift_t += fit.slopes[key][1] * by / fit.u[key]
        return replace(
            clutch,
            s_scale=_unseen("s", clutch, moved) if s is None else s.value + shift_s,
            t_scale=_unseen("t", clutch, moved) if t is None else t.value + shift_t,
        )


def _unseen(scale: str, clutch: Clutch, moved: Mapping[str, float]) -> float | None:
    by = moved.get(f"model/{scale}", 0.0) + moved.get(f"model/{scale}/{clutch.kinds}", 0.0)
    return 1.0 + by if by else None


def observed(weekend: Weekend, card: ClutchCard) -> Observed:
    """Fit the scales to every observation that counts, with every uncertainty carried through."""
    curve, seen = engine_curve(card), sightings(weekend, card)
    fits: dict[str, Fit] = {}
    told: list[Sighting] = []
    by_kinds: dict[str, list[Sighting]] = {}
    for each in seen:
        kinds = each.model.clutch.kinds if each.model is not None else ""
        by_kinds.setdefault(kinds, []).append(each)
    for kinds, group in by_kinds.items():
        try:
            fits[kinds] = _fit(group, curve)
            told += group
        except RangeError as error:
            told += [replace(s, why_not=s.why_not or why(error)) for s in group]
    told.sort(key=lambda s: [x.record for x in seen].index(s.record))
    return Observed(fits, tuple(told), _engine_share(card), pairs_owned(weekend))


def _engine_share(card: ClutchCard) -> float:
    torques = [p.torque for p in card.engine.curve]
    if len(torques) < 2 and card.engine.torque is not None:
        torques = [card.engine.torque]
    return max((figure_u(t, "torque").si / t.si for t in torques if t.si), default=0.0)


def _fit(seen: list[Sighting], curve: EngineTorque) -> Fit:
    found = fit_scales(seen, curve)
    counted = [s for s in seen if not s.why_not]
    u = input_u(s.model for s in counted if s.model is not None)
    for each in counted:
        # What scatters more than all the known reasons together is put on the observed speeds.
        extra = (found.scatter**2 - 1) * each.u_all_rpm**2
        u[f"{each.record}/rpm"] = math.sqrt(each.u_rpm**2 + extra)

    def scales(moved: Mapping[str, float]) -> tuple[float | None, float | None]:
        fit = fit_scales(seen, curve, moved)
        return (
            None if fit.s is None else fit.s.value,
            None if fit.t is None else fit.t.value,
        )

    s, t = propagate(scales, u)
    slopes = {
        key: (
            s.contributions.get(key, 0.0) if s is not None else 0.0,
            t.contributions.get(key, 0.0) if t is not None else 0.0,
        )
        for key in u
    }
    return Fit(found, u, slopes)


def sightings(weekend: Weekend, card: ClutchCard) -> tuple[Sighting, ...]:
    """Return every observed speed with the clutch state it was made on, oldest first.

    An observation that names a heat already run belongs to the state that heat started on, even
    when it is entered after the clutch was changed.
    """
    curve = engine_curve(card)
    found = []
    for record, before, _after in weekend.walk(card):
        if isinstance(record, Observation):
            heat = _heat_of(weekend, record)
            state = heat.state if heat is not None else before
            found.append(_sighting(weekend, record, state, curve))
    return tuple(found)


def _heat_of(weekend: Weekend, seen: Observation) -> HeatOnClutch | None:
    for heat in reversed(weekend.heats):
        same = seen.heat is not None and heat.run.heat.lower() == seen.heat.lower()
        if same and heat.run.clutch == seen.clutch and heat.run.happened_at <= seen.happened_at:
            return heat
    return None


def _sighting(weekend: Weekend, record: Observation, state: State, curve: EngineTorque) -> Sighting:
    u_rpm = record.u_rpm or OBSERVED_U_RPM[record.source]
    seen = Sighting(
        record.id,
        record.how,
        record.rpm,
        u_rpm,
        record.source,
        record.happened_at,
        record.heat,
        u_rpm,
    )
    try:
        model = clutch_model(weekend, state)
        slopes = bite_slopes(model.clutch)
        # A plateau lies above the bite; the same error of S moves it by so much less.
        share = min(1.0, bite_speed(model.clutch) / to_si(record.rpm, "rpm"))
        u_all = math.hypot(u_rpm, model.own_effect(slopes) * share * 30 / math.pi)
        held = record.held_at_grip
        passed = grip_torque_now(weekend, weekend.card(record.clutch)) if held else None
        seen = replace(seen, model=model, u_all_rpm=u_all, passed=passed)
        fit_scales([seen], curve)
    except UnknownClutchError as error:
        return replace(seen, why_not=str(error))
    except RangeError as error:
        return replace(seen, why_not=why(error))
    return seen


def fit_scales(
    seen: Iterable[Sighting], curve: EngineTorque, moved: Mapping[str, float] = _UNMOVED
) -> Calibration:
    """Fit the two scales to the observations that count.

    ``moved`` shifts inputs by their key (see ``ClutchModel.doubts``; an observed speed's key is
    ``<record>/rpm``). Raises RangeError when the observations contradict the clutch.
    """
    creeps: list[Creep] = []
    plateaus: list[Plateau] = []
    for each in seen:
        if each.model is None or each.why_not:
            continue
        clutch = each.model.moved(moved)
        rpm = each.rpm + moved.get(f"{each.record}/rpm", 0.0)
        speed, u_speed = to_si(rpm, "rpm"), to_si(each.u_all_rpm, "rpm")
        if each.how == "creep":
            creeps.append(Creep(clutch, speed, u_speed))
        else:
            torque = curve.at(speed) if each.passed is None else each.passed
            plateaus.append(Plateau(clutch, speed, u_speed, torque))
    return calibration.calibrate(creeps, plateaus)


def observation_record(
    how: Literal["creep", "plateau"],
    rpm: float,
    *,
    now: datetime,
    clutch: str,
    source: SourceWord = "tachometer",
    u_rpm: float | None = None,
    heat: str | None = None,
    held_at_grip: bool = False,
    note: str = "",
) -> Observation:
    """Return the record of an observed speed [rpm]."""
    return Observation(
        clutch=clutch,
        happened_at=now,
        how=how,
        rpm=rpm,
        u_rpm=u_rpm,
        source=source,
        heat=heat,
        held_at_grip=held_at_grip,
        note=note,
    )
