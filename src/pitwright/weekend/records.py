"""Records: what happened, each written once and never changed.

Lengths are in millimetres in keys that end in ``_mm``; times are UTC. A record is complete in
itself: a reading keeps the limits, the rule and the instrument in force when it was taken.
"""

from datetime import UTC, datetime
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, AwareDatetime, Field, SerializationInfo, model_validator
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from pitwright.weekend.card import DecisionRule, check_room
from pitwright.weekend.event import HeatKind
from pitwright.weekend.model import Line, Model, Name, Text
from pitwright.weekend.places import PartPlace, Place
from pitwright.weekend.procedure import Route, Step

__all__ = [
    "RECORD_KINDS",
    "AnyRecord",
    "BellTemperature",
    "BoundSide",
    "Build",
    "CarriedPart",
    "CarryOver",
    "Check",
    "ClockShift",
    "Conditions",
    "Correction",
    "Fit",
    "HeatRun",
    "NoteRecord",
    "NutCalibration",
    "NutPair",
    "Observation",
    "Reading",
    "Record",
    "ScheduleChange",
    "Setting",
    "StepResult",
    "StockChange",
    "VerdictWord",
    "ZeroCheck",
]

VerdictWord = Literal["good", "too close to call", "out"]
BoundSide = Literal["at least", "at most"]

_Millimetres = Annotated[float, Field(ge=-50, le=500)]
_SIXTY_YEARS_MIN = 60 * 366 * 24 * 60  # a clock that lost its battery starts in 1970
_Rating = Annotated[int, Field(ge=1, le=5)]


def _utc(value: datetime) -> datetime:
    # The years at either end cannot be shifted or shown in another zone.
    if not 1970 <= value.year <= 2200:
        raise ValueError("must lie between the years 1970 and 2200")
    return value.astimezone(UTC)


Moment = Annotated[AwareDatetime, AfterValidator(_utc)]


class Record(Model):
    """What all records share. ``id`` names the record for good, whatever its file is called later.

    ``id``, ``laptop``, ``sequence`` and ``recorded_at`` are set when the record lands in the log.
    """

    id: Line = ""
    format: Literal[1] = 1
    clutch: Name = "A"
    happened_at: Moment
    recorded_at: Moment | None = None
    laptop: Line = ""
    sequence: int = Field(default=0, ge=0)


class Reading(Model):
    """One quantity read one or more times, with the limits and the verdict of that moment.

    ``values_mm`` are the readings as taken. ``u_mm`` is the standard uncertainty of the value and
    ``k`` its coverage factor (2 when absent). ``bound`` marks a go/no-go reading beyond the tool's
    last step: the size is only known to be at least or at most the one given. A part read warm
    has its temperature in ``part_c`` and its size at 20 degrees in ``at_20_mm``.
    """

    quantity: Name
    values_mm: list[_Millimetres] = Field(min_length=1, max_length=50)
    part: Name | None = None
    instrument: Name | None = None
    u_mm: float | None = Field(default=None, ge=0)
    k: float | None = Field(default=None, ge=1, le=100)
    low_mm: float | None = None
    high_mm: float | None = None
    discard_below_mm: float | None = None
    discard_above_mm: float | None = None
    rule: DecisionRule = "simple acceptance"
    verdict: VerdictWord | None = None
    typed: Line = ""
    squeezes: int | None = Field(default=None, ge=0)
    reason: Line = ""
    bound: BoundSide | None = None
    part_c: float | None = Field(default=None, ge=-30, le=400)
    at_20_mm: _Millimetres | None = None

    @model_validator(mode="after")
    def _some_value_is_good(self) -> Self:
        check_room((self.low_mm, self.discard_below_mm), (self.high_mm, self.discard_above_mm))
        return self

    @property
    def value_mm(self) -> float:
        """The mean of the repeats; at 20 degrees, for a part read warm."""
        if self.at_20_mm is not None:
            return self.at_20_mm
        return sum(self.values_mm) / len(self.values_mm)


class Check(Record):
    """Readings taken together; ``step`` names the build step that asked for them."""

    kind: Literal["check"] = "check"
    readings: list[Reading] = Field(min_length=1)
    step: Name | None = None
    note: Text = ""


class Setting(Record):
    """The adjuster nut set: the recess aimed at or read, and the turns it was moved."""

    kind: Literal["setting"] = "setting"
    recess_mm: float = Field(gt=0, le=20)
    u_mm: float | None = Field(default=None, ge=0)
    turns_in: float | None = Field(default=None, ge=-20, le=20)
    step: Name | None = None
    note: Text = ""


class Fit(Record):
    """A part or shims fitted, and what became of the part taken off.

    ``part`` names the part for a part place; ``shims_mm`` lists the stack for a shim place.
    """

    kind: Literal["fit"] = "fit"
    place: Place
    part: Name | None = None
    shims_mm: list[Annotated[float, Field(gt=0, le=5)]] = Field(default_factory=list, max_length=50)
    removed: Name | None = None
    fate: Literal["kept", "discarded"] = "kept"
    reason: Line = ""
    step: Name | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _part_or_shims(self) -> Self:
        shims = self.place in ("height shims", "end play shims")
        if shims and self.part is not None:
            raise ValueError("shims are listed in 'shims_mm', not named as a part")
        if not shims and (self.part is None or self.shims_mm):
            raise ValueError(f"a fit at '{self.place}' names its 'part' and lists no shims")
        return self


class StepResult(Model):
    """What was done at one step. ``seconds`` is working time, pauses left out."""

    step: Name
    done_at: Moment | None = None
    seconds: float | None = Field(default=None, ge=0)
    batch: bool = False
    skipped_because: Line = ""
    out_because: Line = ""
    torque_done: bool = False
    thread_lock_applied: bool | None = None
    thread_lock_at: Moment | None = None
    checks: list[Line] = Field(default_factory=list)
    note: Text = ""


class Build(Record):
    """A finished rebuild with a copy of the steps it was worked from."""

    kind: Literal["build"] = "build"
    route: Route
    finished_at: Moment
    steps: list[Step]
    results: list[StepResult] = Field(default_factory=list)
    note: Text = ""


class Conditions(Model):
    """Air and track as far as they were read."""

    air_c: float | None = Field(default=None, ge=-30, le=60)
    track_c: float | None = Field(default=None, ge=-30, le=90)
    humidity_percent: float | None = Field(default=None, ge=0, le=100)
    pressure_hpa: float | None = Field(default=None, ge=500, le=1100)
    grip: _Rating | None = None


class HeatRun(Record):
    """A heat that was run, or called off. ``happened_at`` is its start.

    Unknown ``run_minutes`` is unknown, never zero. ``warm_up_minutes`` count as running.
    """

    kind: Literal["heat"] = "heat"
    heat: Name
    heat_kind: HeatKind
    round: int | None = Field(default=None, ge=1, le=99)
    status: Literal["run", "stopped early", "cancelled"] = "run"
    planned_minutes: float | None = Field(default=None, gt=0, le=24 * 60)
    run_minutes: float | None = Field(default=None, ge=0, le=24 * 60)
    warm_up_minutes: float | None = Field(default=None, ge=0, le=120)
    conditions: Conditions = Field(default_factory=Conditions)
    bite_rating: _Rating | None = None
    bottom_end_rating: _Rating | None = None
    consistency_rating: _Rating | None = None
    engine_c: float | None = Field(default=None, ge=0, le=300)
    fuel_used_ml: float | None = Field(default=None, ge=0, le=5000)
    pinion_teeth: list[int] = Field(default_factory=list, max_length=2)
    spur_teeth: list[int] = Field(default_factory=list, max_length=2)
    tyres: Line = ""
    result: Line = ""
    trouble: Line = ""
    note: Text = ""


class NoteRecord(Record):
    """A free note; ``about`` names a heat or a part, ``open_point`` asks to be seen to."""

    kind: Literal["note"] = "note"
    text: Text = Field(min_length=1)
    about: Line = ""
    open_point: bool = False


class Observation(Record):
    """An engine speed observed: at creep, or at the take-up plateau of a launch.

    held_at_grip: the driver held that plateau at the tyres' grip, so that the clutch passed what
    they carry and not what the engine gives at full throttle.
    """

    kind: Literal["bite observation"] = "bite observation"
    how: Literal["creep", "plateau"]
    rpm: float = Field(gt=1000, lt=60000)
    u_rpm: float | None = Field(default=None, gt=0)
    heat: Name | None = None
    source: Literal["by ear", "recording", "tachometer"] = "tachometer"
    held_at_grip: bool = False
    note: Text = ""


class BellTemperature(Record):
    """The bell read with a temperature gun; ``heat`` is the one it had just run, if it says so."""

    kind: Literal["bell temperature"] = "bell temperature"
    bell_c: float = Field(ge=-30, le=400)
    u_k: float | None = Field(default=None, gt=0, le=50)
    heat: Name | None = None
    note: Text = ""


class NutPair(Model):
    """Turns out from bottomed, and the recess read there."""

    turns_out: float = Field(ge=0, le=20)
    recess_mm: float = Field(gt=0, le=20)


class NutCalibration(Record):
    """Pairs of turns and recess from which pitch and bottomed recess are fitted."""

    kind: Literal["nut calibration"] = "nut calibration"
    pairs: list[NutPair] = Field(min_length=1, max_length=50)
    note: Text = ""


class ZeroCheck(Record):
    """An instrument's zero, read one or more times."""

    kind: Literal["zero check"] = "zero check"
    instrument: Name
    values_mm: list[_Millimetres] = Field(min_length=1, max_length=50)
    note: Text = ""


class ScheduleChange(Record):
    """A change of the day's schedule.

    ``delay`` shifts the named heat and the rest of its day by ``minutes``; ``move`` gives
    one heat a new start; ``cancel`` takes one off; ``add`` puts one on.
    """

    kind: Literal["schedule"] = "schedule"
    change: Literal["delay", "move", "cancel", "add"]
    heat: Name
    minutes: float | None = Field(default=None, ge=-24 * 60, le=24 * 60)
    starts_at: Moment | None = None
    heat_kind: HeatKind | None = None
    note: Text = ""

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.change in ("delay", "add") and self.minutes is None:
            raise ValueError(f"'{self.change}' needs 'minutes'")
        if self.change in ("move", "add") and self.starts_at is None:
            raise ValueError(f"'{self.change}' needs 'starts_at'")
        if self.change == "add" and self.heat_kind is None:
            raise ValueError("'add' needs 'heat_kind'")
        return self


class StockChange(Record):
    """Parts bought, lost or thrown away. ``part`` for followed parts, else shim or supply."""

    kind: Literal["stock"] = "stock"
    change: Literal["bought", "discarded", "lost", "counted"]
    place: PartPlace | None = None
    part: Name | None = None
    label: Line = ""
    shim_mm: float | None = Field(default=None, gt=0, le=5)
    supply: Name | None = None
    count: int = Field(default=1, ge=0, le=9999)
    reason: Line = ""

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        named = [self.part is not None, self.shim_mm is not None, self.supply is not None]
        if sum(named) != 1:
            raise ValueError("names exactly one of 'part', 'shim_mm' and 'supply'")
        if self.part is not None and self.place is None:
            raise ValueError("a part needs its 'place'")
        return self


class ClockShift(Record):
    """The laptop's clock was wrong: shift its records from ``first`` to ``last`` by minutes.

    ``records`` are the ids of those it was made for: another laptop of the same name may have
    written the same numbers. Shifts of an earlier pitwright name none.
    """

    kind: Literal["clock shift"] = "clock shift"
    of_laptop: Line
    first_sequence: int = Field(ge=1)
    last_sequence: int = Field(ge=1)
    minutes: float = Field(ge=-_SIXTY_YEARS_MIN, le=_SIXTY_YEARS_MIN)
    records: list[Line] = Field(default_factory=list)
    reason: Line = ""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.last_sequence < self.first_sequence:
            raise ValueError("'last_sequence' lies before 'first_sequence'")
        return self


class CarriedPart(Model):
    """A part brought over from an earlier weekend with its age."""

    part: Name
    place: PartPlace
    label: Line = ""
    run_minutes: float = Field(default=0.0, ge=0)
    unknown_runs: int = Field(default=0, ge=0)
    fitted: bool = False
    discarded: bool = False


class CarryOver(Record):
    """What an earlier weekend hands on: parts with ages, last readings, setting and shims."""

    kind: Literal["carry over"] = "carry over"
    event: Line
    parts: list[CarriedPart] = Field(default_factory=list)
    readings: list[Reading] = Field(default_factory=list)
    recess_mm: float | None = None
    height_shims_mm: list[float] = Field(default_factory=list)
    end_play_shims_mm: list[float] = Field(default_factory=list)


class _ByItsKind:
    """Reads and writes a record by the model of its own ``kind``.

    A tagged union would do the same and say the same; it copies the schemas of all twelve kinds
    into that of a correction, 4 ms and 0.6 MiB at every start.
    """

    def __get_pydantic_core_schema__(self, _source: Any, _handler: Any) -> CoreSchema:
        """Give pydantic the two functions."""
        return core_schema.no_info_plain_validator_function(
            _stand_in,
            serialization=core_schema.plain_serializer_function_ser_schema(
                _dumped, info_arg=True, when_used="unless-none"
            ),
        )


def _stand_in(given: object) -> Record:
    """Read what stands in for a record; neither a correction nor a clock's shift can."""
    if isinstance(given, Record):
        kind = getattr(given, "kind", None)
    elif isinstance(given, dict):
        kind = given.get("kind")
    else:
        raise PydanticCustomError("kind", "must be a table: the record that counts instead")
    model = RECORD_KINDS.get(kind) if isinstance(kind, str) else None
    if model is None or model in (ClockShift, Correction):
        reason = "has no 'kind'" if kind is None else "is not of a kind that can replace another"
        raise PydanticCustomError("kind", "{reason}", {"reason": reason})
    return model.model_validate(given)


def _dumped(record: Record, info: SerializationInfo) -> dict[str, Any]:
    return record.model_dump(
        exclude={"id"},  # what stands in for a record goes by the correction's name
        mode=info.mode,
        by_alias=info.by_alias,
        exclude_none=info.exclude_none,
        exclude_unset=info.exclude_unset,
        exclude_defaults=info.exclude_defaults,
    )


_Happened = (
    Check
    | Setting
    | Fit
    | Build
    | HeatRun
    | NoteRecord
    | Observation
    | BellTemperature
    | NutCalibration
    | ZeroCheck
    | ScheduleChange
    | StockChange
    | CarryOver
)
Plain = Annotated[_Happened, _ByItsKind()]


class Correction(Record):
    """Replaces an earlier record, or takes it back when ``replacement`` is absent.

    Taking back a correction brings the record it had replaced back into force.
    """

    kind: Literal["correction"] = "correction"
    replaces: Line
    reason: Line
    replacement: Plain | None = None


AnyRecord = _Happened | ClockShift | Correction

RECORD_KINDS: dict[str, type[Record]] = {
    "check": Check,
    "setting": Setting,
    "fit": Fit,
    "build": Build,
    "heat": HeatRun,
    "note": NoteRecord,
    "bite observation": Observation,
    "bell temperature": BellTemperature,
    "nut calibration": NutCalibration,
    "zero check": ZeroCheck,
    "schedule": ScheduleChange,
    "stock": StockChange,
    "carry over": CarryOver,
    "clock shift": ClockShift,
    "correction": Correction,
}
