"""The bite over a race: each spring and shoe set at hand, at the recess that suits it best."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Final

from pitwright.desk.bite.figures import Change
from pitwright.desk.clutch.model import (
    ClutchModel,
    UnknownClutchError,
    clutch_model,
    why,
)
from pitwright.desk.clutch.observed import Observed, observed
from pitwright.desk.nut.reference import reference_heat
from pitwright.desk.race.doubts import doubts_of
from pitwright.desk.race.futures import Luck, draw_luck, fate_of, moments_of
from pitwright.desk.race.outcome import (
    Aim,
    Outcome,
    best_recess,
    off_minutes,
    outcome,
    price,
    worth,
)
from pitwright.desk.race.sets import AtHand, parts_at_hand
from pitwright.desk.race.unseen import unseen_change
from pitwright.desk.status import next_main
from pitwright.desk.wear.to_come import to_come
from pitwright.mechanics.clutch import Clutch, bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.state import State
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["Option", "RaceDesk", "race_desk"]

_RPM: Final = 30 / math.pi
_HALF_RPM: Final = 250.0
"""How far off its target a bite may be before the driver feels it; common practice, no source."""
_LIKELY_BAD: Final = 0.1
"""How likely a limit may be crossed before a set is put behind those that keep clear of it."""


@dataclass(frozen=True)
class Option:
    """One way to run the race: a spring, a shoe set and a recess, and what comes of it.

    ``leave`` tells that nothing is touched. ``unknown`` says why nothing can be said, and
    ``outcome`` is then None; ``change`` is then what another kind does to the bite as it goes in,
    where only one part is changed for it.
    """

    spring: AtHand
    shoes: AtHand
    leave: bool = False
    outcome: Outcome | None = None
    unknown: str = ""
    change: Change | None = None

    @property
    def parts_changed(self) -> int:
        """How many parts are changed for it."""
        return (self.spring.standing != "fitted") + (self.shoes.standing != "fitted")

    @property
    def crosses(self) -> bool:
        """Whether a limit is likely enough crossed in the race to stay away from it."""
        found = self.outcome
        limits = () if found is None else (found.drags, found.binds, found.thin)
        return any(chance is not None and chance > _LIKELY_BAD for chance in limits)


@dataclass(frozen=True)
class RaceDesk:
    """The answer over one race of ``minutes``: ``options`` with the best first.

    ``target_of`` says whose bite ``target_rpm`` is and ``half_of`` where the window's half width
    comes from; ``u_bite_rpm`` is what is not known of the bite whatever goes in. ``seen`` tells
    that a creep was observed. ``unknown`` says why there is no answer at all, empty when there is;
    ``notes`` what it leaves out or takes for granted.
    """

    heat: str
    minutes: float
    warm_up_minutes: float
    unknown: str = ""
    target_rpm: float = 0.0
    half_rpm: float = 0.0
    target_of: str = ""
    half_of: str = ""
    u_bite_rpm: float = 0.0
    seen: bool = False
    recess_now_mm: float | None = None
    idle_rpm: float | None = None
    options: tuple[Option, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def best(self) -> Option | None:
        """The option to take, None when nothing can be said of any."""
        first = self.options[0] if self.options else None
        return first if first is not None and first.outcome is not None else None

    @property
    def leave(self) -> Option | None:
        """Leaving everything as it is, None where that cannot be said."""
        return next((o for o in self.options if o.leave and o.outcome is not None), None)


def race_desk(
    weekend: Weekend, now: datetime, heat: str | None = None, clutch: str | None = None
) -> RaceDesk:
    """Return the answer over a heat to come, the next main when none is named.

    Raises KeyError when there is no such clutch or no such heat on the schedule.
    """
    card = weekend.card(clutch)
    main = next_main(weekend, now)
    name = heat or (main.name if main is not None else None)
    if name is None:
        return RaceDesk("", 0.0, 0.0, unknown="no main is left on the schedule")
    planned = next((h for h in weekend.schedule if h.name.lower() == name.lower()), None)
    if planned is None:
        raise KeyError(name)
    coming = to_come(weekend, now)
    at = next((i for i, h in enumerate(coming.heats) if h.name == planned.name), None)
    warm_up = coming.warm_up_minutes or 0.0
    start = RaceDesk(planned.name, planned.minutes, warm_up)
    if at is None:
        return replace(start, unknown=f"{planned.name} is over, called off, or after the last main")
    before = coming.heats[:at]
    state = weekend.state(None, card.id)
    try:
        model = clutch_model(weekend, state, recess_mm=card.nut.recess_new_spring_low.value)
        scales = observed(weekend, card)
        start = _aimed(weekend, card, scales, model, start)
        doubts, no_warmth = doubts_of(weekend, card, scales, model)
        bite = bite_speed(scales.applied_to(model.clutch))
    except UnknownClutchError as error:
        return replace(start, unknown=str(error))
    except RangeError as error:
        return replace(start, unknown=why(error))
    if start.unknown:
        return start
    luck = draw_luck(moments_of(planned.minutes), doubts, warm_up)
    springs, shoes = parts_at_hand(weekend, card.id)
    ran = sum(h.run_minutes for h in before)
    aim = Aim(
        start.target_rpm,
        start.half_rpm,
        card.engine.idle.value if card.engine.idle is not None else None,
        _thinnest_worn(card),
        _discard(card, "free_length"),
        absolute=not start.seen and start.target_of == _ON_CARD,
    )
    present = state.recess if state.recess is not None and not state.recess.overtaken else None
    table = _Table(weekend, card, luck, aim, ran + warm_up, warm_up, scales, state)
    found = sorted(table.options(springs, shoes), key=_rank)
    notes = [f"{h.name} is run before it: ask again after that" for h in before[-1:]] + [
        *model.assumed,
        *_notes(start, coming.warm_up_minutes is None, no_warmth),
    ]
    return replace(
        start,
        u_bite_rpm=doubts.u_common * bite * _RPM,
        recess_now_mm=present.value_mm if present is not None else None,
        idle_rpm=aim.idle_rpm,
        unknown=_nothing(found),
        options=tuple(found),
        notes=tuple(notes),
    )


_ON_CARD: Final = "the card's"


def _aimed(
    weekend: Weekend, card: ClutchCard, scales: Observed, model: ClutchModel, start: RaceDesk
) -> RaceDesk:
    """Fill in the target: the card's where bites were observed, else that of the last heat."""
    wish = card.targets.bite
    half, half_of = (
        _HALF_RPM,
        "what a driver hardly feels, from memory: give targets.bite a u of your own",
    )
    if wish is not None and wish.u:
        half, half_of = 2 * wish.u, "twice the card's u of it"
    start = replace(start, half_rpm=half, half_of=half_of, seen=scales.bite_known(model.clutch))
    heat = reference_heat(weekend, card)
    if wish is not None and (start.seen or isinstance(heat, str)):
        return replace(start, target_rpm=wish.value, target_of=_ON_CARD)
    if isinstance(heat, str):
        return replace(start, unknown="the card wishes for no bite, and no heat shows one")
    like = scales.applied_to(clutch_model(weekend, heat.state).clutch)
    return replace(start, target_rpm=bite_speed(like) * _RPM, target_of=f"as {heat.run.heat} began")


def _thinnest_worn(card: ClutchCard) -> float | None:
    thinnest = _discard(card, "shoe_thickness")
    return None if thinnest is None else card.shoes.thickness_new.value - thinnest


def _discard(card: ClutchCard, quantity: str) -> float | None:
    spec = card.quantities.get(quantity)
    return spec.discard_below.value if spec is not None and spec.discard_below else None


@dataclass(frozen=True)
class _Table:
    """What every option of a race has in common; ``ran`` is what the fitted parts run first."""

    weekend: Weekend
    card: ClutchCard
    luck: Luck
    aim: Aim
    ran: float
    warm_up: float
    scales: Observed
    state: State

    def options(self, springs: tuple[AtHand, ...], shoes: tuple[AtHand, ...]) -> Iterator[Option]:
        left: Floats | None = None  # of the pair fitted, which comes first
        sizes = {p.part: self._sizes(p) for p in (*springs, *shoes) if p.forecast is not None}
        for spring in springs:
            for one in shoes:
                silent = next((p for p in (spring, one) if p.unknown), None)
                if silent is not None:
                    yield self._unseen(spring, one, f"{silent.label}: {silent.unknown}")
                    continue
                try:
                    model = self._model(spring, one)
                except (UnknownClutchError, RangeError) as error:
                    reason = why(error) if isinstance(error, RangeError) else str(error)
                    yield Option(spring, one, unknown=reason)
                    continue
                if self.scales.any_bite_known and not self.scales.bite_known(model.clutch):
                    yield self._unseen(spring, one, "no bite of such a pair was seen yet")
                    continue
                length, new = sizes[spring.part], model.fitted.shoes.thickness_new.value
                clutch = self.scales.applied_to(model.clutch)
                fate = fate_of(clutch, length, new - sizes[one.part], self.luck,
                               spring_seen=spring.part in self._seen)  # fmt: skip
                present = self.state.recess
                fitted = spring.standing == one.standing == "fitted"
                if fitted and present is not None and not present.overtaken:
                    untouched = fate
                    if present.record in self._nuts:
                        # its bite was seen at this very setting
                        untouched = replace(
                            fate, luck=replace(self.luck, slip=0.0 * self.luck.slip)
                        )
                    left = off_minutes(untouched, self.aim, present.value_mm)
                    told = outcome(untouched, self.aim, present.value_mm)
                    yield Option(spring, one, leave=True, outcome=told)
                low = max(0.0, _loosest(clutch, length.max()))
                recess = best_recess(fate, self.aim, low, self.card.nut.recess_max.value)
                if recess is None:
                    yield Option(spring, one, unknown="solid at any recess: the spring binds")
                else:
                    yield Option(spring, one, outcome=outcome(fate, self.aim, recess, left))

    def _unseen(self, spring: AtHand, shoes: AtHand, unknown: str) -> Option:
        other = [p for p in (spring, shoes) if p.standing != "fitted"]
        change = None
        if len(other) == 1:
            change = unseen_change(self.weekend, self.card, self.scales, self.state, other[0])
        return Option(spring, shoes, unknown=unknown, change=change)

    def _model(self, spring: AtHand, shoes: AtHand) -> ClutchModel:
        state = self.state.refitted(self.card, "spring", spring.part)
        state = state.refitted(self.card, "shoes", shoes.part)
        start = self.card.nut.recess_new_spring_low.value
        return clutch_model(self.weekend, state, recess_mm=start)

    def _sizes(self, part: AtHand) -> Floats:
        assert part.forecast is not None
        begin = part.age_minutes + (self.ran if part.standing == "fitted" else self.warm_up)
        return part.forecast.paths([begin + m for m in self.luck.moments])

    @property
    def _nuts(self) -> frozenset[str]:
        """The records of recesses at which the bite was observed."""
        return frozenset(
            s.model.sources.get("recess", "")
            for s in self.scales.seen
            if s.model is not None and not s.why_not and s.how == "creep"
        )

    @property
    def _seen(self) -> frozenset[str]:
        """The springs whose bite was observed since they were fitted."""
        fitted = self.state.spring
        if fitted is None or fitted.fitted_at is None:
            return frozenset()
        seen = any(
            s.how == "creep" and not s.why_not and s.at >= fitted.fitted_at
            for s in self.scales.seen
        )
        return frozenset({fitted.part}) if seen else frozenset()


def _loosest(clutch: Clutch, longest_mm: float) -> float:
    """Return the recess [mm] above which no spring of that length lies loose."""
    room = (clutch.solid_length + clutch.recess_bottomed) * 1e3
    return room - longest_mm


def _rank(option: Option) -> tuple[bool, bool, bool, float]:
    found = option.outcome
    if found is None:
        return True, False, False, 0.0
    cost = price(found, option.parts_changed, option.leave)
    return False, option.crosses, not worth(found), cost


def _nothing(options: list[Option]) -> str:
    if not options:
        return "no spring or no shoes are known: list them in stock.toml or fit them"
    if options[0].outcome is None:
        return "; ".join(dict.fromkeys(o.unknown for o in options))
    return ""


def _notes(found: RaceDesk, no_warm_up: bool, no_warmth: str) -> Iterator[str]:
    if not found.seen:
        if found.target_of == _ON_CARD:
            yield "no creep was seen: the bite is the model's own, and its doubt is in the minutes"
        else:
            yield "no creep was seen: only the change against that heat is to be trusted"
    if no_warm_up:
        yield "no warm-up was ever noted, so none is counted"
    if no_warmth:
        yield (f"the spring is taken to warm within minutes and lock-up is left out: {no_warmth}")
