"""The pace of the weekend's heats: which have laps, what the laps say, what changed in between."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from pitwright.desk.heats.changes import differences
from pitwright.desk.wording import day_time, mm
from pitwright.inference.laps import Reason, SetAsideRule
from pitwright.weekend.event import HeatKind
from pitwright.weekend.weekend import HeatOnClutch, Weekend

if TYPE_CHECKING:
    from pitwright.inference.pace import HeatPace

__all__ = [
    "BEST_N",
    "RUN_N",
    "LapSpread",
    "LapTrace",
    "PaceHeat",
    "find_heats",
    "heat_pace",
    "lap_spread",
    "lap_trace",
    "pace_heats",
    "usual_choice",
]

BEST_N = 5
RUN_N = 3

_MARKED = ("spring", "shoes", "bell", "recess", "height shims", "end play shims", "build")


@dataclass(frozen=True)
class PaceHeat:
    """A heat that was run, for the pace table.

    ``record`` is its key. ``name`` is unique among the heats. ``laps`` is empty where none were
    kept. ``aside_because`` says why it is not chosen until the user does, empty when it is.
    ``changes`` is what was changed on its clutch since the heat before.
    """

    record: str
    name: str
    kind: HeatKind
    at: datetime
    on: HeatOnClutch
    laps: tuple[float, ...]
    aside_because: str = ""
    changes: tuple[str, ...] = ()


@dataclass(frozen=True)
class LapTrace:
    """Laps to draw, as (number, seconds): those kept, and those set aside with the reason."""

    name: str
    kept: tuple[tuple[int, float], ...]
    aside: tuple[tuple[int, float, Reason], ...]


@dataclass(frozen=True)
class LapSpread:
    """How the kept laps of a heat are distributed [s]: ends, quartiles and median."""

    name: str
    laps: int
    low: float
    lower_quartile: float
    median: float
    upper_quartile: float
    high: float

    @property
    def reach(self) -> tuple[float, float]:
        """Where whiskers end [s]: one and a half quartile ranges off, or at the last lap there."""
        span = 1.5 * (self.upper_quartile - self.lower_quartile)
        return max(self.low, self.lower_quartile - span), min(self.high, self.upper_quartile + span)


def pace_heats(weekend: Weekend) -> tuple[PaceHeat, ...]:
    """Return the heats that were run, in order, with their laps and what changed before each.

    Laps are kept by the heat's name: where two heats carry one name they are those of the later.
    """
    ran = [h for h in weekend.heats if h.run.status != "cancelled"]
    last = {h.run.heat.casefold(): h.run.id for h in ran}
    twice = {
        name
        for name in (h.run.heat.casefold() for h in ran)
        if sum(h.run.heat.casefold() == name for h in ran) > 1
    }
    found: list[PaceHeat] = []
    before: dict[str, HeatOnClutch] = {}
    for heat in ran:
        run = heat.run
        shadowed = last[run.heat.casefold()] != run.id
        name = run.heat
        if run.heat.casefold() in twice:
            name = f"{run.heat}, {day_time(run.happened_at, weekend.event.zone)}"
        laps = () if shadowed else heat.laps
        found.append(
            PaceHeat(
                record=run.id,
                name=name,
                kind=run.heat_kind,
                at=run.happened_at,
                on=heat,
                laps=laps,
                aside_because=_why_aside(heat, shadowed=shadowed),
                changes=_changes(weekend, before.get(run.clutch), heat),
            )
        )
        before[run.clutch] = heat
    return tuple(found)


def _why_aside(heat: HeatOnClutch, *, shadowed: bool) -> str:
    if shadowed:
        return "run again under the same name; the laps kept are the later run's"
    if not heat.laps:
        return "no laps kept"
    if heat.run.status == "stopped early":
        return "stopped early"
    if heat.run.heat_kind in ("warm-up", "run-in"):
        return heat.run.heat_kind
    return ""


def _changes(weekend: Weekend, before: HeatOnClutch | None, heat: HeatOnClutch) -> tuple[str, ...]:
    if before is None:
        return ()
    words: list[str] = []
    found = differences(weekend.card(heat.run.clutch), before.state, heat.state)
    for difference in found:
        if difference.about not in _MARKED:
            continue
        if difference.about == "build":
            words.append(difference.after)
        elif difference.about == "recess" and heat.state.recess is not None:
            change = difference.change.removesuffix(" mm")
            size = f" ({change})" if change else ""
            words.append(f"recess {mm(heat.state.recess.value_mm)}{size}")
        elif difference.about in ("height shims", "end play shims"):
            words.append(difference.label.lower())
        else:
            words.append(difference.after)
    return tuple(words)


def usual_choice(heats: Iterable[PaceHeat]) -> frozenset[str]:
    """Return the records of the heats that count until the user chooses otherwise.

    Warm-ups, run-ins and heats stopped early count only when they are chosen.
    """
    return frozenset(h.record for h in heats if not h.aside_because)


def find_heats(heats: Sequence[PaceHeat], names: Iterable[str]) -> tuple[PaceHeat, ...]:
    """Return the heats of those names, the later one where two carry a name.

    Raises KeyError with the name that no heat has.
    """
    found = []
    for name in names:
        wanted = name.strip().casefold()
        heat = next(
            (h for h in reversed(heats) if wanted in (h.name.casefold(), h.on.run.heat.casefold())),
            None,
        )
        if heat is None:
            raise KeyError(name.strip())
        found.append(heat)
    return tuple(found)


@lru_cache(maxsize=1024)
def heat_pace(
    laps: tuple[float, ...],
    rule: SetAsideRule | None = None,
    best_n: int = BEST_N,
    run_n: int = RUN_N,
) -> HeatPace | None:
    """Return the pace of a heat, None without laps; the same laps are worked out once only."""
    if not laps:
        return None
    from pitwright.inference.pace import analyse_heat

    return analyse_heat(laps, rule, best_n=best_n, run_n=run_n)


def lap_trace(name: str, pace: HeatPace) -> LapTrace:
    """Return the laps of a heat to draw."""
    out = {mark.lap: mark for mark in pace.set_aside}
    return LapTrace(
        name,
        tuple((n, s) for n, s in enumerate(pace.laps, 1) if n not in out),
        tuple((m.lap, m.seconds, m.reason) for m in pace.set_aside),
    )


def lap_spread(name: str, pace: HeatPace) -> LapSpread | None:
    """Return the quartiles of the kept laps, None when there are none.

    The quartiles are the inclusive ones: of the laps as they are, not of a population behind.
    """
    kept = sorted(pace.kept)
    if not kept:
        return None
    lower, middle, upper = (
        statistics.quantiles(kept, n=4, method="inclusive") if len(kept) > 1 else kept * 3
    )
    return LapSpread(name, len(kept), kept[0], lower, middle, upper, kept[-1])
