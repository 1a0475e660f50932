"""What the log knows of an open build, and what a step still wants before it may be ticked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from pitwright.weekend.open_work import OpenBuild
from pitwright.weekend.places import Place
from pitwright.weekend.procedure import Step
from pitwright.weekend.records import AnyRecord, Build, Check, Fit, Reading, Setting, StepResult
from pitwright.weekend.weekend import Weekend

__all__ = [
    "Demand",
    "DemandKind",
    "Hindrance",
    "NotYetError",
    "TakenReading",
    "demands",
    "fit_at",
    "is_settled",
    "landed",
    "reading_at",
    "records_of",
    "result_of",
    "step_in_hand",
]

DemandKind = Literal["part", "reading", "reason", "thread-lock", "torque"]


@dataclass(frozen=True)
class Demand:
    """One thing a step wants: ``what`` is the place or the quantity, ``words`` say it."""

    kind: DemandKind
    what: str
    words: str


@dataclass(frozen=True)
class Hindrance:
    """A step that stands in the way of the sign-off, and why."""

    step: str
    title: str
    words: str


class NotYetError(Exception):
    """A step may not be ticked, or a build not signed off; ``wanted`` says what is missing."""

    def __init__(self, wanted: Sequence[Demand | Hindrance]) -> None:
        super().__init__("; ".join(w.words for w in wanted))
        self.wanted = tuple(wanted)


@dataclass(frozen=True)
class TakenReading:
    """A reading taken in this build and still true, with the record that holds it."""

    reading: Reading
    record: str


def step_in_hand(build: OpenBuild) -> Step:
    """Return the step that is being worked on."""
    return build.steps[min(build.at, len(build.steps) - 1)]


def result_of(build: OpenBuild, step: str) -> StepResult:
    """Return what is noted for a step; an empty result when nothing is."""
    return build.result(step) or StepResult(step=step)


def is_settled(result: StepResult) -> bool:
    """Tell whether a step is done, or skipped with a reason."""
    return result.done_at is not None or bool(result.skipped_because)


def _during(build: OpenBuild, weekend: Weekend) -> Iterator[AnyRecord]:
    """Yield the clutch's records since the build was begun."""
    for record in weekend.log.records:
        if record.clutch == build.clutch and record.happened_at >= build.started_at:
            yield record


def records_of(build: OpenBuild, weekend: Weekend, step: str) -> tuple[str, ...]:
    """Return the ids of the checks, fits and settings recorded at a step."""
    return tuple(
        record.id
        for record in _during(build, weekend)
        if isinstance(record, Check | Fit | Setting) and record.step == step
    )


def landed(build: OpenBuild, weekend: Weekend) -> Build | None:
    """Return the record of this build when it is in the log already.

    It is there when the app died after the record was written and before the open build was
    cleared away; signing off again would count the build twice.
    """
    records = [*weekend.log.records, *(r.record for r in weekend.log.replaced)]
    for record in records:
        if (
            isinstance(record, Build)
            and record.clutch == build.clutch
            and record.route == build.route
            and record.happened_at == build.started_at
        ):
            return record
    return None


def fit_at(build: OpenBuild, weekend: Weekend, step: str, place: Place) -> Fit | None:
    """Return what was last fitted at ``place`` in this step, None when nothing was recorded."""
    found = None
    for record in _during(build, weekend):
        if isinstance(record, Fit) and record.step == step and record.place == place:
            found = record
    return found


def reading_at(build: OpenBuild, weekend: Weekend, step: str, quantity: str) -> TakenReading | None:
    """Return the step's last reading of ``quantity`` that still holds.

    It holds no longer once another part was fitted where the reading belongs, or any part at a
    place that overtakes it.
    """
    card = weekend.clutches.get(build.clutch)
    spec = card.quantities.get(quantity) if card is not None else None
    taken: TakenReading | None = None
    for record in _during(build, weekend):
        if isinstance(record, Fit) and taken is not None and spec is not None:
            other_part = record.place == spec.of and record.part != taken.reading.part
            if other_part or record.place in spec.overtaken_by:
                taken = None
        elif isinstance(record, Check) and record.step == step:
            for reading in record.readings:
                if reading.quantity == quantity:
                    taken = TakenReading(reading, record.id)
    return taken


def demands(build: OpenBuild, weekend: Weekend, step: Step) -> tuple[Demand, ...]:
    """Return what the step still wants, in the order in which it is best answered.

    Only a reading that is out stands in the way; one too close to call does not. A quantity the
    clutch card does not know cannot be read and is not asked for.
    """
    result = result_of(build, step.id)
    wanted: list[Demand] = [
        Demand("part", place, f"Record what is fitted: {place}")
        for place in step.fits
        if fit_at(build, weekend, step.id, place) is None
    ]
    card = weekend.clutches.get(build.clutch)
    quantities = card.quantities if card is not None else {}
    for key in step.measures:
        spec = quantities.get(key)
        if spec is None:
            continue
        taken = reading_at(build, weekend, step.id, key)
        name = spec.label[:1].lower() + spec.label[1:]
        if taken is None:
            wanted.append(Demand("reading", key, f"Measure the {name}"))
        elif taken.reading.verdict == "out" and not (taken.reading.reason or result.out_because):
            wanted.append(
                Demand("reason", key, f"The {name} is out: measure again, or say why it may stay")
            )
    if step.thread_lock == "medium" and result.thread_lock_applied is None:
        wanted.append(Demand("thread-lock", "", "Say whether the thread-lock is applied"))
    if step.torque is not None and not result.torque_done:
        wanted.append(Demand("torque", "", "Confirm that it is tight"))
    return tuple(wanted)
