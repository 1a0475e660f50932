"""What to do with the adjuster nut for a recess wanted: turns, which way, or why it cannot be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitwright.desk.clutch.model import ClutchModel, why
from pitwright.desk.clutch.spring_law import spring_by
from pitwright.mechanics.clutch import (
    Clutch,
    axial_travel,
    cavity,
    unknown_near_solid,
    way_to_solid_at,
)
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.nut_advice import Direction, NutLimits, Refusal, advise
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import State

__all__ = ["Hold", "NutDesk", "barred", "move_to"]

Hold = Literal["preload", "bite"]

_REFUSALS = {
    Refusal.PAST_MAXIMUM: "deeper than the card's most: fit a new spring",
    Refusal.COIL_BIND: "the spring would be solid before the shoes bite: fit a new spring",
    Refusal.TOO_SHALLOW: "the nut would stand proud: this spring is too long for that setting",
}
NEAR_SOLID_WORDS = "so near solid the coils touch: it bites higher than reckoned, and feels harsh"
_LOOSE = "this spring would lie loose there, and the shoes would rattle"


@dataclass(frozen=True)
class NutDesk:
    """What to do with the nut. Lengths in millimetres; ``u_`` are standard uncertainties.

    ``refused`` is empty when the setting can be made; ``unknown`` is empty when enough is known
    to say anything at all; ``cautions`` are what the advice leaves out. ``turns`` are counted
    from ``present_mm``, which is None where no recess read since the spring was fitted is known;
    ``turns_out`` counts from the nut run in until the spring is solid. ``solid_share`` is how much
    of the spring's way to solid is used up at the bite; ``spring_by`` says what its force goes by.
    """

    hold: Hold
    reference: str
    unknown: str = ""
    refused: str = ""
    wanted_mm: float | None = None
    u_wanted_mm: float | None = None
    present_mm: float | None = None
    turns: float | None = None
    u_turns: float | None = None
    direction: Literal["in", "out", "leave it"] | None = None
    rotation: str = ""
    turns_out: float | None = None
    bind_margin_mm: float | None = None
    solid_share: float | None = None
    spring_by: str = ""
    maximum_margin_mm: float | None = None
    target_rpm: float | None = None
    change_rpm: float | None = None
    calibrated: bool = False
    cautions: tuple[str, ...] = ()


def barred(hold: Hold, reference: str, error: RangeError, today: State) -> NutDesk:
    """Return that no setting of the nut will do, and why the model says so."""
    return NutDesk(
        hold,
        reference,
        refused=why(error),
        present_mm=today.recess.value_mm if today.recess is not None else None,
    )


def move_to(
    card: ClutchCard,
    hold: Hold,
    reference: str,
    model: ClutchModel,
    today: State,
    wanted: float,
    u_wanted: float,
    *,
    shared: float = 0.0,
    target_rpm: float | None = None,
    change_rpm: float | None = None,
    is_calibrated: bool = False,
    cautions: tuple[str, ...] = (),
) -> NutDesk:
    """Return how to bring the nut to a recess wanted [m].

    ``shared`` is the part of ``u_wanted`` [m] that stands on the same reading as the recess now.
    """
    # the nut came off for the new spring, so where it stood before says nothing
    present = today.recess if today.recess is not None and not today.recess.overtaken else None
    u_present = 0.0
    if present is not None:
        u_present = present.u_mm / 1000 if present.u_mm else model.u["recess"]
    try:
        limits = _limits(card, model.clutch, model.nut.recess_bottomed)
    except RangeError:
        return NutDesk(
            hold,
            reference,
            refused="this spring is loose at any setting the card allows: fit a new spring",
            present_mm=present.value_mm if present is not None else None,
        )
    advice = advise(
        wanted,
        limits,
        model.nut.pitch,
        present=present.value_mm / 1000 if present is not None else None,
        u_wanted=u_wanted,
        u_present=u_present,
        u_pitch=model.nut.u_pitch,
        correlation=max(-1.0, min(shared / u_wanted, 1.0)) if u_wanted else 0.0,
    )
    rotation = ""
    if advice.direction is Direction.IN:
        rotation = card.nut.tightens
    elif advice.direction is Direction.OUT:
        rotation = "anticlockwise" if card.nut.tightens == "clockwise" else "clockwise"
    share = way_to_solid_at(model.clutch, wanted)
    if unknown_near_solid(model.clutch, share) and advice.refusal is None:
        cautions = (*cautions, NEAR_SOLID_WORDS)
    return NutDesk(
        hold=hold,
        reference=reference,
        solid_share=share,
        spring_by=spring_by(model.clutch.curve),
        refused=_refusal_words(advice.refusal, limits),
        wanted_mm=round(wanted * 1000, 6),
        u_wanted_mm=u_wanted * 1000,
        present_mm=present.value_mm if present is not None else None,
        turns=advice.turns,
        u_turns=advice.u_turns,
        direction=advice.direction.value if advice.direction is not None else None,
        rotation=rotation,
        turns_out=max((model.nut.recess_bottomed - wanted) / model.nut.pitch, 0.0),
        bind_margin_mm=_mm(advice.bind_margin),
        maximum_margin_mm=_mm(advice.maximum_margin),
        target_rpm=target_rpm,
        change_rpm=change_rpm,
        calibrated=is_calibrated,
        cautions=cautions,
    )


def _refusal_words(refusal: Refusal | None, limits: NutLimits) -> str:
    if refusal is None:
        return ""
    if refusal is Refusal.TOO_SHALLOW and limits.minimum > 0:
        return _LOOSE
    return _REFUSALS[refusal]


def _mm(metres: float | None) -> float | None:
    return None if metres is None else metres * 1000


def _limits(card: ClutchCard, model: Clutch, recess_bottomed: float) -> NutLimits:
    """Return how far the nut may go; raises RangeError when this spring leaves it no room."""
    return NutLimits(
        maximum=card.nut.recess_max.si,
        at_solid=recess_bottomed,
        travel=axial_travel(model),
        minimum=max(0.0, cavity(model) - model.free_length),
    )
