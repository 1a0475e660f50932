"""From a track to a number: the plateau or creep speed and how far it can be trusted.

Standard uncertainties combine as in the GUM (JCGM 100, 5.1.2); the expanded one is U = 2 u.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt
from statistics import median
from typing import Literal, get_args

import numpy as np

from pitwright.sound.events import SURE, Rise, slopes, smooth_log
from pitwright.sound.reasons import why_none
from pitwright.sound.spectrum import HARMONICS, HIGHEST_LINE_HZ, STEPS_PER_OCTAVE
from pitwright.sound.track import Track

Place = Literal["standstill", "abeam", "behind", "anywhere"]
SOUND_SPEED_M_S = 343.0
MOVEMENT = "movement of the car"
PULL_M_S_2, _PULL_ROUGH = 9.8, 0.5
COVERAGE = 2.0
_STEP = 2.0 ** (1.0 / STEPS_PER_OCTAVE) - 1.0
_CREEP_WINDOW_S = 0.15
_FASTEST_CREEP_PER_S = 0.5
_MARKED_HALF_S = 0.06
_FASTEST_MARKED_PER_S = 0.3
_DRIVERS_SHARE = 0.05
REACTION_S = 0.15
MOST_APART = 2.0
"""Takes that lie farther from each other than this many u of their difference are not pooled."""


class NoCreepError(ValueError):
    """No creep speed can be read at the marked moment; the message says why."""


class NotStandingError(ValueError):
    """The speed does not stand still at the marked moment, or is not heard; the message says so."""


@dataclass(frozen=True)
class Speed:
    """An engine speed with its uncertainty.

    kind: plateau or creep, which calibrate different things and never stand for each other;
    rpm; u_rpm: standard uncertainty; parts: its components by name, in rpm; start_s, end_s: where
    in the recording; confidence: chance that it is what it is taken for (of a speed marked by hand:
    how surely its frames were heard), 0 to 1; raised: what was added for the car's driving away.
    """

    kind: Literal["plateau", "creep"]
    rpm: float
    u_rpm: float
    parts: tuple[tuple[str, float], ...]
    start_s: float
    end_s: float
    confidence: float
    every_second_turn: bool
    raised: float = 0.0

    @property
    def expanded_rpm(self) -> float:
        """U = 2 u, in rpm."""
        return COVERAGE * self.u_rpm


@dataclass(frozen=True)
class Launch:
    """One launch: its times, the speeds it ran between, its take-up or the reason there is none.

    chance: that its stand-still is a take-up, also where it was not likely enough to be told.
    """

    start_s: float
    end_s: float
    idle_rpm: float
    top_rpm: float
    take_up: Speed | None
    reason: str
    chance: float = 0.0


@dataclass(frozen=True)
class Repeats:
    """Several launches of one clutch state together.

    spread_rpm: largest less smallest; u_rpm: standard uncertainty of the median.
    """

    count: int
    median_rpm: float
    spread_rpm: float
    u_rpm: float

    @property
    def expanded_rpm(self) -> float:
        """U = 2 u, in rpm."""
        return COVERAGE * self.u_rpm


def doppler_fraction(car_speed_m_s: float, place: Place) -> float:
    """Half-width of the relative error from the car's motion, v / (c - v).

    None at standstill or abeam (the path neither lengthens nor shortens). Raises ValueError for a
    negative speed, one of 100 m/s and more, or an unknown place.
    """
    if not 0.0 <= car_speed_m_s < 100.0:
        raise ValueError("the car's speed must lie between 0 and 100 m/s")
    if place not in get_args(Place):
        raise ValueError(f"the place is one of {', '.join(get_args(Place))}, not {place}")
    if place in ("standstill", "abeam"):
        return 0.0
    return car_speed_m_s / (SOUND_SPEED_M_S - car_speed_m_s)


def moved(
    speed: Speed, place: Place, car_speed_m_s: float, pull_m_s_2: float | None = None
) -> Speed:
    """The take-up with the car taken to have been there.

    A car that drives away from the microphone from standstill has gained the speed a t by the
    middle of its stand-still and sounds lower by v / c (Doppler): that is added, and half of it
    stays in doubt, for the tyres and the line it took. pull_m_s_2: a, of the model of the car; by
    default what tyres with a grip of one give (common practice, no source).

    >>> heard = Speed("plateau", 19_000.0, 30.0, (("scatter of the trace", 30.0),), 1.0, 1.4, 1, 0)
    >>> round(moved(heard, "behind", 12.0, 10.0).rpm)
    19111
    """
    plain = speed.rpm - speed.raised
    fraction = doppler_fraction(car_speed_m_s, place)
    raised = 0.0
    if place == "behind":
        pull = PULL_M_S_2 if pull_m_s_2 is None else pull_m_s_2
        gained = min(pull * (speed.end_s - speed.start_s) / 2, car_speed_m_s) / SOUND_SPEED_M_S
        raised, fraction = plain * gained, _PULL_ROUGH * gained
    parts = tuple(part for part in speed.parts if part[0] != MOVEMENT)
    parts = (*parts, (MOVEMENT, (plain + raised) * fraction / sqrt(3.0)))
    return replace(
        speed, rpm=plain + raised, raised=raised, parts=parts,
        u_rpm=sqrt(sum(u * u for _, u in parts)),
    )  # fmt: skip


def describe_launch(
    track: Track,
    rise: Rise,
    *,
    place: Place = "anywhere",
    car_speed_m_s: float = 12.0,
    pull_m_s_2: float | None = None,
) -> Launch:
    """The take-up of one launch, or why none could be measured."""
    log = smooth_log(track, rise.foot, rise.peak + 1)
    speed, reason = None, ""
    if rise.plateau is not None:
        speed = plateau_speed(track, rise.plateau, place, car_speed_m_s, pull_m_s_2)
        speed = replace(speed, confidence=rise.chance)
    else:
        reason = why_none(track, rise)
    return Launch(
        float(track.time_s[rise.foot]),
        float(track.time_s[rise.peak]),
        float(np.exp(log[0])),
        float(np.exp(log[-1])),
        speed,
        reason,
        rise.chance,
    )


def plateau_speed(
    track: Track,
    plateau: tuple[int, int],
    place: Place = "anywhere",
    car_speed_m_s: float = 12.0,
    pull_m_s_2: float | None = None,
) -> Speed:
    """Speed of the plateau that spans these frames [first, last]."""
    first, final = plateau
    # Frames within half a frame of an edge hear the climb or the pull too: leave them out if
    # enough remain.
    edge = round(0.5 * track.frame_s / track.hop_s)
    inner = (first + edge, final - edge)
    if inner[1] - inner[0] < 4:
        middle = (first + final) // 2
        inner = (max(first, middle - 2), min(final, middle + 2))
    rpm = track.rpm[inner[0] : inner[1] + 1]
    weight = track.confidence[inner[0] : inner[1] + 1]
    sure = weight >= SURE
    rpm = rpm[sure] if sure.sum() >= 3 else rpm
    value = float(np.median(rpm))
    length_s = (inner[1] - inner[0] + 1) * track.hop_s
    # Frames overlap; only one per frame length is an independent hearing.
    independent = max(1.0, length_s / track.frame_s)
    spread = 1.4826 * float(np.median(np.abs(rpm - value)))
    drift = float(abs(np.polyfit(np.arange(len(rpm)), rpm, 1)[0])) * len(rpm)
    parts = (
        ("scatter of the trace", spread / sqrt(independent)),
        ("drift along the plateau", drift / sqrt(12.0)),
        ("step of the analysis", value * _STEP / sqrt(12.0)),
        ("frame length", value * _frame_fraction(track.frame_s, value)),
    )
    speed = _speed("plateau", track, value, parts, first, final)
    return moved(speed, place, car_speed_m_s, pull_m_s_2)


def marked_plateau(
    track: Track,
    mark_s: float,
    *,
    place: Place = "anywhere",
    car_speed_m_s: float = 12.0,
    pull_m_s_2: float | None = None,
) -> Speed:
    """Speed of a plateau that the user sees at this moment of the trace, over 0.12 s around it.

    Raises NotStandingError when the moment lies outside the recording, no engine is heard there, or
    the speed changes by more than 30 % a second.
    """
    if not 0.0 <= mark_s <= float(track.time_s[-1]):
        raise NotStandingError(f"the mark at {mark_s:.2f} s lies outside the recording")
    near = np.flatnonzero(np.abs(track.time_s - mark_s) <= _MARKED_HALF_S)
    sure = near[track.confidence[near] >= SURE]
    if len(sure) < max(5, len(near) // 2):
        raise NotStandingError(f"no engine is heard clearly around the mark at {mark_s:.2f} s")
    rate = float(np.polyfit(track.time_s[sure], np.log(track.rpm[sure]), 1)[0])
    if abs(rate) > _FASTEST_MARKED_PER_S:
        raise NotStandingError(
            f"the speed changes by {100 * abs(rate):.0f} % a second at {mark_s:.2f} s; "
            "a take-up stands still"
        )
    span = (int(near[0]), int(near[-1]))
    return plateau_speed(track, span, place, car_speed_m_s, pull_m_s_2)


def creep_speed(
    track: Track,
    mark_s: float,
    *,
    mark_u_s: float = REACTION_S,
    place: Place = "standstill",
    car_speed_m_s: float = 1.0,
) -> Speed:
    """Speed at the marked moment of a slow ramp: the wheels just begin to turn.

    mark_s: the user's key or clap, seconds from the start of the recording; mark_u_s: how far off
    the mark may be, half-width. Raises NoCreepError when the mark lies outside the recording, no
    engine is heard there, or the speed changes too fast for a mark to mean anything.
    """
    if not 0.0 <= mark_s <= float(track.time_s[-1]):
        raise NoCreepError(f"the mark at {mark_s:.2f} s lies outside the recording")
    near = np.flatnonzero(np.abs(track.time_s - mark_s) <= _CREEP_WINDOW_S)
    first, final = int(near[0]), int(near[-1])
    sure = near[track.confidence[near] >= SURE]
    if len(sure) < max(5, len(near) // 2):
        raise NoCreepError(f"no engine is heard clearly around the mark at {mark_s:.2f} s")
    log = smooth_log(track)
    rate, level = np.polyfit(track.time_s[sure] - mark_s, log[sure], 1)
    rest = log[sure] - (level + rate * (track.time_s[sure] - mark_s))
    steepest = float(np.abs(slopes(log[first : final + 1], track.hop_s, 5)[5:-5]).max(initial=0.0))
    if max(abs(float(rate)), steepest / 2.0) > _FASTEST_CREEP_PER_S:
        raise NoCreepError(
            f"the speed changes by {100 * max(abs(float(rate)), steepest / 2.0):.0f} % a second at "
            f"the mark at {mark_s:.2f} s; raise the throttle more slowly"
        )
    value = float(np.exp(level))
    independent = max(1.0, len(sure) * track.hop_s / track.frame_s)
    parts = (
        ("scatter of the trace", value * float(np.std(rest)) / sqrt(independent)),
        ("moment of the mark", value * abs(float(rate)) * mark_u_s / sqrt(3.0)),
        ("step of the analysis", value * _STEP / sqrt(12.0)),
        ("frame length", value * _frame_fraction(track.frame_s, value)),
        (MOVEMENT, value * doppler_fraction(car_speed_m_s, place) / sqrt(3.0)),
    )
    return _speed("creep", track, value, parts, first, final)


def repeats(speeds: Sequence[Speed]) -> Repeats | None:
    """Median and spread of several take-ups; None without any, and where they do not belong.

    Takes of one clutch differ by no more than their doubt: when the farthest two lie more than
    ``MOST_APART`` u of their difference apart, or five parts in a hundred where that is more (the
    driver's foot and the tyres differ by so much; common practice, no source), one of them is
    something else, and none is the median of the same thing. The scatter between launches is
    estimated by s / sqrt(n) and enlarged by 1.2533, the price of a median (normal law); what all
    share (the car's movement, the analysis) does not average away.
    """
    if not speeds:
        return None
    if len({speed.kind for speed in speeds}) > 1:
        raise ValueError("plateau and creep speeds are different things and are not pooled")
    if not belong_together(speeds):
        return None
    values = np.array([speed.rpm for speed in speeds])
    shared = median(sqrt(_shared(speed)) for speed in speeds)
    if len(values) == 1:
        return Repeats(1, float(values[0]), 0.0, speeds[0].u_rpm)
    own = 1.2533 * float(values.std(ddof=1)) / sqrt(len(values))
    least = sqrt(sum(s.u_rpm**2 for s in speeds) / len(speeds)) / sqrt(len(speeds))
    return Repeats(
        len(values),
        float(np.median(values)),
        float(np.ptp(values)),
        sqrt(max(own, least) ** 2 + shared**2),
    )


def belong_together(speeds: Sequence[Speed]) -> bool:
    """Whether take-ups differ by no more than their doubt.

    What all share moves all of them alike, and is no doubt about their difference.
    """
    low, high = min(speeds, key=lambda s: s.rpm), max(speeds, key=lambda s: s.rpm)
    own = sqrt(low.u_rpm**2 - _shared(low) + high.u_rpm**2 - _shared(high))
    return high.rpm - low.rpm <= max(MOST_APART * own, _DRIVERS_SHARE * low.rpm)


def _shared(speed: Speed) -> float:
    return sum(u * u for name, u in speed.parts if not name.startswith(("scatter", "drift")))


def _frame_fraction(frame_s: float, rpm: float) -> float:
    """Relative standard uncertainty from the frame length.

    A frame of T seconds parts lines 1/T apart; the top harmonics used divide that by their number,
    and the peak is placed to about a tenth of the line's width.
    """
    lines_hz = 1.0 / frame_s
    top = min(HARMONICS, max(1, int(HIGHEST_LINE_HZ / (rpm / 60.0))))
    return 0.1 * lines_hz / (rpm / 60.0 * max(1.0, top / 2.0)) / sqrt(3.0)


def _speed(
    kind: Literal["plateau", "creep"],
    track: Track,
    value: float,
    parts: tuple[tuple[str, float], ...],
    first: int,
    final: int,
) -> Speed:
    return Speed(
        kind,
        value,
        sqrt(sum(u * u for _, u in parts)),
        parts,
        float(track.time_s[first]),
        float(track.time_s[final]),
        float(track.confidence[first : final + 1].mean()),
        bool(np.mean(track.every_second[first : final + 1]) > 0.5),
    )
