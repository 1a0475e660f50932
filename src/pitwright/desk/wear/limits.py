"""Where a part's life ends: its discard limit, the nut's limit at the held setting, coil bind."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from pitwright.desk.clutch.model import ClutchModel, UnknownClutchError, clutch_model
from pitwright.desk.clutch.observed import observed
from pitwright.desk.nut.reference import shoes_not_measured
from pitwright.desk.wording import mm
from pitwright.mechanics import springs
from pitwright.mechanics.bite import recess_wanted
from pitwright.mechanics.clutch import Clutch, axial_travel, bite_speed, cavity
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import PartPlace
from pitwright.weekend.records import HeatRun, Setting
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

__all__ = ["HeldSetting", "WearLimit", "governing", "held_setting", "wear_limits"]


_ROUNDS = 4
_STEP = 1e-5  # m
_U_UNKNOWN_MM = 0.02  # of a figure that was set or states none; from memory, no source


@dataclass(frozen=True)
class WearLimit:
    """A size [mm] below which a part is done; ``name`` in two words, ``why`` it is one (empty:
    it stands on the card).

    ``u_mm`` is its standard uncertainty when it was worked out from readings. ``bench`` marks one
    that counts where a part is set and read, before a heat: nobody turns a nut in a race, and what
    its bite does there is not for a size to say. The others count as long as the part runs.
    """

    name: str
    value_mm: float
    why: str
    u_mm: float = 0.0
    bench: bool = False

    @property
    def called(self) -> str:
        """The limit's name as it stands in a sentence."""
        return f"the {self.name}" if self.name.endswith("limit") else self.name


@dataclass(frozen=True)
class HeldSetting:
    """What is to be held: recess and free length that go together [mm], and the clutch about them.

    ``of`` says whose it is, in words; ``u_mm`` is the standard uncertainty of recess and length.
    """

    recess_mm: float
    free_length_mm: float
    of: str
    u_mm: float
    state: State


def held_setting(weekend: Weekend, card: ClutchCard) -> HeldSetting | None:
    """Return what to hold: as the nut was last set, or as the last heat ran, if later.

    A recess that was only read does not count: it follows the nut, not the driver's wish. None
    while no recess goes with a known free length.
    """
    held: HeldSetting | None = None
    for record, before, after in weekend.walk(card):
        if isinstance(record, Setting):
            state, of = after, "the last setting"
        elif isinstance(record, HeatRun) and record.status != "cancelled":
            state, of = before, record.heat
        else:
            continue
        recess, length = state.recess, state.figure("free_length")
        if recess is not None and length is not None:
            u = math.hypot(recess.u_mm or _U_UNKNOWN_MM, length.u_mm or _U_UNKNOWN_MM)
            held = HeldSetting(recess.value_mm, length.value_mm, of, u, state)
    return held


def wear_limits(
    weekend: Weekend, place: PartPlace, quantity: str, clutch: str | None = None
) -> tuple[tuple[WearLimit, ...], tuple[str, ...]]:
    """Return every known end of a part's life, and what is left out, in words.

    A spring as it sags needs ever more recess for the same bite, or the same preload where the
    shoes were not measured, as the nut's answers hold them: the card's most recess and coil bind
    are thus limits of its free length, with the shoes as thick as they are now. Shoes as they wear
    travel further to the bell and squeeze the spring more: coil bind at the recess set now is a
    limit of their thickness.
    Source: geometry of the clutch (``mechanics.springs``), no outside source.
    """
    card = weekend.card(clutch)
    limits = _on_card(card, quantity)
    try:
        if place == "spring":
            held = held_setting(weekend, card)
            if held is None:
                return tuple(limits), (
                    "no setting to hold is known yet: only the card's limit counts",
                )
            limits += _spring_limits(weekend, card, held)
        elif place == "shoes":
            limits += _shoe_limits(weekend, card)
    except UnknownClutchError as error:
        return tuple(limits), (f"{error}: only the card's limit counts",)
    except RangeError as error:
        return tuple(limits), (f"coil bind cannot be worked out: {error}",)
    return tuple(limits), ()


def governing(limits: tuple[WearLimit, ...]) -> WearLimit | None:
    """Return the limit a shrinking part meets first."""
    from pitwright.inference.forecast import earliest

    first = earliest({limit.name: limit.value_mm for limit in limits})
    return next((x for x in limits if first is not None and x.name == first[0]), None)


def _on_card(card: ClutchCard, quantity: str) -> list[WearLimit]:
    spec = card.quantities[quantity]
    spring = spec.of == "spring"  # shoes may come to the maker's wear limit while they run
    found = []
    if spec.discard_below is not None:
        found.append(WearLimit("discard limit", spec.discard_below.value, "", bench=spring))
    if spec.low is not None:
        found.append(WearLimit("lower limit", spec.low.value, "", bench=spring))
    return found


def _spring_limits(weekend: Weekend, card: ClutchCard, held: HeldSetting) -> list[WearLimit]:
    state = weekend.state(None, card.id)
    model = clutch_model(weekend, state, recess_mm=held.recess_mm)
    clutch = model.clutch
    most = card.nut.recess_max
    deepest = clutch.recess_bottomed - axial_travel(clutch)
    if shoes_not_measured(held.of, held.state, state):
        total, what, u = held.recess_mm + held.free_length_mm, "preload", held.u_mm
        at_most, bound = (round(total - end * 1000, 4) for end in (most.si, deepest))
    else:
        then = clutch_model(weekend, held.state)
        now, bite = _bite_to_hold(weekend, card, then, model)
        at_most, bound = (
            round(_length_for(now, bite, end) * 1000, 4) for end in (most.si, deepest)
        )
        thinner = _length_for(replace(now, worn=now.worn + _STEP), bite, most.si)
        slope = {"worn": (thinner * 1000 - at_most) / _STEP}
        again = then.sources.get("worn") != model.sources.get("worn")
        by_shoes = [m.own_effect(slope) for m in (then, model) if again]
        what, u = "bite", math.hypot(held.u_mm, *by_shoes)
    whose = f"shorter, and the {what} of {held.of}"
    return [
        WearLimit(
            "recess limit", at_most, f"{whose} takes more than {mm(most.value)} of recess", u,
            bench=True,
        ),
        WearLimit("coil bind", bound, f"{whose} closes the coils before the shoes bite", u,
                  bench=True),
    ]  # fmt: skip


def _bite_to_hold(
    weekend: Weekend, card: ClutchCard, then: ClutchModel, now: ClutchModel
) -> tuple[Clutch, float]:
    """Return today's clutch and the bite that it is to have [rad/s], on one calibration."""
    if then.clutch.kinds == now.clutch.kinds:  # one pair, one calibration: it falls out
        return now.clutch, bite_speed(then.clutch)
    scales = observed(weekend, card)
    return scales.applied_to(now.clutch), bite_speed(scales.applied_to(then.clutch))


def _length_for(clutch: Clutch, bite: float, recess: float) -> float:
    """Return the free length [m] at which a bite takes so much recess."""
    length = clutch.free_length
    for _ in range(_ROUNDS):  # exact at once with one rate; a curve is followed
        length += recess_wanted(replace(clutch, free_length=length), bite) - recess
    return length


def _shoe_limits(weekend: Weekend, card: ClutchCard) -> list[WearLimit]:
    state = weekend.state(None, card.id)
    model = clutch_model(weekend, state)
    clutch = model.clutch
    room = springs.coil_bind_margin(cavity(clutch), clutch.recess, clutch.solid_length)
    slope = math.tan(clutch.wedge_angle)
    if slope <= 0.0:
        return []
    worn = (room / slope - clutch.clearance) * 1000
    return [
        WearLimit(
            "coil bind",
            round(model.fitted.shoes.thickness_new.value - worn, 4),
            "thinner, and the coils close before the shoes bite, at the recess set now",
        )
    ]
