"""Work in progress: an open build, a running heat, timers, half-typed entries."""

from typing import Literal

from pydantic import Field

from pitwright.weekend.model import Line, Model, Name, Text
from pitwright.weekend.procedure import Route, Step
from pitwright.weekend.records import HeatRun, Moment, StepResult

__all__ = ["Draft", "OpenBuild", "OpenHeat", "OpenWork", "Tap", "Timer"]


class OpenBuild(Model):
    """A build that is not signed off yet, on its own copy of the steps.

    ``worked_since`` is when the step in hand was taken up; None while paused.
    """

    format: Literal[1] = 1
    clutch: Name = "A"
    route: Route
    started_at: Moment
    steps: list[Step] = Field(min_length=1)
    results: list[StepResult] = Field(default_factory=list)
    at: int = Field(default=0, ge=0)
    worked_since: Moment | None = None
    worked_seconds: float = Field(default=0.0, ge=0)
    note: Text = ""

    def result(self, step: str) -> StepResult | None:
        """Return what was noted for ``step``, None when nothing was."""
        return next((r for r in self.results if r.step == step), None)


class Tap(Model):
    """A key tapped as the car passed the line."""

    at: Moment


class OpenHeat(Model):
    """A heat that is running: what is known of it so far, and taps at the line."""

    format: Literal[1] = 1
    heat: HeatRun
    stopped_at: Moment | None = None
    taps: list[Tap] = Field(default_factory=list)


class Timer(Model):
    """A deadline on the wall clock."""

    name: Name
    label: Line
    due_at: Moment
    seen: bool = False


class Draft(Model):
    """What was typed and not yet kept, by field."""

    format: Literal[1] = 1
    form: Name
    saved_at: Moment
    fields: dict[str, Text] = Field(default_factory=dict)


class OpenWork(Model):
    """All that is in progress on one laptop."""

    build: OpenBuild | None = None
    heat: OpenHeat | None = None
    timers: list[Timer] = Field(default_factory=list)
    drafts: dict[str, Draft] = Field(default_factory=dict)
