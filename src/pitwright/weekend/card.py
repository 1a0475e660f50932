"""The clutch card: geometry, limits, instruments, torque figures and targets of one clutch."""

import math
from collections.abc import Iterable
from itertools import pairwise
from typing import Literal, Self

from pydantic import Field, model_validator

from pitwright.weekend.figures import (
    Angle,
    Force,
    HeatLoss,
    Inertia,
    Length,
    Mass,
    MassPerLength,
    Minutes,
    Modulus,
    PerKelvin,
    Ratio,
    RotationSpeed,
    SpecificHeat,
    Temperature,
    TemperatureRise,
    Torque,
    Volume,
)
from pitwright.weekend.model import Line, Model, Name
from pitwright.weekend.places import Place

__all__ = [
    "Bearings",
    "Bell",
    "Car",
    "ClutchCard",
    "DecisionRule",
    "Engine",
    "EnginePoint",
    "Fuel",
    "HandlingPoint",
    "HotPart",
    "Instrument",
    "InstrumentKind",
    "Material",
    "Nut",
    "Quantity",
    "Shimming",
    "Shoes",
    "ShoesKind",
    "Spring",
    "SpringKind",
    "Targets",
    "ThreadLock",
    "Wedge",
    "check_room",
]

DecisionRule = Literal["iso 14253-1", "simple acceptance"]

InstrumentKind = Literal[
    "caliper", "depth rod", "depth steps", "feeler gauge", "torque driver", "shim micrometer"
]


class CurvePoint(Model):
    """One squeeze of the spring on a scale: its length, and the force read."""

    length: Length
    force: Force


class Spring(Model):
    """The spring as the maker describes it, and as it was squeezed on a scale (``curve``)."""

    wire_diameter: Length
    mean_diameter: Length
    active_coils: Ratio
    total_coils: Ratio
    solid_length: Length
    shear_modulus: Modulus
    free_length_new: Length
    ends: Literal["plain", "plain ground", "squared", "squared ground"] = "squared ground"
    tensile_a_mpa: Ratio | None = None
    tensile_m: Ratio | None = None
    softening_per_kelvin: PerKelvin | None = None
    hot_above_bench: TemperatureRise | None = None
    curve: list[CurvePoint] = Field(default_factory=list, max_length=50)


Material = Literal["steel", "aluminium", "brass", "polymer"]
"""What bells and shoes are made of, as far as the share of the heat they take up goes."""


class Shoes(Model):
    """One set of shoes.

    ``friction_per_kelvin`` is the share of ``bell_friction`` gained per kelvin (below zero: fade),
    which holds at ``friction_known_at``. A shoe that a knife cuts is a polymer.
    """

    count: int = Field(ge=1, le=12)
    mass: Mass
    mass_radius: Length
    clearance: Length
    thickness_new: Length
    bell_friction: Ratio
    face_friction: Ratio
    mass_lost_per_wear: MassPerLength
    material: Material = "polymer"
    friction_per_kelvin: PerKelvin | None = None
    friction_known_at: Temperature | None = None


class SpringKind(Model):
    """What a kind of spring has of its own; the rest is as in ``[spring]``, but for its curve."""

    wire_diameter: Length | None = None
    mean_diameter: Length | None = None
    active_coils: Ratio | None = None
    total_coils: Ratio | None = None
    solid_length: Length | None = None
    shear_modulus: Modulus | None = None
    free_length_new: Length | None = None
    tensile_a_mpa: Ratio | None = None
    tensile_m: Ratio | None = None
    softening_per_kelvin: PerKelvin | None = None
    hot_above_bench: TemperatureRise | None = None
    curve: list[CurvePoint] = Field(default_factory=list, max_length=50)


class ShoesKind(Model):
    """What a kind of shoes has of its own; the rest is as in ``[shoes]``."""

    mass: Mass | None = None
    mass_radius: Length | None = None
    clearance: Length | None = None
    thickness_new: Length | None = None
    bell_friction: Ratio | None = None
    face_friction: Ratio | None = None
    mass_lost_per_wear: MassPerLength | None = None
    material: Material | None = None
    friction_per_kelvin: PerKelvin | None = None
    friction_known_at: Temperature | None = None


class Wedge(Model):
    """The wedge between shoe and pressure plate; its angle is measured from the radial plane."""

    angle: Angle
    friction: Ratio


class Bell(Model):
    """The clutch bell.

    ``heat_loss`` is what it gives away per kelvin above the air while it runs, ``cools_in`` the
    time in which it loses 63 % of its rise once the car stands.
    """

    bore_radius: Length
    mass: Mass | None = None
    specific_heat: SpecificHeat | None = None
    material: Material = "steel"
    heat_loss: HeatLoss | None = None
    cools_in: Minutes | None = None


class Bearings(Model):
    """The bell's bearings: the running after which they are changed, which nobody measures."""

    life: Minutes


class Nut(Model):
    """The adjuster nut: ``recess_bottomed`` is the recess with the spring solid.

    A spring counts as new, with the range of a new one, until it has run ``new_spring_until``.
    """

    pitch: Length
    recess_bottomed: Length
    recess_max: Length
    recess_new_spring_low: Length
    recess_new_spring_high: Length
    new_spring_until: Minutes | None = None
    tightens: Literal["clockwise", "anticlockwise"] = "clockwise"


class EnginePoint(Model):
    """One point of the engine's torque curve."""

    speed: RotationSpeed
    torque: Torque


class Engine(Model):
    """The engine: torque as one figure or as points, and what a launch needs."""

    torque: Torque | None = None
    curve: list[EnginePoint] = Field(default_factory=list)
    idle: RotationSpeed | None = None
    inertia: Inertia | None = None

    @model_validator(mode="after")
    def _some_torque(self) -> Self:
        if self.torque is None and len(self.curve) < 2:
            raise ValueError("needs 'torque', or 'curve' with at least two points")
        speeds = [point.speed.value for point in self.curve]
        if any(b <= a for a, b in pairwise(speeds)):
            raise ValueError("the speeds of 'curve' must rise from point to point")
        return self


class Car(Model):
    """What the clutch has to move, for launch and road speed."""

    mass: Mass
    wheel_diameter: Length
    pinion_teeth: int = Field(ge=8, le=60)
    spur_teeth: int = Field(ge=20, le=120)
    module: Length | None = None
    internal_ratio: Ratio
    grip: Ratio | None = None
    second_pinion_teeth: int | None = Field(default=None, ge=8, le=60)
    second_spur_teeth: int | None = Field(default=None, ge=20, le=120)


class HotPart(Model):
    """A part whose growth, hot, changes the end play.

    ``opens`` is true where it lies between the shoulders and widens the play (the crank), false
    where it takes play away (the bell). ``rise`` is how much hotter than the bench it runs.
    """

    label: Line
    length: Length
    expansion: PerKelvin
    rise: TemperatureRise
    opens: bool = False


class Shimming(Model):
    """The two places that draw on the shim tin.

    ``end_play_per_height_shim`` is the change of end play per millimetre of height shims.
    """

    end_play_low: Length
    end_play_target: Length
    end_play_high: Length
    height_low: Length
    height_target: Length
    height_high: Length
    end_play_per_height_shim: Ratio
    shim_uncertainty: Length | None = None
    hot: list[HotPart] = Field(default_factory=list)


class Instrument(Model):
    """A hand tool: what it can resolve, and the maker's permissible error.

    ``resolution_inch`` is what its inch display resolves, where it has one.
    """

    label: Line
    kind: InstrumentKind
    resolution: Length | None = None
    resolution_inch: Length | None = None
    permissible_error: Length | None = None
    permissible_error_ratio: Ratio | None = None
    steps: list[Length] = Field(default_factory=list)
    repeatability: Length | None = None


class Quantity(Model):
    """Something measured on this clutch, in millimetres, with its limits.

    ``low`` and ``high`` are tolerance limits, judged by the decision rule. ``discard_below`` and
    ``discard_above`` are limits the trade states for the reading itself: a reading at or past
    them is out. ``zeroings`` is how many zero settings enter one reading (two for a depth that is
    the difference of two). ``expansion`` is how much of its size the part gains per kelvin, so
    that a warm part's reading can be brought to 20 degrees. ``overtaken_by`` names the places
    where a newly fitted part makes an earlier reading old.
    """

    label: Line
    of: Place | Literal["clutch"] = "clutch"
    instrument: Name
    decimals: int = Field(default=2, ge=0, le=4)
    low: Length | None = None
    high: Length | None = None
    discard_below: Length | None = None
    discard_above: Length | None = None
    target: Length | None = None
    rule: DecisionRule | None = None
    zeroings: int = Field(default=1, ge=0, le=4)
    expansion: PerKelvin | None = None
    when_low: Line = ""
    when_high: Line = ""
    how: Line = ""
    overtaken_by: list[Place] = Field(default_factory=list)

    @model_validator(mode="after")
    def _limits_in_order(self) -> Self:
        ladder = [
            (name, figure.value)
            for name, figure in (
                ("discard_below", self.discard_below),
                ("low", self.low),
                ("target", self.target),
                ("high", self.high),
                ("discard_above", self.discard_above),
            )
            if figure is not None
        ]
        for (lower, a), (upper, b) in pairwise(ladder):
            if a > b:
                raise ValueError(f"'{lower}' ({a:g} mm) lies above '{upper}' ({b:g} mm)")
        check_room(
            [f.value if f else None for f in (self.low, self.discard_below)],
            [f.value if f else None for f in (self.high, self.discard_above)],
        )
        return self


def check_room(lowest: Iterable[float | None], highest: Iterable[float | None]) -> None:
    """Raise ValueError when no value lies above all of ``lowest`` and below all of ``highest``."""
    floor = max((x for x in lowest if x is not None), default=-math.inf)
    ceiling = min((x for x in highest if x is not None), default=math.inf)
    if not floor < ceiling:
        raise ValueError(f"no value could be good between {floor:g} and {ceiling:g} mm")


class HandlingPoint(Model):
    """Thread-lock handling time at one temperature."""

    temperature: Temperature
    handling: Minutes


class ThreadLock(Model):
    """Thread-lock times from the maker's sheet; ``by_temperature`` refines ``handling``.

    ``full_cure`` is only told: a clutch is run once ``handling`` has passed.
    """

    handling: Minutes
    full_cure: Minutes | None = None
    by_temperature: list[HandlingPoint] = Field(default_factory=list)


class Fuel(Model):
    """The tank, and the range to keep in hand at a stop."""

    tank: Volume
    reserve: Volume | None = None


class Targets(Model):
    """Where the driver likes the clutch."""

    bite: RotationSpeed | None = None
    cool_down: Minutes | None = None


class ClutchCard(Model):
    """One clutch. Hand-written; pitwright reads it and never rewrites it."""

    format: Literal[1]
    id: Name = "A"
    name: Line
    rule: DecisionRule = "iso 14253-1"
    spring: Spring
    spring_kind: dict[Line, SpringKind] = Field(default_factory=dict)
    shoes: Shoes
    shoes_kind: dict[Line, ShoesKind] = Field(default_factory=dict)
    wedge: Wedge
    bell: Bell
    bearings: Bearings | None = None
    nut: Nut
    engine: Engine
    car: Car | None = None
    shims: Shimming
    thread_lock: ThreadLock
    fuel: Fuel | None = None
    targets: Targets = Field(default_factory=Targets)
    torques: dict[Name, Torque] = Field(default_factory=dict)
    instruments: dict[Name, Instrument]
    quantities: dict[Name, Quantity]

    @model_validator(mode="after")
    def _instruments_exist(self) -> Self:
        for key, quantity in self.quantities.items():
            if quantity.instrument not in self.instruments:
                raise ValueError(
                    f"quantities.{key}.instrument names '{quantity.instrument}', "
                    "which is not under 'instruments'"
                )
        return self
