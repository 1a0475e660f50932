"""Take-ups and creep heard, against the model of the clutch they ran on."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pitwright.desk.bite.bite import prepare
from pitwright.desk.bite.launch import LaunchDesk, launch_desk
from pitwright.desk.ear.ear import Take
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.sound.segments import Shape

__all__ = [
    "Comparison",
    "Expected",
    "UnknownHeatError",
    "compare",
    "expected",
    "launch_shape",
    "was_held",
]

_HALF = 0.12
_SPINNING_S = 0.09  # the longest stand with spinning wheels (common practice: 20 to 60 ms)
_STEADY = 0.7  # a recording is of any heat and any air: half the log spread of the durations


class UnknownHeatError(Exception):
    """The log has no such heat; the message names it."""


@dataclass(frozen=True)
class Expected:
    """What the model says of the clutch a recording was made on; speeds in rpm with u.

    where: the heat in words; plateau at full throttle with tyres that hold, held at the grip of the
    tyres; wheelspin: whether the model has them spin; *_known: whether that scale rests on a speed
    seen on this car; seen: what was kept of this heat already; refused: why there is nothing.
    """

    clutch: str
    heat: str | None
    where: str
    creep_rpm: float | None = None
    u_creep_rpm: float | None = None
    plateau_rpm: float | None = None
    u_plateau_rpm: float | None = None
    no_plateau: str = ""
    held_rpm: float | None = None
    u_held_rpm: float | None = None
    wheelspin: bool = False
    stand_s: float | None = None
    held_s: float | None = None
    idle_rpm: float | None = None
    rise_rpm_per_s: float | None = None
    pull_m_s_2: float | None = None
    creep_known: bool = False
    plateau_known: bool = False
    seen: frozenset[str] = frozenset()
    refused: str = ""


@dataclass(frozen=True)
class Comparison:
    """Heard less model [rpm], the U (k = 2) of the difference, and how many U it is.

    model_rpm, u_model_rpm: what it is compared with; held: that is a launch held at the grip, for
    it stood longer than spinning wheels let it; half: heard is about half of the model's;
    nearer_other: it lies nearer to the other of the two ways to launch.
    """

    model_rpm: float
    u_model_rpm: float
    difference_rpm: float
    expanded_rpm: float
    held: bool
    half: bool
    nearer_other: bool

    @property
    def in_u(self) -> float:
        """Difference over U, without sign."""
        return abs(self.difference_rpm) / self.expanded_rpm


def expected(weekend: Weekend, heat: str | None = None, clutch: str | None = None) -> Expected:
    """Return what the model says of the clutch as a heat started on it, or as it is now.

    The speeds are those of the calibration in force, in the engine's reference air. Raises
    UnknownHeatError when the log has no such heat.
    """
    if heat is not None:
        try:
            run = weekend.heat(heat).run
        except KeyError:
            raise UnknownHeatError(f"there is no heat '{heat}' in the log") from None
        heat, clutch = run.heat, run.clutch
    prepared = prepare(weekend, clutch=clutch, like=heat)
    card, scales = prepared.card, prepared.scales
    found = Expected(card.id, heat, heat or "the clutch now")
    figures = prepared.now_figures
    if heat is not None:
        if prepared.like_figures is None:
            return replace(found, refused=prepared.like_unknown)
        figures = prepared.like_figures
        prepared = replace(prepared, now=prepared.like)
    if figures.refused:
        return replace(found, refused=figures.refused)
    run_off = launch_desk(prepared)
    on = None if prepared.now is None else prepared.now.clutch
    pull, rise = _pull(card, run_off)
    return replace(
        found,
        creep_rpm=figures.bite_rpm,
        u_creep_rpm=figures.u_bite_rpm,
        plateau_rpm=figures.lock_up_rpm,
        u_plateau_rpm=figures.u_lock_up_rpm,
        no_plateau=figures.no_lock_up,
        held_rpm=None if run_off.held is None else run_off.held.plateau_rpm,
        u_held_rpm=None if run_off.held is None else run_off.held.u_plateau_rpm,
        wheelspin=run_off.full is not None and bool(run_off.full.wheelspin),
        stand_s=None if run_off.full is None else run_off.full.time_s,
        held_s=None if run_off.held is None else run_off.held.time_s,
        idle_rpm=run_off.start_rpm,
        pull_m_s_2=pull,
        rise_rpm_per_s=rise,
        creep_known=scales.bite_known(on),
        plateau_known=scales.lock_up_known(on),
        seen=frozenset(
            s.how
            for s in scales.seen
            if heat is not None and s.heat is not None and s.heat.lower() == heat.lower()
        ),
    )


def _pull(card: ClutchCard, run_off: LaunchDesk) -> tuple[float | None, float | None]:
    """How fast car [m/s2] and engine [rpm/s] gain once the clutch holds: torque over inertia."""
    car, inertia, drive = card.car, card.engine.inertia, run_off.final_drive
    if run_off.full is None or car is None or inertia is None or drive is None:
        return None, None
    arm = car.wheel_diameter.si / 2 / drive
    torque = run_off.full.peak_torque_nm
    if run_off.grip_torque_nm is not None:
        torque = min(torque, run_off.grip_torque_nm)
    gain = run_off.full.peak_torque_nm / (inertia.si + car.mass.si * arm * arm)
    return torque / (car.mass.si * arm), gain * 30 / math.pi


def launch_shape(model: Expected) -> Shape | None:
    """Return what the ear expects of a launch of this clutch; None where the model says nothing.

    The durations lie about those of full throttle and of the grip held; the wheels may spin too.
    """
    from pitwright.sound.segments import Shape

    plain = Shape()
    stands = tuple(rpm for rpm in (model.plateau_rpm, model.held_rpm) if rpm is not None)
    if not stands:
        return None
    times = [s for s in (model.stand_s, model.held_s, plain.stand_s) if s]
    middle = math.exp(sum(math.log(s) for s in times) / len(times))
    spread = max(abs(math.log(s / middle)) for s in times)
    return replace(
        plain,
        stand_s=middle,
        stand_wide=math.hypot(_STEADY, spread),
        pull_rpm_per_s=model.rise_rpm_per_s or plain.pull_rpm_per_s,
        idle_rpm=model.idle_rpm,
        stands_rpm=stands,
    )


def compare(take: Take, model: Expected) -> Comparison | None:
    """Return heard less model, each thing with its own kind; None where either is missing."""
    rpm, u, other = model.plateau_rpm, model.u_plateau_rpm, model.held_rpm
    held = was_held(take, model)
    if take.how == "creep":
        rpm, u, other = model.creep_rpm, model.u_creep_rpm, None
    elif held:
        rpm, u, other = model.held_rpm, model.u_held_rpm, model.plateau_rpm
    if take.speed is None or rpm is None:
        return None
    heard = take.speed.rpm
    return Comparison(
        rpm,
        u or 0.0,
        heard - rpm,
        2 * math.hypot(take.speed.u_rpm, u or 0.0),
        held,
        abs(2 * heard / rpm - 1) < _HALF,
        other is not None and abs(heard - other) < abs(heard - rpm),
    )


def was_held(take: Take, model: Expected) -> bool:
    """Return whether the tyres' grip set the speed it stood at, and not the engine.

    Where the model has the tyres spin at full throttle, a stand longer than spinning wheels allow
    was held at the grip by the driver.
    """
    if take.how == "creep" or take.speed is None or model.held_rpm is None:
        return False
    return model.wheelspin and take.speed.end_s - take.speed.start_s > _SPINNING_S
