"""Advice for the adjuster nut: which recess brings a preload or a bite back, or gives a speed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from pitwright.desk.clutch.model import (
    ClutchModel,
    UnknownClutchError,
    clutch_model,
    input_u,
    why,
)
from pitwright.desk.clutch.observed import observed
from pitwright.desk.clutch.spread import propagate
from pitwright.desk.nut.move import Hold, NutDesk, barred, move_to
from pitwright.desk.nut.reference import reference_heat
from pitwright.desk.sizes import only_a_bound
from pitwright.desk.wording import mm
from pitwright.mechanics import bite, nut
from pitwright.mechanics.clutch import Clutch, bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import FigureInForce, State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["nut_advice", "nut_start"]

_RPM = 30 / math.pi


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
    return move_to(
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
        return barred("bite", name, error, today)
    return move_to(
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
        return barred("bite", reference, error, today)
    assert found is not None
    cautions = list(model.assumed)
    if not scales.bite_known:
        cautions.append(
            "no creep speed has been observed yet: the speed is the model's own, not this car's"
        )
    present = today.recess
    return move_to(
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


def _age_cautions(card: ClutchCard, today: State) -> tuple[str, ...]:
    figure = today.figure("free_length")
    refused = only_a_bound(today, card, "recess")
    cautions = [f"no turns: {refused}"] if refused else []
    if figure is not None and (figure.run_minutes > 0 or figure.unknown_runs):
        cautions.append("the spring has run since its free length was read: measure it again")
    if today.recess is not None and today.recess.overtaken:
        cautions.append("a spring was fitted since the recess was read: no turns from there")
    return tuple(cautions)
