"""The rebuild as ordered steps with checkpoints."""

from typing import Literal, Self

from pydantic import Field, model_validator

from pitwright.weekend.figures import Minutes, Torque
from pitwright.weekend.model import Line, Model, Name, Text
from pitwright.weekend.places import Place

__all__ = ["ROUTES", "Procedure", "Route", "Step", "ThreadLockUse", "TorqueCheck"]

Route = Literal["full rebuild", "spring change", "recess only"]
ROUTES: tuple[Route, ...] = ("full rebuild", "spring change", "recess only")

ThreadLockUse = Literal["none", "medium"]


class TorqueCheck(Model):
    """How tight: a figure, or words for a joint that is done by feel."""

    figure: Torque | None = None
    feel: Line = ""
    caution: Line = ""

    @model_validator(mode="after")
    def _figure_or_feel(self) -> Self:
        if self.figure is None and not self.feel:
            raise ValueError("needs 'figure' or 'feel'")
        return self


class Step(Model):
    """One step: what to do, and the checkpoints it carries.

    ``measures`` names quantities of the clutch card; ``fits`` the place of a part to record;
    ``tools`` and ``parts`` are laid out before the build begins.
    """

    id: Name
    title: Line
    do: Text
    routes: list[Route] = Field(min_length=1)
    minutes: Minutes
    cautions: list[Line] = Field(default_factory=list)
    torque: TorqueCheck | None = None
    thread_lock: ThreadLockUse | None = None
    measures: list[Name] = Field(default_factory=list)
    fits: list[Place] = Field(default_factory=list)
    tools: list[Line] = Field(default_factory=list)
    parts: list[Line] = Field(default_factory=list)
    squeezes: int = Field(default=0, ge=0, le=50)


class Procedure(Model):
    """The steps in working order. Hand-written; never rewritten."""

    format: Literal[1]
    name: Line
    step: list[Step] = Field(min_length=1)

    @model_validator(mode="after")
    def _ids_differ(self) -> Self:
        seen: set[str] = set()
        for step in self.step:
            if step.id in seen:
                raise ValueError(f"two steps are called '{step.id}'")
            seen.add(step.id)
        return self

    def on_route(self, route: Route) -> list[Step]:
        """Return the steps that belong to ``route``, in order."""
        return [step for step in self.step if route in step.routes]
