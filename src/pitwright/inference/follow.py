"""Whether pace follows a setting, such as the nut recess or the bite speed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.inference.compare import ALPHA, Verdict
from pitwright.inference.permutation import beside_track, permutation_effect, rearrangements
from pitwright.inference.track import (
    EVEN_OVERLAP,
    FEWEST_CHANGES,
    FEWEST_EACH,
    MOST_OVERLAP,
    time_overlap,
    track_overlap,
    trend_shows,
)
from pitwright.inference.wording import LAP, Measure, counted, luck, number

FEWEST_HEATS = 2 * FEWEST_EACH
FEWEST_SETTINGS = 3


@dataclass(frozen=True)
class SettingFigure:
    """One heat: the setting it ran on, when (any number that grows with time), and its figure."""

    setting: float
    order: float
    value: float


@dataclass(frozen=True)
class Follow:
    """How the figure follows the setting. Slopes in seconds per unit of the setting.

    slope: by least squares, a straight trend over the running order taken out by the same rule as
    in a comparison of states. low, high: interval inverting the permutation test of the settings
    among the heats, infinite with too few heats. p: of that test, two-sided.
    """

    heats: int
    settings: int
    slope: float
    low: float
    high: float
    confidence: float
    p: float
    exact: bool
    drift_taken_out: bool
    confounded: bool
    verdict: Verdict
    sentence: str


def follow_setting(
    heats: Sequence[SettingFigure],
    *,
    name: str,
    step: float,
    step_text: str,
    measure: Measure = LAP,
    confidence: float = 0.95,
) -> Follow | None:
    """Slope of the figure against the setting, heat by heat, with interval and verdict.

    name: of the setting, as in a sentence ("recess"). step, step_text: the amount of it the
    sentence speaks of (0.1, "0.1 mm").
    'Likely real' needs eight heats, three different settings, at least four changes of setting
    over the weekend, settings that no slope, bend or slow swing over time explains by more than
    half, and p below 5 %, also beside the best-fitting step and slow swing of the track.
    Returns None when there are fewer than three heats or only one setting.
    Raises ValueError when a number is not finite or step is not positive.
    """
    import numpy as np

    if not (math.isfinite(step) and step > 0.0):
        raise ValueError("step must be positive")
    ordered = sorted(heats, key=lambda heat: heat.order)
    x = np.array([heat.setting for heat in ordered], dtype=float)
    y = np.array([heat.value for heat in ordered], dtype=float)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("settings and figures must be finite")
    settings = len(np.unique(x))
    if len(ordered) < 3 or settings < 2:
        return None
    t = np.arange(len(ordered), dtype=float)
    enough = len(ordered) >= FEWEST_HEATS
    adjust = enough and (trend_shows(y, t) or time_overlap(x, t, bend=False) > EVEN_OVERLAP)
    columns = [np.ones_like(t)] + ([t - t.mean()] if adjust else [])
    stack, exact = rearrangements(x)
    nuisance = np.column_stack(columns)
    effect = permutation_effect(y, x, stack, nuisance=nuisance, exact=exact, confidence=confidence)
    beside = beside_track(y, x, stack, nuisance, t, exact=exact)[0] if enough else 0.0
    changes = int(np.count_nonzero(np.diff(x)))
    confounded = changes < FEWEST_CHANGES or track_overlap(x, t) > MOST_OVERLAP
    if effect is None:  # the setting moved in a straight line with time, and nothing else
        slope, low, high, p = 0.0, -math.inf, math.inf, 1.0
    else:
        slope, low, high, p = effect.estimate, effect.low, effect.high, max(effect.p, beside)
    verdict: Verdict = "cannot tell yet"
    if enough and confounded:
        verdict = "cannot be told from the track changing"
    elif enough and settings >= FEWEST_SETTINGS and p < ALPHA:
        verdict = "likely real"
    ends = (slope * step, low * step, high * step)
    sentence = _sentence(verdict, ends, p, len(ordered), settings, name, step_text, measure)
    return Follow(
        heats=len(ordered),
        settings=settings,
        slope=slope,
        low=low,
        high=high,
        confidence=confidence,
        p=p,
        exact=exact,
        drift_taken_out=adjust,
        confounded=confounded,
        verdict=verdict,
        sentence=sentence,
    )


def _sentence(
    verdict: Verdict,
    ends: tuple[float, float, float],
    p: float,
    heats: int,
    settings: int,
    name: str,
    step_text: str,
    measure: Measure,
) -> str:
    slope, low, high = ends
    word = measure.lower if slope <= 0.0 else measure.higher
    verb = "is" if verdict == "likely real" else "looks"
    text = f"{step_text} more {name} {verb} {abs(slope):.2f} {measure.unit} {word}"
    if math.isfinite(low) and math.isfinite(high):
        sign = -1.0 if slope <= 0.0 else 1.0
        near, far = sorted((sign * low, sign * high))
        other = measure.higher if slope <= 0.0 else measure.lower
        span = f"{near:.2f} to {far:.2f}" if near >= 0.0 else f"{-near:.2f} {other} to {far:.2f}"
        text += f" ({span})"
    text += f", {counted(heats)} on {counted(settings, 'setting')}"
    if verdict == "likely real":
        return f"{text}; likely real."
    if verdict == "cannot be told from the track changing":
        return (
            f"{text}, but the {name} went one way as the weekend went on: cannot be told from "
            "the track changing; go back and forth between settings."
        )
    if settings < FEWEST_SETTINGS:
        return f"{text}: cannot tell a slope from two settings; compare the two instead."
    if heats < FEWEST_HEATS:
        return f"{text}: cannot tell yet; at least {number(FEWEST_HEATS)} heats are needed."
    return f"{text}: cannot tell yet, luck alone does as much {luck(p)}."
