"""What one spring and shoe set does over a race at one recess, and which recess suits it best."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from pitwright.desk.race.futures import Fate
from pitwright.inference.race import Band, Windows, band, best_setting, chance, minutes_off

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = [
    "Aim",
    "Beside",
    "BitePoint",
    "LockUp",
    "Outcome",
    "best_recess",
    "off_minutes",
    "outcome",
    "price",
    "worth",
]

_RPM: Final = 30 / math.pi
_MM: Final = 1e-3
_NUT_MIN: Final = 0.3
_PART_MIN: Final = 1.5
_LIKELIER: Final = 2.0
_NOT_SOLID: Final = 0.05
"""How likely a setting may make the spring solid before the bite and still be advised."""


@dataclass(frozen=True)
class Aim:
    """What the race is held against: the bite wanted, give or take ``half_rpm``, and the limits.

    ``idle_rpm``, ``thinnest_worn_mm`` (the most wear) and ``shortest_mm`` are None where the card
    gives none. ``absolute`` counts what is not known of the bite itself in the minutes too: where
    nobody has seen this clutch bite. Else it is the same for every set, and for the target.
    """

    target_rpm: float
    half_rpm: float
    idle_rpm: float | None = None
    thinnest_worn_mm: float | None = None
    shortest_mm: float | None = None
    absolute: bool = False

    def windows(self, fate: Fate) -> Windows:
        """Return the recesses that keep the bite inside."""
        return fate.windows(self.target_rpm / _RPM, self.half_rpm / _RPM, absolute=self.absolute)


@dataclass(frozen=True)
class BitePoint:
    """Where the bite lies [rpm] after ``minutes`` of the race: nine in ten between its ends."""

    minutes: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class LockUp:
    """How lock-up changes from start to end [rpm], and how warm the bell is at both [degC].

    ``never`` is how likely the clutch does not lock up any more at the end.
    """

    change_rpm: Band
    start_c: float
    end_c: float
    never: float


@dataclass(frozen=True)
class Beside:
    """How likely a race is less off target than one left as it is, and how likely more."""

    less: float
    more: float


@dataclass(frozen=True)
class Outcome:
    """A race at ``recess_mm``: minutes off target, the drift from start to end [rpm], chances.

    ``mean_off_min`` is what settings are compared by, ``off_min`` the range. ``leaves`` is how
    likely the bite leaves its window at all, ``drags`` that the let-go falls below idle, ``binds``
    that the spring is solid before the bite, ``thin`` that the shoes pass their limit, ``short``
    that the spring does; None where there is no such limit. ``solid`` is how much of the way to
    solid the spring has gone at the bite, at its most. ``curve`` is the bite itself, with all that
    is not known of it; ``lock_up`` is None where the warmth of the bell is not known,
    ``beside`` where nothing can be left as it is.
    """

    recess_mm: float
    mean_off_min: float
    off_min: Band
    drift_rpm: Band
    leaves: float
    drags: float | None
    binds: float
    thin: float | None
    short: float | None
    solid: float
    curve: tuple[BitePoint, ...]
    lock_up: LockUp | None = None
    beside: Beside | None = None


def price(found: Outcome, parts_changed: int, leave: bool) -> float:
    """Return what an option costs, in minutes off target: a job must be worth its doing.

    A turn of the nut has to gain 0.3 min, each part changed 1.5 min: below that the gain is not
    worth what may go wrong. Common practice, no source.
    """
    return found.mean_off_min + _NUT_MIN * (not leave) + _PART_MIN * parts_changed


def worth(found: Outcome) -> bool:
    """Tell whether a job may be advised at all: twice as likely to gain as to lose.

    Gain on average is not enough, for the best of many ways looks better than it is.
    """
    return found.beside is None or found.beside.less >= _LIKELIER * found.beside.more


def off_minutes(fate: Fate, aim: Aim, recess_mm: float) -> Floats:
    """Return the minutes off target of each race at a recess."""
    return minutes_off(aim.windows(fate), recess_mm * _MM)


def best_recess(fate: Fate, aim: Aim, low_mm: float, high_mm: float) -> float | None:
    """Return the recess [mm] that is least off target, to the hundredth a nut can be set to.

    None where no recess of the range keeps the spring from going solid.
    """
    import numpy as np

    room = fate.room_left(0.0).min(axis=1)
    deepest = min(high_mm, float(np.quantile(room, _NOT_SOLID)) / _MM)
    first, last = math.ceil(100 * low_mm - 1e-6), math.floor(100 * deepest + 1e-6)
    if last < first:
        return None
    windows = aim.windows(fate)
    settings = [i / 100 * _MM for i in range(first, last + 1)]
    return round(best_setting(windows, settings) / _MM, 2)


def outcome(fate: Fate, aim: Aim, recess_mm: float, left: Floats | None = None) -> Outcome:
    """Return what a set does over the race at a recess.

    ``left`` is how long the same races are off target with all left as it is.
    """
    import numpy as np

    recess = recess_mm * _MM
    off = off_minutes(fate, aim, recess_mm)
    speed = fate.bite(recess) * _RPM
    itself = speed * fate.luck.common[:, None]
    low, middle, high = np.quantile(itself, (0.05, 0.5, 0.95), axis=0)
    room = fate.room_left(recess).min(axis=1)
    full = fate.length.mean(axis=0) - fate.states.clutch.solid_length
    drags = thin = short = None
    if aim.idle_rpm is not None:
        let_go = fate.let_go(recess) * fate.luck.common[:, None] * _RPM
        drags = chance(let_go.min(axis=1) < aim.idle_rpm)
    if aim.thinnest_worn_mm is not None:
        thin = chance(fate.worn[:, -1] / _MM > aim.thinnest_worn_mm)
    if aim.shortest_mm is not None:
        short = chance(fate.length[:, -1] / _MM < aim.shortest_mm)
    return Outcome(
        recess_mm=recess_mm,
        mean_off_min=float(off.mean()),
        off_min=band(off),
        drift_rpm=band(speed[:, -1] - speed[:, 0]),
        leaves=chance(off > 0.0),
        drags=drags,
        binds=chance(room < 0.0),
        thin=thin,
        short=short,
        solid=float((1.0 - fate.room_left(recess).mean(axis=0) / full).max()),
        curve=tuple(
            BitePoint(m, *(float(x) for x in point))
            for m, *point in zip(fate.luck.moments, low, middle, high, strict=True)
        ),
        lock_up=_lock_up(fate, recess),
        beside=None if left is None else Beside(chance(off < left), chance(off > left)),
    )


def _lock_up(fate: Fate, recess: float) -> LockUp | None:
    import numpy as np

    speeds = fate.lock_up(recess)
    if speeds is None or fate.luck.bell is None:
        return None
    degrees = fate.luck.bell[0]
    change = (speeds[:, 1] - speeds[:, 0]) * _RPM
    known = change[np.isfinite(change)]
    if not known.size:
        return None
    start, end = (float(np.median(degrees[:, i])) for i in (0, -1))
    return LockUp(band(known), start, end, chance(np.isnan(speeds[:, 1])))
