"""The course of a heat: how warm bell and spring are in any minute, and what friction is left."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from pitwright.mechanics.clutch import Clutch
from pitwright.mechanics.cooling_fit import Cooling
from pitwright.mechanics.corner_heat import corner_energy
from pitwright.mechanics.engine import EngineTorque
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.lockup import lock_up_speed
from pitwright.mechanics.warmth import (
    friction_at,
    steady_temperature,
    temperature_after,
    time_constant,
)

__all__ = ["CONDUCTANCE", "SPEEDS", "Corner", "HeatCourse", "Warm", "WarmthInputs"]

SPEEDS = "track/speeds"
"""Key of what all corner speeds may be off together, as a share; each alone is ``track/<n>``."""
CONDUCTANCE = "bell/conductance"
"""Key of the bell's heat loss; what moves it is the change of its natural logarithm."""
FADE, KNOWN_AT = "card/friction_per_kelvin", "card/friction_known_at"
HOT_SPRING = "card/hot_above_bench"

_UNMOVED: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True)
class Corner:
    """A slow corner: its road speed [m/s], and how often it comes in a lap."""

    label: str
    speed: float
    a_lap: int


@dataclass(frozen=True)
class Warm:
    """One minute of a heat: bell [degC] (the shoes' face is as warm), the spring's rise above the
    bench [K], and the share of the card's bell friction that is there.
    """

    bell_c: float
    spring_rise_k: float
    friction: float

    def on(self, clutch: Clutch) -> Clutch:
        """Return a clutch as it is when so warm."""
        return replace(
            clutch,
            bell_friction=clutch.bell_friction * self.friction,
            spring_temperature_rise=self.spring_rise_k,
        )


@dataclass(frozen=True)
class HeatCourse:
    """How bell, spring and friction go from the start of a heat, all as warm as the air.

    ``power`` [W] is what the bell takes up on average, ``capacity`` [J/K] and ``conductance``
    [W/K] its own, ``spring_rise`` [K] what the spring comes to, at the pace of the bell.
    """

    air_c: float
    power: float
    capacity: float
    conductance: float
    spring_rise: float
    friction_per_kelvin: float
    known_at_c: float

    def at(self, minutes: float) -> Warm:
        """Return how warm all is after so many minutes of running. Raises RangeError."""
        seconds = minutes * 60
        bell = temperature_after(
            seconds, self.air_c, self.air_c, self.power, self.capacity, self.conductance
        )
        # No thermometer reaches the spring in a heat: it is taken to warm at the bell's pace.
        pace = -math.expm1(-seconds / time_constant(self.capacity, self.conductance))
        friction = friction_at(1.0, bell, self.known_at_c, self.friction_per_kelvin)
        return Warm(bell, self.spring_rise * pace, friction)

    @property
    def steady_c(self) -> float:
        """The bell's temperature once it gives away what it takes up [degC]."""
        return steady_temperature(self.air_c, self.power, self.conductance)


@dataclass(frozen=True)
class WarmthInputs:
    """All that the warmth of a clutch stands on, in SI units but for degrees Celsius.

    ``inertia_at_one`` is the car's inertia at the wheel's axle [kg m^2], ``drive`` the engine's
    turns per wheel turn. ``u`` holds the standard uncertainty of every input by its key; a key
    shared with a model of the clutch is one error. ``readings_weigh`` is how far the bell's heat
    loss was found from readings (0 to 1): they know power over heat loss, so both move together.
    """

    engine: EngineTorque
    inertia_at_one: float
    wheel_radius: float
    drive: float
    corners: tuple[Corner, ...]
    lap_s: float
    bell_share: float
    capacity: float
    cooling: Cooling
    readings_weigh: float
    air_c: float
    spring_rise: float
    friction_per_kelvin: float
    known_at_c: float
    u: Mapping[str, float]
    assumed: tuple[str, ...] = ()

    @property
    def car_inertia(self) -> float:
        """The car as felt at the clutch [kg m^2]."""
        return self.inertia_at_one / self.drive**2

    def geared(self, drive: float) -> WarmthInputs:
        """Return the same with another final drive."""
        return replace(self, drive=drive)

    def take_up(self, clutch: Clutch) -> float:
        """Return the engine speed at which a clutch slips out of a corner: its lock-up [rad/s].

        Raises RangeError when it never locks up.
        """
        found = lock_up_speed(clutch, self.engine)
        if found is None:
            raise RangeError("engine", self.engine.high, "never brings this clutch to lock-up")
        return found

    def corner_energies(
        self, take_up: float, moved: Mapping[str, float] = _UNMOVED
    ) -> tuple[float, ...]:
        """Return the slip heat of one exit of each corner [J], inputs moved by key."""
        shared = 1 + moved.get(SPEEDS, 0.0)
        return tuple(
            corner_energy(
                self.car_inertia,
                take_up,
                max(corner.speed * shared + moved.get(f"track/{n}", 0.0), 0.0)
                / self.wheel_radius
                * self.drive,
            )
            for n, corner in enumerate(self.corners)
        )

    def lap_energy(self, take_up: float, moved: Mapping[str, float] = _UNMOVED) -> float:
        """Return the slip heat of a lap's corner exits [J]."""
        energies = self.corner_energies(take_up, moved)
        return sum(c.a_lap * e for c, e in zip(self.corners, energies, strict=True))

    def launch_energy(self, take_up: float) -> float:
        """Return the slip heat of one launch at full throttle, tyres holding [J]."""
        return corner_energy(self.car_inertia, take_up, 0.0)

    def course(self, take_up: float, moved: Mapping[str, float] = _UNMOVED) -> HeatCourse:
        """Return the course of a heat on a clutch with this take-up speed, inputs moved by key.

        The power is that of the clutch as given: that it slips a little more as it fades is left
        out.
        """
        power = self.bell_share * self.lap_energy(take_up, moved) / self.lap_s
        log_loss = moved.get(CONDUCTANCE, 0.0)
        told = self.bell_share * self.lap_energy(take_up) / self.lap_s
        if told > 0 and power > 0:
            log_loss += self.readings_weigh * math.log(power / told)
        return HeatCourse(
            self.air_c,
            power,
            self.capacity,
            self.cooling.conductance * math.exp(log_loss),
            self.spring_rise + moved.get(HOT_SPRING, 0.0),
            self.friction_per_kelvin + moved.get(FADE, 0.0),
            self.known_at_c + moved.get(KNOWN_AT, 0.0),
        )
