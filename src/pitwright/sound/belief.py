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
_STEEP_S, _STEEP_AFTER_S = 0.036, 0.1
_STEEPEST_RPM_PER_S = 110_000.0  # of a car with spinning wheels (common practice, no source)
_JOINED_S = 0.1
_IDLE_WIDE, _STAND_WIDE = 0.3, 0.25  # log; a card's idle is set anew every day

# Fitted by tests/benchmarks/fit_belief.py: bias; then of every trait, in the order of Traits, its
# weight, where it is usual of a launch (the median of those fitted to) and what its weight changes
# by beyond.
_BIAS = -8.429
WEIGHTS: dict[str, tuple[float, float, float]] = {
    "idle_s": (2.527, 0.595, 0.000),
    "idle_rough": (-0.270, 0.098, -0.667),
    "unheard": (-0.168, 0.000, -0.168),
    "step": (11.259, 0.300, 0.000),
    "rise_odd": (-0.153, 0.092, -0.151),
    "stand_short": (0.098, 0.001, 0.096),
    "stand_long": (-0.380, 0.000, -0.380),
    "stand_heard": (2.372, 0.999, 0.000),
    "stand_rough": (0.392, 0.284, 0.228),
    "stand_slope": (-0.073, 0.047, -0.950),
    "pull_odd": (0.115, 0.000, 0.115),
    "pull_slow": (0.047, 0.273, 0.024),
    "pull_heard": (3.091, 0.998, 0.000),
    "pull_rough": (0.135, 0.375, 0.041),
    "bend": (0.562, 1.017, -1.745),
    "gain": (8.170, 0.409, -11.679),
    "falls": (-0.064, 0.000, -0.064),
    "driven": (-8.004, 0.000, -8.004),
    "above_rest": (-1.127, 0.003, -1.184),
    "leap": (-0.472, 0.304, -0.751),
    "opened": (3.042, 0.345, -4.658),
    "seen": (-1.797, 0.976, 0.000),
    "pull_wild": (-2.500, 0.000, 0.000),
    "unbent": (-2.038, 0.033, -2.637),
    "earned": (0.164, 2.270, 0.000),
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
    pull_wild: its steepest part over what any car does; unbent: stand's slope over the pull's;
    earned: what the segments earn together, in twenties.
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
    earned: float

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
    steepest = _steepest(trace[at.last : at.end + 1 + round(_STEEP_AFTER_S / hop)], hop)
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
        pull_wild=min(max(log(steepest / _STEEPEST_RPM_PER_S), 0.0), 1.5),
        unbent=min(max(stand_slope / max(pull_slope, 0.05), 0.0), 1.2),
        earned=max(min(at.total / 20.0, 3.0), -2.0),
    )


def chance_of(
    traits: Traits, shape: Shape, idle_rpm: float | None = None, stand_rpm: float | None = None
) -> float:
    """Posterior chance of a take-up; with a card its idle and its take-up speeds count too."""
    row = traits.row()
    weight, usual, beyond = np.array(list(WEIGHTS.values())).T
    total = _BIAS + float(row @ weight + np.maximum(row - usual, 0.0) @ beyond)
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


def _steepest(trace: Numbers, hop_s: float) -> float:
    """Fastest climb over a few frames, in rpm per second."""
    frames = min(max(1, round(_STEEP_S / hop_s)), len(trace) - 1)
    speed = np.exp(trace)
    return max(float((speed[frames:] - speed[:-frames]).max()) / (frames * hop_s), 1.0)


def _line(part: Numbers, hop_s: float) -> tuple[float, float]:
    """Scatter about a straight line, and its slope per second."""
    x = (np.arange(len(part)) - (len(part) - 1) / 2) * hop_s
    slope = float(x @ part) / max(float(x @ x), 1e-12)
    return float(np.std(part - slope * x)), slope
