"""The rebuild as the template tells it: the trade's order, what to lay out, and the cautions."""

from __future__ import annotations

import tomllib
from importlib import resources
from itertools import pairwise

import pytest

from pitwright.desk.cautions import CREEP_CAUTION
from pitwright.weekend.procedure import Procedure

TEXT = resources.files("pitwright.store").joinpath("templates/procedure.toml").read_text("utf-8")
PROCEDURE = Procedure.model_validate(tomllib.loads(TEXT))
STEPS = {step.id: step for step in PROCEDURE.step}
ROUTES = ("full rebuild", "spring change", "recess only")


@pytest.mark.parametrize(
    "order",
    [
        ("cut-shoes", "fit-shoes", "spring", "recess", "pinions", "bearings", "bell-on"),
        ("bell-on", "screw-snug", "end-play-shims", "retaining-screw", "end-play", "final"),
    ],
)
def test_the_steps_stand_in_the_trades_order(order: tuple[str, ...]) -> None:
    """Common practice, no source: snug, slop felt, shims, and only then tight."""
    at = [list(STEPS).index(step) for step in order]
    assert all(a < b for a, b in pairwise(at))


@pytest.mark.parametrize("route", ROUTES)
def test_every_route_starts_safe_and_dabs_only_clean_threads(route: str) -> None:
    steps = PROCEDURE.on_route(route)  # type: ignore[arg-type]
    first = " ".join((steps[0].do, *steps[0].cautions))
    assert all(word in first for word in ("Gloves and glasses", "methanol", "temperature gun"))
    dabs = [step for step in steps if step.thread_lock not in (None, "none")]
    assert dabs
    assert all("nut off" in step.do and "let them dry" in step.do for step in dabs)
    assert "one behind" in STEPS["bearings"].title
    assert {"bearings", "bell-on", "screw-snug"} <= {step.id for step in steps}


def test_nobody_is_asked_to_hold_what_may_be_hot() -> None:
    assert "held in the hand" not in TEXT
    assert "Hands" in CREEP_CAUTION or "hands" in CREEP_CAUTION


def test_what_is_cut_has_the_knifes_caution_and_what_is_measured_its_datum() -> None:
    assert any("knife" in each for each in STEPS["cut-shoes"].cautions)
    assert all(word in STEPS["recess"].do for word in ("zero", "datum", "flat plate"))
    assert {"Knife", "Cutting board"} <= set(STEPS["cut-shoes"].tools)
    assert "covers" in STEPS["bell-on"].title
