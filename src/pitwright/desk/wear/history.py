"""What a wearing part read against its own running, folded from the log."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Final, Literal

from pitwright.desk.measure.instruments import last_zero_checks, measures_length, tool
from pitwright.desk.wording import part_label
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import PartPlace
from pitwright.weekend.records import CarryOver, Check, HeatRun, Reading
from pitwright.weekend.state import PartState, State, first_state
from pitwright.weekend.weekend import Weekend

if TYPE_CHECKING:
    from pitwright.desk.measure.instruments import Tool
    from pitwright.inference.readings import Reading as WearReading

__all__ = ["WEARS", "Standing", "WearHistory", "WearPoint", "wear_histories"]

WEARS: Final[Mapping[PartPlace, str]] = {"spring": "free_length", "shoes": "shoe_thickness"}
"""The places of the parts that are followed, and the quantity that shrinks."""

Standing = Literal["fitted", "spare", "thrown away"]

_U_UNKNOWN_MM: Final = 0.02  # for a reading that no tool of the card explains; from memory


@dataclass(frozen=True)
class WearPoint:
    """One reading of a part: its size [mm] after ``minutes`` of running.

    ``u_mm`` is the standard uncertainty that varies between readings, ``seat_mm`` what of it comes
    with seating part and tool anew, which quick repeats do not average out; ``run_in`` False when
    the spring had not been squeezed yet; ``hot`` the running until then that was hotter than the
    part's usual [min times tens of kelvin].
    """

    minutes: float
    value_mm: float
    u_mm: float
    at: datetime
    record: str
    run_in: bool = True
    seat_mm: float = 0.0
    hot: float = 0.0

    def for_forecast(self) -> WearReading:
        """Return the point as the forecast takes it."""
        from pitwright.inference.readings import Reading as WearReading

        quick = math.sqrt(max(self.u_mm**2 - self.seat_mm**2, 1e-12))
        return WearReading(
            self.minutes,
            self.value_mm,
            quick,
            run_in=self.run_in,
            seat=self.seat_mm,
            occasion=self.record,
            hot=self.hot,
        )


@dataclass(frozen=True)
class WearHistory:
    """A part's readings in order, on a scale of running minutes without a gap in it.

    Minutes count from new. Once a run was not timed the age from new is unknown: ``since`` then
    names the last such heat, minutes count from its end and ``points`` are those read after it.
    ``age_minutes`` is the part's running now on the same scale. ``since_new`` are the readings
    whose running from new is known; ``squeezes_told`` whether any of ``points`` says how often
    the spring was squeezed; ``left_out`` counts those that stand before ``since``, and
    ``carried`` those of an earlier weekend, whose running is not known: neither can be used.
    ``no_run`` names heats noted with no running at all.
    """

    part: str
    place: PartPlace
    quantity: str
    label: str
    kind: str
    standing: Standing
    age_minutes: float
    points: tuple[WearPoint, ...] = ()
    since_new: tuple[WearPoint, ...] = ()
    since: str = ""
    squeezes_told: bool = False
    left_out: int = 0
    carried: int = 0
    no_run: tuple[str, ...] = ()


@dataclass
class _Gathered:
    """What the walk has found of one part; ``squeezes`` stands beside each of ``points``."""

    points: list[WearPoint] = field(default_factory=list)
    squeezes: list[int | None] = field(default_factory=list)
    since_new: list[WearPoint] | None = None
    base: float = 0.0
    since: str = ""
    left_out: int = 0
    carried: int = 0
    no_run: list[str] = field(default_factory=list)
    heats: list[tuple[float, float, float | None]] = field(default_factory=list)

    def start_afresh(self, since: str, base: float) -> None:
        """Count from here: a run of unknown length lies between what was read and what follows."""
        if self.since_new is None:
            self.since_new = self.settled()
        self.left_out += len(self.points)
        self.points, self.squeezes = [], []
        self.since, self.base = since, base

    def ran(self, heat: HeatRun, before: PartState | None, after: PartState) -> None:
        """Note a heat: the running it put on the part, and how hot the engine was."""
        if not (after.fitted and heat.status != "cancelled"):
            return
        start = before.run_minutes if before is not None else 0.0
        if after.run_minutes > start:
            self.heats.append((start, after.run_minutes, heat.engine_c))
        elif heat.run_minutes == 0.0:
            self.no_run.append(heat.heat)

    def with_heat(self, points: Sequence[WearPoint], base: float) -> tuple[WearPoint, ...]:
        """Return points with the hot running that each has behind it since the base."""
        timed = [(a, b, c) for a, b, c in self.heats if c is not None and a >= base - 1e-6]
        if not timed:
            return tuple(points)
        usual = sum((b - a) * c for a, b, c in timed) / sum(b - a for a, b, _ in timed)

        def hot(until: float) -> float:
            return sum((b - a) * (c - usual) / 10.0 for a, b, c in timed if b <= until + 1e-6)

        return tuple(replace(p, hot=hot(p.minutes + base)) for p in points)

    def settled(self) -> list[WearPoint]:
        """Return the points, those read before the squeezes marked as such.

        A spring read when new counts as not squeezed when the record says so, or when a later
        reading before its first run says that it was squeezed by then.
        """
        squeezed_later = False
        found: list[WearPoint] = []
        for point, squeezes in zip(reversed(self.points), reversed(self.squeezes), strict=True):
            new = point.minutes == 0.0 and not self.since
            before = new and (squeezes == 0 or (squeezes is None and squeezed_later))
            squeezed_later = squeezed_later or (new and bool(squeezes))
            found.append(replace(point, run_in=not before))
        return found[::-1]


def wear_histories(weekend: Weekend, clutch: str | None = None) -> tuple[WearHistory, ...]:
    """Return the history of every spring and shoe set: the fitted first, thrown away last.

    Raises KeyError when there is no such clutch.
    """
    card = weekend.card(clutch)
    tools = _tools(weekend, card)
    found: dict[str, _Gathered] = defaultdict(_Gathered)
    state = first_state(card, weekend.stock)
    for record, before, state in weekend.walk(card):
        if isinstance(record, HeatRun | CarryOver):
            name = record.heat if isinstance(record, HeatRun) else record.event
            for part in state.parts.values():
                earlier = before.parts.get(part.part)
                if isinstance(record, HeatRun):
                    found[part.part].ran(record, earlier, part)
                if part.unknown_runs > (earlier.unknown_runs if earlier is not None else 0):
                    found[part.part].start_afresh(name, part.run_minutes)
        if not isinstance(record, Check | CarryOver):
            continue
        for reading in record.readings:
            owner = _owner(card, state, reading)
            if owner is None:
                continue
            gathered = found[owner.part]
            if isinstance(record, CarryOver):
                gathered.carried += 1
                continue
            worth = _worth(card, tools, reading)
            if worth is not None:
                u, seat = worth
                minutes = round(owner.run_minutes - gathered.base, 6)
                gathered.points.append(
                    WearPoint(
                        minutes, reading.value_mm, u, record.happened_at, record.id, seat_mm=seat
                    )
                )
                gathered.squeezes.append(reading.squeezes if owner.place == "spring" else None)
    kinds = {p.id: p.kind for place in WEARS for p in weekend.stock.parts(place)}
    histories = [
        _history(part, found[part.part], kinds.get(part.part, ""))
        for part in state.parts.values()
        if part.place in WEARS
    ]
    order: dict[Standing, int] = {"fitted": 0, "spare": 1, "thrown away": 2}
    return tuple(sorted(histories, key=lambda h: (order[h.standing], h.place == "shoes")))


def _owner(card: ClutchCard, state: State, reading: Reading) -> PartState | None:
    """Return the part whose wear a reading shows, None when it shows none."""
    place = next((p for p, quantity in WEARS.items() if quantity == reading.quantity), None)
    if place is None or reading.quantity not in card.quantities:
        return None
    if reading.part is not None:
        return state.parts.get(reading.part)
    return state.fitted(place)


def _tools(weekend: Weekend, card: ClutchCard) -> dict[str, Tool]:
    records = weekend.log.records
    if not records:
        return {}
    zeros, now = last_zero_checks(records), records[-1].happened_at
    return {
        key: tool(key, instrument, zeros.get(key), now)
        for key, instrument in card.instruments.items()
        if measures_length(instrument)
    }


def _worth(
    card: ClutchCard, tools: Mapping[str, Tool], reading: Reading
) -> tuple[float, float] | None:
    """Return what of a reading's u differs from check to check, and its part from seating [mm].

    The tool's own error is the same in all of them and cancels in the wear. Half of the variance
    of a single reading is taken to come with seating part and tool anew (no source): quick repeats
    do not average it out. None when the reading is only a bound, as beyond the last step of a
    go/no-go tool.
    """
    from pitwright.desk.measure.gauging import gauged
    from pitwright.metrology.instruments import InstrumentKind

    spec = card.quantities[reading.quantity]
    found = tools.get(reading.instrument or spec.instrument)
    if reading.bound is not None:
        return None
    if found is None or found.gauge is None:
        return reading.u_mm or _U_UNKNOWN_MM, 0.0
    if found.gauge.kind is InstrumentKind.STEP_TOOL:
        return None if reading.u_mm is None else (reading.u_mm, 0.0)
    measured = gauged(found, spec, reading.values_mm, reading.part_c)
    u = measured.u_varying or reading.u_mm or _U_UNKNOWN_MM
    one = measured.sd or 0.0
    seat = math.sqrt(0.5) * one
    return math.sqrt(u**2 + seat**2 * (1.0 - 1.0 / measured.n)), seat


def _history(part: PartState, gathered: _Gathered, kind: str) -> WearHistory:
    standing: Standing = "thrown away" if part.discarded else "fitted" if part.fitted else "spare"
    points = gathered.with_heat(gathered.settled(), gathered.base)
    new = points if gathered.since_new is None else gathered.with_heat(gathered.since_new, 0.0)
    return WearHistory(
        part=part.part,
        place=part.place,
        quantity=WEARS[part.place],
        label=part_label(part.label, part.part),
        kind=kind,
        standing=standing,
        age_minutes=round(part.run_minutes - gathered.base, 6),
        points=points,
        since_new=new,
        since=gathered.since,
        squeezes_told=any(s is not None for s in gathered.squeezes),
        left_out=gathered.left_out,
        carried=gathered.carried,
        no_run=tuple(gathered.no_run),
    )
