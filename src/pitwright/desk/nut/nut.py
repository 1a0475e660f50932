"""Advice for the adjuster nut: which recess brings a preload or a bite back, or gives a speed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from pitwright.desk.clutch.fitted import fitted
from pitwright.desk.clutch.model import (
    ClutchModel,
    UnknownClutchError,
    clutch_model,
    input_u,
    why,
)
from pitwright.desk.clutch.nut_thread import NutFit, nut_fit
from pitwright.desk.clutch.observed import Observed, observed
from pitwright.desk.clutch.spread import Spread, propagate
from pitwright.desk.clutch.typed import with_typed
from pitwright.desk.nut.move import Hold, NutDesk, barred, move_to
from pitwright.desk.nut.reference import reference_heat, shoes_not_measured
from pitwright.desk.sizes import only_a_bound
from pitwright.desk.wording import mm
from pitwright.mechanics import bite, nut
from pitwright.mechanics.clutch import Clutch, bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.units import to_si
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = ["nut_advice", "nut_like", "nut_start"]

_RPM = 30 / math.pi
_MM = 1e-3


def nut_advice(
    weekend: Weekend,
    *,
    hold: Hold | None = None,
    like: str | None = None,
    target_rpm: float | None = None,
    free_length_mm: float | None = None,
    recess_mm: float | None = None,
    clutch: str | None = None,
) -> NutDesk:
    """Advise the recess that brings an earlier heat back, or gives a speed.

    ``like`` names the heat (the last one with known figures when None); ``target_rpm`` asks for a
    bite instead of a heat's; ``free_length_mm`` and ``recess_mm`` stand in for today's readings
    while they are typed. ``hold`` is left to ``nut_like`` unless it is asked for.
    """
    card = weekend.card(clutch)
    today = weekend.state(None, clutch)
    for quantity, typed in (("free_length", free_length_mm), ("recess", recess_mm)):
        if typed is not None:
            today = with_typed(card, today, quantity, typed)
    if target_rpm is not None:
        refused = _only_bounds(card, today)
        if refused:
            return NutDesk("bite", "", unknown=refused)
        return _for_speed(weekend, card, today, target_rpm)
    heat = reference_heat(weekend, card, like)
    if isinstance(heat, str):
        return NutDesk(hold or "bite", "", unknown=_only_bounds(card, today) or heat)
    return nut_like(weekend, heat.run.heat, heat.state, today, hold)


def nut_like(
    weekend: Weekend, name: str, then: State, today: State, hold: Hold | None = None
) -> NutDesk:
    """Advise the recess that makes ``today``'s clutch what it was in the state called ``name``.

    The bite is held wherever the shoes of both have been measured. Without that nobody knows what
    their wear does to it; then the preload is held, which follows the free length one for one and
    counts no shoe wear, and the advice says so. ``hold`` asks for one of the two.
    """
    card = weekend.card(today.clutch)
    unmeasured = shoes_not_measured(name, then, today)
    chosen: Hold = hold or ("preload" if unmeasured else "bite")
    refused = _only_bounds(card, today)
    if refused:
        return NutDesk(chosen, "", unknown=refused)
    try:
        then_model = clutch_model(weekend, then)
    except UnknownClutchError as error:
        return NutDesk(chosen, name, unknown=f"{name}: {error}")
    except RangeError as error:
        return NutDesk(chosen, name, unknown=f"{name}: {why(error)}")
    if today.spring is None or today.figure("free_length") is None:
        return NutDesk(chosen, name, unknown="measure the free length of the spring fitted now")
    if chosen == "preload":
        return _same_preload(weekend, card, name, then, then_model, today, unmeasured)
    return _same_bite(weekend, card, name, then_model, today)


def _only_bounds(card: ClutchCard, today: State) -> str:
    found = (only_a_bound(today, card, quantity) for quantity in ("free_length", "shoe_thickness"))
    return next((refused for refused in found if refused), "")


def nut_start(weekend: Weekend, clutch: str | None = None) -> NutDesk:
    """Advise what brings the last heat back, or before the first heat where to start.

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


def _same_preload(
    weekend: Weekend,
    card: ClutchCard,
    name: str,
    then_state: State,
    then: ClutchModel,
    today: State,
    unmeasured: str,
) -> NutDesk:
    now_length, recess_then = today.figure("free_length"), then_state.recess
    assert now_length is not None
    assert recess_then is not None
    # Today's spring and shoes in the setting of then; where even that binds, then's must do.
    try:
        model = clutch_model(weekend, today, recess_mm=recess_then.value_mm)
    except RangeError:
        model = then
    length_then = then_state.figure("free_length")
    same_length = length_then is not None and length_then.record == now_length.record
    wanted, u_wanted = nut.recess_for_same_preload(
        then.clutch.recess,
        then.clutch.free_length,
        now_length.value_mm / 1000,
        u_recess=then.u["recess"],
        u_L_free_then=0.0 if same_length else then.u["free_length"],
        u_L_free_now=0.0 if same_length else model.u["free_length"],
    )
    worn, worn_then = today.figure("shoe_thickness"), then_state.figure("shoe_thickness")
    because = f"{unmeasured}, and " if unmeasured else ""
    cautions = [f"holds the preload only: {because}worn shoes bite later and are not counted"]
    if worn is not None and worn_then is not None and worn.value_mm < worn_then.value_mm:
        cautions.append(
            f"the shoes are {mm(worn_then.value_mm - worn.value_mm)} thinner than in that heat"
        )
    return move_to(
        card,
        "preload",
        name,
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
    weekend: Weekend, card: ClutchCard, name: str, then: ClutchModel, today: State
) -> NutDesk:
    scales = observed(weekend, card)
    try:
        model = clutch_model(
            weekend, today, recess_mm=_some_recess_mm(weekend, card, then.nut, today)
        )
        target = bite_speed(scales.applied_to(then.clutch))
        model = _set_for(model, scales, target)

        def wanted_recess(moved: Mapping[str, float]) -> tuple[float]:
            # What both stand on (the card, a reading, the calibration) is one error, and mostly
            # cancels.
            wish = bite_speed(scales.applied_to(then.moved(moved), moved))
            return (bite.recess_for_bite(scales.applied_to(model.moved(moved), moved), wish),)

        (found,) = propagate(wanted_recess, _without_recess(scales.u, then, model))
    except RangeError as error:
        return barred("bite", name, error, today)
    assert found is not None
    return _bite_advice(card, name, model, today, found, target, scales, cautions=model.assumed)


def _some_recess_mm(weekend: Weekend, card: ClutchCard, fit: NutFit, today: State) -> float:
    """Return a recess at which the spring is neither loose nor solid: half way between the two.

    The recess is what is sought, so that any at which the spring works will do to start from.
    """
    known = today.figure("free_length")
    spring = fitted(weekend, card, today).spring
    free = spring.free_length_new.value if known is None else known.value_mm
    return fit.recess_bottomed / _MM - (free - spring.solid_length.value) / 2


def _set_for(model: ClutchModel, scales: Observed, target: float) -> ClutchModel:
    """Return it at the recess for a bite [rad/s], where its spring is as unsure as it is there."""
    wanted = bite.recess_for_bite(scales.applied_to(model.clutch), target)
    try:
        return model.changed(recess=wanted)
    except RangeError:
        return model


def _without_recess(scales_u: Mapping[str, float], *models: ClutchModel) -> dict[str, float]:
    """Return what the recess sought stands on; the one it stands in for is none of it."""
    u = {**scales_u, **input_u(models)}
    u.pop("typed/recess", None)
    return u


def _bite_advice(
    card: ClutchCard,
    reference: str,
    model: ClutchModel,
    today: State,
    wanted: Spread,
    target: float,
    scales: Observed,
    cautions: tuple[str, ...],
) -> NutDesk:
    present = today.recess
    return move_to(
        card,
        "bite",
        reference,
        model,
        today,
        wanted.value,
        wanted.u,
        shared=wanted.contributions.get(f"{present.record}/recess", 0.0) if present else 0.0,
        target_rpm=round(target * _RPM, 6),
        change_rpm=_change(scales.applied_to(model.clutch), today, target),
        is_calibrated=scales.bite_known(model.clutch),
        cautions=(*cautions, *_age_cautions(card, today)),
    )


def _for_speed(weekend: Weekend, card: ClutchCard, today: State, rpm: float) -> NutDesk:
    reference = f"{rpm:,.0f} rpm".replace(",", " ")
    target = to_si(rpm, "rpm")
    scales = observed(weekend, card)
    try:
        start = _some_recess_mm(weekend, card, nut_fit(weekend, card), today)
        model = _set_for(clutch_model(weekend, today, recess_mm=start), scales, target)

        def wanted_recess(moved: Mapping[str, float]) -> tuple[float]:
            # An error in the card bears on the calibration as well, and mostly cancels.
            clutch = scales.applied_to(model.moved(moved), moved)
            return (bite.recess_for_bite(clutch, target),)

        (found,) = propagate(wanted_recess, _without_recess(scales.u, model))
    except RangeError as error:
        return barred("bite", reference, error, today)
    assert found is not None
    cautions = list(model.assumed)
    if not scales.bite_known(model.clutch):
        cautions.append(
            "no creep speed has been observed yet: the speed is the model's own, not this car's"
        )
    return _bite_advice(
        card, reference, model, today, found, target, scales, cautions=tuple(cautions)
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
