"""Advice for the adjuster nut: which recess, how many turns, which way, or a new spring."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from pitwright.desk.clutch.model import (
    ClutchModel,
    UnknownClutchError,
    clutch_model,
    input_u,
    why,
)
from pitwright.desk.clutch.observed import observed
from pitwright.desk.clutch.spread import propagate
from pitwright.desk.sizes import only_a_bound
from pitwright.desk.wording import mm
from pitwright.mechanics import bite, nut
from pitwright.mechanics.clutch import Clutch, axial_travel, bite_speed, cavity
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.nut_advice import Direction, NutLimits, Refusal, advise
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["Hold", "NutDesk", "nut_advice", "nut_start", "reference_heat"]

Hold = Literal["preload", "bite"]

_RPM = 30 / math.pi
_REFUSALS = {
    Refusal.PAST_MAXIMUM: "deeper than the card's most: fit a new spring",
    Refusal.COIL_BIND: "the spring would be solid before the shoes bite: fit a new spring",
    Refusal.TOO_SHALLOW: "the nut would stand proud: this spring is too long for that setting",
}
_LOOSE = "this spring would lie loose there, and the shoes would rattle"


@dataclass(frozen=True)
class NutDesk:
    """What to do with the nut. Lengths in millimetres; ``u_`` are standard uncertainties.

    ``refused`` is empty when the setting can be made; ``unknown`` is empty when enough is known
    to say anything at all; ``cautions`` are what the advice leaves out. ``turns`` are counted
    from ``present_mm``, which is None where no recess read since the spring was fitted is known;
    ``turns_out`` counts from the nut run in until the spring is solid.
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
    maximum_margin_mm: float | None = None
    target_rpm: float | None = None
    change_rpm: float | None = None
    calibrated: bool = False
    cautions: tuple[str, ...] = ()


def nut_advice(
    weekend: Weekend,
    *,
    hold: Hold = "preload",
    like: str | None = None,
    target_rpm: float | None = None,
    free_length_mm: float | None = None,
    recess_mm: float | None = None,
    clutch: str | None = None,
) -> NutDesk:
    """Advise the recess that brings back an earlier heat's preload or bite, or gives a speed.

    ``like`` names the heat (the last one with known figures when None); ``target_rpm`` asks for a
    bite instead of a heat's; ``free_length_mm`` and ``recess_mm`` stand in for today's readings
    while they are typed.
    Holding the preload moves the recess one for one with free length and counts no shoe wear.
    """
    card = weekend.card(clutch)
    today = weekend.state(None, clutch)
    if free_length_mm is not None:
        today = _with_length(today, free_length_mm)
    if recess_mm is not None and today.moment is not None:
        typed = FigureInForce("recess", recess_mm, "", today.moment)
        today = replace(today, figures={**today.figures, "recess": typed})
    for quantity in ("free_length", "shoe_thickness"):
        refused = only_a_bound(today, card, quantity)
        if refused:
            return NutDesk(hold, "", unknown=refused)
    if target_rpm is not None:
        return _for_speed(weekend, card, today, target_rpm)
    heat = reference_heat(weekend, card, like)
    if isinstance(heat, str):
        return NutDesk(hold, "", unknown=heat)
    name = heat.run.heat
    try:
        then_model = clutch_model(weekend, heat.state)
    except UnknownClutchError as error:
        return NutDesk(hold, name, unknown=f"{name}: {error}")
    except RangeError as error:
        return NutDesk(hold, name, unknown=f"{name}: {why(error)}")
    if today.spring is None or today.figure("free_length") is None:
        return NutDesk(hold, name, unknown="measure the free length of the spring fitted now")
    if hold == "preload":
        return _same_preload(weekend, card, heat, then_model, today)
    return _same_bite(weekend, card, heat, then_model, today)


def nut_start(weekend: Weekend, clutch: str | None = None) -> NutDesk:
    """Advise what holds the last heat's preload, or before the first heat where to start.

    The start is the recess that the model gives for the card's bite; it says that it is one.
    """
    found = nut_advice(weekend, clutch=clutch)
    card = weekend.card(clutch)
    if not found.unknown or found.reference or card.targets.bite is None:
        return found
    if not isinstance(reference_heat(weekend, card), str):
        return found
    try:
        start = nut_advice(weekend, target_rpm=card.targets.bite.value, clutch=clutch)
    except UnknownClutchError:
        return found
    if start.unknown:
        return start
    low, high = card.nut.recess_new_spring_low, card.nut.recess_new_spring_high
    cautions = [
        "no heat to match yet: a start for the card's bite, for the driver to judge",
        f"the card's range for a new spring is {mm(low.value)} to {mm(high.value)}",
    ]
    return replace(start, cautions=(*cautions, *start.cautions))


def _with_length(state: State, free_length_mm: float) -> State:
    spring = state.spring
    if spring is None or state.moment is None:
        return state
    figure = FigureInForce("free_length", free_length_mm, "", state.moment)
    fitted = replace(spring, figures={**spring.figures, "free_length": figure})
    return replace(state, parts={**state.parts, spring.part: fitted})


def reference_heat(
    weekend: Weekend, card: ClutchCard, like: str | None = None
) -> HeatOnClutch | str:
    """Return the heat named, or the last one whose recess and free length are known.

    A text instead says why there is none.
    """
    if like is not None:
        try:
            heat = weekend.heat(like)
        except KeyError:
            return f"there is no heat called '{like}' in the log"
        if heat.run.clutch != card.id:
            return f"{heat.run.heat} was run on another clutch"
        if heat.state.recess is None:
            return f"no recess is known for {heat.run.heat}"
        if heat.state.figure("free_length") is None:
            return f"no free length is known for {heat.run.heat}"
        return heat
    for heat in reversed(weekend.heats):
        if (
            heat.run.clutch == card.id
            and heat.run.status != "cancelled"
            and heat.state.recess is not None
            and heat.state.figure("free_length") is not None
        ):
            return heat
    return "no heat yet with a known recess and free length"


def _limits(card: ClutchCard, model: Clutch, recess_bottomed: float) -> NutLimits:
    """Return how far the nut may go; raises RangeError when this spring leaves it no room."""
    return NutLimits(
        maximum=card.nut.recess_max.si,
        at_solid=recess_bottomed,
        travel=axial_travel(model),
        minimum=max(0.0, cavity(model) - model.free_length),
    )


def _same_preload(
    weekend: Weekend, card: ClutchCard, heat: HeatOnClutch, then: ClutchModel, today: State
) -> NutDesk:
    now_length, recess_then = today.figure("free_length"), heat.state.recess
    assert now_length is not None
    assert recess_then is not None
    # Today's spring and shoes in the setting of then; where even that binds, then's must do.
    try:
        model = clutch_model(weekend, today, recess_mm=recess_then.value_mm)
    except RangeError:
        model = then
    length_then = heat.state.figure("free_length")
    same_length = length_then is not None and length_then.record == now_length.record
    wanted, u_wanted = nut.recess_for_same_preload(
        then.clutch.recess,
        then.clutch.free_length,
        now_length.value_mm / 1000,
        u_recess=then.u["recess"],
        u_L_free_then=0.0 if same_length else then.u["free_length"],
        u_L_free_now=0.0 if same_length else model.u["free_length"],
    )
    worn, worn_then = today.figure("shoe_thickness"), heat.state.figure("shoe_thickness")
    cautions = ["holds the preload only: worn shoes bite later and are not counted"]
    if worn is not None and worn_then is not None and worn.value_mm < worn_then.value_mm:
        cautions.append(
            f"the shoes are {mm(worn_then.value_mm - worn.value_mm)} thinner than in that heat"
        )
    return _finish(
        card,
        "preload",
        heat.run.heat,
        model,
        today,
        wanted,
        u_wanted,
        shared=_shared(then, today, 1.0),
        cautions=(*cautions, *_age_cautions(card, today)),
    )


def _shared(then: ClutchModel, today: State, slope: float) -> float:
    """Return the part of the wanted recess's u [m] that stands on today's own recess reading.

    It cancels in the turns, for the nut has not been touched since that reading.
    """
    present = today.recess
    same = present is not None and then.sources.get("recess") == present.record
    return slope * then.u["recess"] if same else 0.0


def _same_bite(
    weekend: Weekend, card: ClutchCard, heat: HeatOnClutch, then: ClutchModel, today: State
) -> NutDesk:
    name = heat.run.heat
    recess_then = heat.state.recess
    assert recess_then is not None
    scales = observed(weekend, card)
    try:
        model = clutch_model(weekend, today, recess_mm=recess_then.value_mm)
        reference = scales.applied_to(then.clutch)
        clutch = scales.applied_to(model.clutch)
        target = bite_speed(reference)
        # A reading both stand on has one error, which then mostly cancels.
        own = {"free_length", "worn"}
        own -= {f for f in own if then.sources.get(f) == model.sources.get(f)}
        moves = bite.bite_slopes(reference).keys() - {"recess"}
        estimate = bite.hold_bite(
            reference,
            clutch,
            u_shared={k: v for k, v in model.u.items() if k in moves - own},
            u_reference={k: v for k, v in then.u.items() if k in own or k == "recess"},
            u_today={k: v for k, v in model.u.items() if k in own},
        )
        slope = estimate.contributions["reference/recess"] / then.u["recess"]
    except RangeError as error:
        return _barred("bite", name, error, today)
    return _finish(
        card,
        "bite",
        name,
        model,
        today,
        estimate.value,
        estimate.u,
        shared=_shared(then, today, slope),
        target_rpm=target * _RPM,
        change_rpm=_change(clutch, today, target),
        is_calibrated=scales.bite_known,
        cautions=(*model.assumed, *_age_cautions(card, today)),
    )


def _for_speed(weekend: Weekend, card: ClutchCard, today: State, rpm: float) -> NutDesk:
    reference = f"{rpm:,.0f} rpm".replace(",", " ")
    target = to_si(rpm, "rpm")
    scales = observed(weekend, card)
    try:
        # Any setting that works will do to start from: the recess is what is sought.
        model = clutch_model(weekend, today, recess_mm=card.nut.recess_new_spring_low.value)

        def wanted_recess(moved: Mapping[str, float]) -> tuple[float]:
            # An error in the card bears on the calibration as well, and mostly cancels.
            clutch = scales.applied_to(model.moved(moved), moved)
            return (bite.recess_for_bite(clutch, target),)

        u = {**scales.u, **input_u([model])}
        u.pop("typed/recess", None)
        (found,) = propagate(wanted_recess, u)
    except RangeError as error:
        return _barred("bite", reference, error, today)
    assert found is not None
    cautions = list(model.assumed)
    if not scales.bite_known:
        cautions.append(
            "no creep speed has been observed yet: the speed is the model's own, not this car's"
        )
    present = today.recess
    return _finish(
        card,
        "bite",
        reference,
        model,
        today,
        found.value,
        found.u,
        shared=found.contributions.get(f"{present.record}/recess", 0.0) if present else 0.0,
        target_rpm=rpm,
        change_rpm=_change(scales.applied_to(model.clutch), today, target),
        is_calibrated=scales.bite_known,
        cautions=(*cautions, *_age_cautions(card, today)),
    )


def _change(clutch: Clutch, today: State, target: float) -> float | None:
    if today.recess is None or today.recess.overtaken:
        return None
    try:
        as_it_is = replace(clutch, recess=today.recess.value_mm / 1000)
        return (target - bite_speed(as_it_is)) * _RPM
    except RangeError:
        return None


def _barred(hold: Hold, reference: str, error: RangeError, today: State) -> NutDesk:
    return NutDesk(
        hold,
        reference,
        refused=why(error),
        present_mm=today.recess.value_mm if today.recess is not None else None,
    )


def _age_cautions(card: ClutchCard, today: State) -> tuple[str, ...]:
    figure = today.figure("free_length")
    refused = only_a_bound(today, card, "recess")
    cautions = [f"no turns: {refused}"] if refused else []
    if figure is not None and (figure.run_minutes > 0 or figure.unknown_runs):
        cautions.append("the spring has run since its free length was read: measure it again")
    if today.recess is not None and today.recess.overtaken:
        cautions.append("a spring was fitted since the recess was read: no turns from there")
    return tuple(cautions)


def _finish(
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
    return NutDesk(
        hold=hold,
        reference=reference,
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
