"""The heats of a sheet: how they went, the clutch they started on, and its bite by the model."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from pitwright.desk.clutch.model import UnknownClutchError, clutch_model, input_u, why
from pitwright.desk.clutch.observed import Observed, observed
from pitwright.desk.clutch.spread import Spread, propagate
from pitwright.desk.heats.changes import differences
from pitwright.desk.heats.timeline import timeline
from pitwright.desk.heats.timeline_rows import (
    Flag,
    HeatLine,
    HeatStatus,
    LapFigures,
    Start,
    best_of,
    flags_of,
    start_of,
)
from pitwright.desk.sheet.scope import Scope
from pitwright.mechanics.clutch import bite_speed
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.event import HeatKind
from pitwright.weekend.state import State
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = [
    "AtClose",
    "ModelBite",
    "SheetHeat",
    "at_close",
    "calibrations",
    "model_bite",
    "sheet_heats",
]

_RPM = 30 / math.pi


@dataclass(frozen=True)
class ModelBite:
    """The bite of a clutch state by the model [rpm], with its standard uncertainty.

    ``calibrated`` is whether a creep speed was observed on this clutch; without one the figure is
    the model's own and only its changes mean something. ``unknown`` says why there is none.
    """

    rpm: float | None = None
    u_rpm: float | None = None
    calibrated: bool = False
    unknown: str = ""


@dataclass(frozen=True)
class SheetHeat:
    """One heat of the sheet; figures are None where nobody noted them, never zero.

    ``changed`` is what differs on the clutch from the heat before, in words; ``flags`` what was
    not good at the start. ``laps`` in seconds, in the order driven.
    """

    heat: str
    kind: HeatKind
    round: int | None
    at: datetime
    status: HeatStatus
    clutch: str
    start: Start | None
    bite: ModelBite
    changed: tuple[str, ...]
    flags: tuple[Flag, ...]
    run_minutes: float | None
    warm_up_minutes: float | None
    planned_minutes: float | None
    lap_figures: LapFigures
    laps: tuple[float, ...]
    quickest: bool
    bite_rating: int | None
    bottom_end_rating: int | None
    consistency_rating: int | None
    result: str
    trouble: str
    note: str
    corrected: str

    @property
    def ran(self) -> bool:
        """Whether it was run, in full or in part."""
        return self.status in ("run", "stopped early")


@dataclass(frozen=True)
class AtClose:
    """One clutch as it stands at the end of what the sheet covers."""

    clutch: str
    name: str
    start: Start
    bite: ModelBite
    flags: tuple[Flag, ...]


def sheet_heats(scope: Scope, seen: Mapping[str, Observed]) -> tuple[SheetHeat, ...]:
    """Return the heats of the sheet in order; ``seen`` is the calibration of each clutch.

    The quickest is marked among the heats of the sheet.
    """
    weekend = scope.weekend
    lines = [h for h in timeline(weekend, scope.now).heats if scope.holds(h.at)]
    by_record = {h.run.id: h for h in weekend.heats}
    best = best_of(line for line in lines if line.status in ("run", "stopped early"))
    before = _heats_before(weekend)
    return tuple(
        _heat(weekend, line, by_record.get(line.record), before, seen, quickest=line is best)
        for line in lines
    )


def _heats_before(weekend: Weekend) -> dict[str, HeatOnClutch]:
    """Return for each heat the one run before it on the same clutch, by record."""
    found: dict[str, HeatOnClutch] = {}
    last: dict[str, HeatOnClutch] = {}
    for heat in weekend.heats:
        if heat.run.clutch in last:
            found[heat.run.id] = last[heat.run.clutch]
        if heat.run.status != "cancelled":
            last[heat.run.clutch] = heat
    return found


def _heat(
    weekend: Weekend,
    line: HeatLine,
    heat: HeatOnClutch | None,
    before: Mapping[str, HeatOnClutch],
    seen: Mapping[str, Observed],
    *,
    quickest: bool,
) -> SheetHeat:
    ran = line.status in ("run", "stopped early")
    earlier = before.get(line.record)
    changed: tuple[str, ...] = ()
    bite = ModelBite()
    if heat is not None and ran:
        card = weekend.card(line.clutch)
        bite = model_bite(weekend, heat.state, seen[line.clutch])
        if earlier is not None:
            changed = tuple(d.text for d in differences(card, earlier.state, heat.state))
    return SheetHeat(
        heat=line.heat,
        kind=line.kind,
        round=line.round,
        at=line.at,
        status=line.status,
        clutch=line.clutch,
        start=line.start if line.status != "cancelled" else None,
        bite=bite,
        changed=changed,
        flags=line.flags,
        run_minutes=line.run_minutes,
        warm_up_minutes=line.warm_up_minutes,
        planned_minutes=line.planned_minutes,
        lap_figures=line.laps if ran else LapFigures(0),
        laps=heat.laps if heat is not None and ran else (),
        quickest=quickest,
        bite_rating=line.ratings[0],
        bottom_end_rating=line.ratings[1],
        consistency_rating=line.ratings[2],
        result=line.result,
        trouble=line.trouble,
        note=line.note,
        corrected=line.corrected,
    )


def at_close(scope: Scope, seen: Mapping[str, Observed]) -> tuple[AtClose, ...]:
    """Return every clutch as it stands at the end of what the sheet covers."""
    found = []
    for key, card in scope.weekend.clutches.items():
        state = scope.weekend.state(None, key)
        found.append(
            AtClose(
                key,
                card.name,
                start_of(scope.weekend, state),
                model_bite(scope.weekend, state, seen[key]),
                flags_of(scope.weekend, state)[0],
            )
        )
    return tuple(found)


def calibrations(weekend: Weekend) -> dict[str, Observed]:
    """Return the calibration in force of every clutch."""
    found = {}
    for key, card in weekend.clutches.items():
        try:
            found[key] = observed(weekend, card)
        except RangeError:
            # The card's torque points make no curve; the Bite screen says so in full.
            found[key] = Observed()
    return found


def model_bite(weekend: Weekend, state: State, scales: Observed) -> ModelBite:
    """Return the bite of a state by the model, with what is known of its uncertainty."""
    calibrated = scales.any_bite_known
    try:
        model = clutch_model(weekend, state)
        calibrated = scales.bite_known(model.clutch)

        def speed(moved: Mapping[str, float]) -> tuple[float]:
            return (bite_speed(scales.applied_to(model.moved(moved), moved)) * _RPM,)

        (found,) = propagate(speed, {**scales.u, **input_u([model])})
    except UnknownClutchError as error:
        return ModelBite(calibrated=calibrated, unknown=str(error))
    except RangeError as error:
        return ModelBite(calibrated=calibrated, unknown=why(error))
    assert isinstance(found, Spread)
    return ModelBite(round(found.value, 3), round(found.u, 3), calibrated)
