"""The chance that segments laid along a trace are a take-up of this clutch.

What tells a launch from the other things an engine, a voice or a tune does is put in a few traits
(how long idle was heard, how the rise, the stand and the pull fit, where the speed came from, what
came after); a logistic model of them gives the posterior chance. Its constants are fitted by
``tests/benchmarks/fit_belief.py`` to invented recordings and checked on others.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from pitwright.sound.segments import Segments, Shape
from pitwright.sound.spectrum import HIGHEST_RPM, LOWEST_RPM
from pitwright.sound.track import Track

Numbers = NDArray[np.float64]

_BEFORE_S = 2.0
_AFTER_S = 0.35
_HEARD = 0.5
_WILD = 4.0
_JOINED_S = 0.1
_IDLE_WIDE, _STAND_WIDE = 0.3, 0.25  # log; a card's idle is set anew every day

# Fitted by tests/benchmarks/fit_belief.py; the order is that of Traits.
_BIAS = -7.363
_WEIGHTS = {
    "idle_s": 4.602,
    "idle_rough": -0.475,
    "unheard": -0.301,
    "step": 13.054,
    "rise_odd": -0.495,
    "stand_short": 0.176,
    "stand_long": -1.007,
    "stand_heard": 5.319,
    "stand_rough": 0.637,
    "stand_slope": -1.676,
    "pull_odd": 0.174,
    "pull_slow": -0.036,
    "pull_heard": 1.345,
    "pull_rough": -1.253,
    "bend": 0.980,
    "gain": 7.080,
    "falls": -0.418,
    "driven": -16.100,
    "above_rest": -1.704,
    "leap": -0.649,
    "opened": 0.484,
    "seen": -2.650,
    "pull_wild": -1.755,
    "unbent": -5.139,
}


@dataclass(frozen=True)
class Traits:
    """What is looked at, each about 0 to 1; log speeds and logs of ratios where not said.

    idle_s: of steady idle heard; idle_rough: scatter of the idle; unheard: neither idle nor rise;
    step: from idle to stand; rise_odd, stand_short, stand_long, pull_odd: how far from a launch's,
    squared in sigmas; stand_heard, pull_heard: how surely; stand_rough, pull_rough: scatter about
    a line; stand_slope; bend: pull's slope less stand's; gain: from stand to the top; falls: back
    to the stand at once; driven: how far above its start it ran before, without a break;
    above_rest: idle above the lowest speed of the recording; leap: largest step of the trace;
    opened: louder at the stand than at idle; seen: share of what led there that was heard;
    pull_wild: what of pull_odd is more than any car does; unbent: stand's slope over the pull's.
    """

    idle_s: float
    idle_rough: float
    unheard: float
    step: float
    rise_odd: float
    stand_short: float
    stand_long: float
    stand_heard: float
    stand_rough: float
    stand_slope: float
    pull_odd: float
    pull_slow: float
    pull_heard: float
    pull_rough: float
    bend: float
    gain: float
    falls: float
    driven: float
    above_rest: float
    leap: float
    opened: float
    seen: float
    pull_wild: float
    unbent: float

    def row(self) -> Numbers:
        """The traits in order."""
        return np.array([float(getattr(self, field.name)) for field in fields(self)])


def traits_of(track: Track, trace: Numbers, at: Segments, shape: Shape) -> Traits:
    """The traits of segments on a trace (natural logarithm of the speed)."""
    hop, heard = track.hop_s, track.confidence
    idle = slice(at.idle, at.foot)
    stand, pull = slice(at.first, at.last + 1), slice(at.last, at.end + 1)
    level = float(np.median(trace[stand]))
    found = at.foot > at.idle
    idle_heard = float(heard[idle].sum()) * hop if found else 0.0
    idle_level = float(np.median(trace[idle])) if found else level
    stand_s = (at.last - at.first) * hop
    stand_rough, stand_slope = _line(trace[stand], hop)
    pull_rough, pull_slope = _line(trace[pull], hop)
    near = slice(max(0, at.first - round(0.25 / hop)), at.first)
    rest = float(np.quantile(trace[heard >= _HEARD], 0.03)) if (heard >= _HEARD).any() else level
    after = trace[at.end : at.end + round(_AFTER_S / hop)]
    top = trace[at.last : at.last + round(0.5 / hop)]
    stand_z = log(stand_s / shape.stand_s) / shape.stand_wide
    pull_rpm = max(pull_slope, 1e-2) * exp(level)
    pull_z = log(pull_rpm / shape.pull_rpm_per_s) / shape.pull_wide
    rise_z = log(max(at.first - at.foot, 1) * hop / shape.rise_s) / shape.rise_wide
    opened = 0.0
    if found:
        opened = float(np.median(track.level_db[stand]) - np.median(track.level_db[idle])) / 10.0
    return Traits(
        idle_s=min(idle_heard, 0.6),
        idle_rough=min(float(np.std(trace[idle])) / 0.02, 3.0) if found else 0.0,
        unheard=0.0 if found else 1.0,
        step=min(level - idle_level, 0.3),
        rise_odd=min(rise_z * rise_z, 9.0) if found else 0.0,
        stand_short=min(max(-stand_z, 0.0), 3.0) ** 2,
        stand_long=min(max(stand_z, 0.0), 3.0) ** 2,
        stand_heard=float(heard[stand].mean()),
        stand_rough=min(stand_rough / 0.004, 4.0),
        stand_slope=min(abs(stand_slope), 1.0),
        pull_odd=min(max(pull_z, 0.0), 4.0) ** 2,
        pull_slow=min(max(-pull_z, 0.0), 4.0) ** 2,
        pull_heard=float(heard[pull].mean()),
        pull_rough=min(pull_rough / 0.01, 4.0),
        bend=min(pull_slope - stand_slope, 1.5),
        gain=min(float(top.max()) - level, 0.5),
        falls=float(bool(after.size) and float(after.min()) < level + 0.02),
        driven=_driven(trace, heard, at.foot, idle_level, hop),
        above_rest=min(max(idle_level - rest, 0.0), 1.0),
        leap=min(float(np.abs(np.diff(trace[at.first : at.end + 1])).max()) / 0.05, 3.0),
        opened=min(max(opened, -1.0), 1.5),
        seen=float(np.mean(heard[near] >= 0.3)) if near.stop > near.start else 0.0,
        pull_wild=max(min(max(pull_z, 0.0), 4.0) ** 2 - _WILD, 0.0),
        unbent=min(max(stand_slope / max(pull_slope, 0.05), 0.0), 1.2),
    )


def chance_of(
    traits: Traits, shape: Shape, idle_rpm: float | None = None, stand_rpm: float | None = None
) -> float:
    """Posterior chance of a take-up; with a card its idle and its take-up speeds count too."""
    total = _BIAS + float(traits.row() @ np.array(list(_WEIGHTS.values())))
    if shape.idle_rpm is not None and idle_rpm is not None:
        total += _level_evidence(idle_rpm, (shape.idle_rpm,), _IDLE_WIDE)
    if shape.stands_rpm and stand_rpm is not None:
        total += _level_evidence(stand_rpm, shape.stands_rpm, _STAND_WIDE)
    return 1.0 / (1.0 + exp(-max(-50.0, min(50.0, total))))


def _level_evidence(rpm: float, expected: tuple[float, ...], wide: float) -> float:
    """Log of how much likelier a level is for this clutch than for anything else that turns.

    Anything else may turn at any speed the ear follows; one launch in three is taken to be off the
    card's figures, for a card may be wrong.
    """
    z = min(abs(log(rpm / each)) for each in expected) / wide
    near = exp(-0.5 * z * z) / (wide * sqrt(2.0 * pi)) * log(HIGHEST_RPM / LOWEST_RPM)
    return log((2.0 * near + 1.0) / 3.0)


def _driven(trace: Numbers, heard: Numbers, foot: int, level: float, hop_s: float) -> float:
    """How far above its level the speed was shortly before, on a trace without a gap or a leap."""
    begin = max(0, foot - round(_BEFORE_S / hop_s))
    part = trace[begin : foot + 1]
    broken = (np.abs(np.diff(part)) > 0.06) | (heard[begin:foot] < 0.3)
    gaps = np.flatnonzero(broken)
    joined = part[int(gaps[-1]) + 1 :] if len(gaps) else part
    if len(joined) * hop_s < _JOINED_S:
        return 0.0
    return min(max(float(np.quantile(joined, 0.95)) - level - 0.04, 0.0), 0.4)


def _line(part: Numbers, hop_s: float) -> tuple[float, float]:
    """Scatter about a straight line, and its slope per second."""
    x = (np.arange(len(part)) - (len(part) - 1) / 2) * hop_s
    slope = float(x @ part) / max(float(x @ x), 1e-12)
    return float(np.std(part - slope * x)), slope
