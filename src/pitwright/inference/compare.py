"""Which clutch state is quicker, judged heat by heat.

Laps within a heat share the same track, tyres and nerves, so one heat is one observation.

The rules, all of them shown to the user where they bite:
- Drift: with at least four heats of each state a straight trend over the running order is taken
  out when the heats, whatever they ran on, show one (p below 0.2, so that a doubtful trend is taken
  out too), and always when the states are not spread evenly over the weekend (the trend explains
  more than a twentieth of their pattern). The decision does not look at which state was quicker.
- Confounded: two states must change places at least four times, and at least one time fewer than
  the state with fewer heats has heats, and their pattern must not follow a slope, a bend or a slow
  swing over the running order (R squared at most one half). Otherwise a difference between them
  cannot be told from the track changing.
- Likely real: at least four heats each, not confounded, p below 5 % after Holm's adjustment for
  the number of comparisons asked for, and that also with the single best-fitting step, and the
  best-fitting slow swing, of the track taken out where the order leans on such: the largest p
  counts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from pitwright.inference import wording
from pitwright.inference.need import heats_needed
from pitwright.inference.permutation import (
    beside_track,
    labelings,
    permutation_effect,
    smallest_p,
)
from pitwright.inference.shift import hodges_lehmann
from pitwright.inference.track import (
    EVEN_OVERLAP,
    FEWEST_EACH,
    Step,
    confounded,
    time_overlap,
    track_drift,
    track_overlap,
    trend_shows,
)
from pitwright.inference.wording import LAP, Measure

ALPHA = 0.05

Verdict = Literal["likely real", "cannot tell yet", "cannot be told from the track changing"]


@dataclass(frozen=True)
class HeatFigure:
    """One heat: the state it ran on, when (a number that grows with time), its figure, its name."""

    state: str
    order: float
    value: float
    name: str = ""


@dataclass(frozen=True)
class Comparison:
    """State b against state a. Times in seconds; negative shift: b has the lower figure.

    shift: Hodges-Lehmann, of the figures less the drift where that was taken out. low, high: its
    interval at `confidence`; with at least four heats each it inverts the permutation test, else it
    is the exact rank-sum interval, which for so few heats cannot hold 95 %.
    p: permutation, two-sided, the largest of that without and beside a change of the track;
    p_adjusted: after Holm for `family` comparisons. step: the names of the heats between which
    the track changed in one step, where it shows that it did.
    smallest_p: the least p a clean sweep could have reached. exact: every arrangement looked at.
    drift: seconds per heat in the running order, None where it was not taken out.
    spread: heat-to-heat standard deviation left over. changes: how often the states changed places.
    time_overlap: share of their pattern that a slope, a bend or a slow swing of the track explains.
    more_each: heats of each to add before a verdict is possible, where it is not yet.
    """

    a: str
    b: str
    n_a: int
    n_b: int
    shift: float
    low: float
    high: float
    confidence: float
    p: float
    p_adjusted: float
    family: int
    smallest_p: float
    exact: bool
    drift: float | None
    spread: float | None
    changes: int
    time_overlap: float
    confounded: bool
    more_each: int
    verdict: Verdict
    sentence: str
    step: tuple[str, str] | None = None


def compare_many(
    heats: Sequence[HeatFigure],
    pairs: Sequence[tuple[str, str]] | None = None,
    *,
    measure: Measure = LAP,
) -> tuple[Comparison, ...]:
    """Compare several pairs (every pair of states by default), owning up to their number.

    Heats of states that are not compared only keep the running order. The p values are adjusted
    by Holm's rule (S. Holm, Scand. J. Stat. 6 (1979) 65-70).
    Raises ValueError when a state has no heat, the two are one, or a figure is not finite.
    """
    places = _running_order(heats)
    if pairs is None:
        pairs = list(combinations(dict.fromkeys(heat.state for heat in heats), 2))
    raw = [_compare(heats, places, a, b) for a, b in pairs]
    adjusted = holm([result.p for result in raw])
    return tuple(
        _judged(result, p, len(raw), measure) for result, p in zip(raw, adjusted, strict=True)
    )


def holm(ps: Sequence[float]) -> tuple[float, ...]:
    """Holm's step-down adjustment of several p values, in the order given."""
    out = [0.0] * len(ps)
    running = 0.0
    for rank, i in enumerate(sorted(range(len(ps)), key=ps.__getitem__)):
        running = max(running, min(1.0, (len(ps) - rank) * ps[i]))
        out[i] = running
    return tuple(out)


def heats_for_verdict(family: int = 1) -> int:
    """Fewest heats of each state with which a clean sweep can be called likely real."""
    n = FEWEST_EACH
    while smallest_p(n, n) * family >= ALPHA:
        n += 1
    return n


def _running_order(heats: Sequence[HeatFigure]) -> dict[int, int]:
    for heat in heats:
        if not (math.isfinite(heat.value) and math.isfinite(heat.order)):
            raise ValueError(f"a heat of {heat.state} has no finite figure or order")
    in_order = sorted(range(len(heats)), key=lambda i: heats[i].order)
    return {i: place for place, i in enumerate(in_order)}


def _compare(heats: Sequence[HeatFigure], places: dict[int, int], a: str, b: str) -> Comparison:
    import numpy as np

    if a == b:
        raise ValueError("the two states are one and the same")
    chosen = sorted((i for i, h in enumerate(heats) if h.state in (a, b)), key=places.__getitem__)
    y = np.array([heats[i].value for i in chosen])
    z = np.array([1.0 if heats[i].state == b else 0.0 for i in chosen])
    t = np.array([float(places[i]) for i in chosen])
    n_b = int(z.sum())
    n_a = len(chosen) - n_b
    for name, n in ((a, n_a), (b, n_b)):
        if n == 0:
            raise ValueError(f"no heat ran on {name}")
    labels, exact = labelings(n_a, n_b)
    stack = labels if exact else np.vstack((z, labels))
    changes = int(np.count_nonzero(np.diff(z)))
    enough = min(n_a, n_b) >= FEWEST_EACH
    adjust = enough and (trend_shows(y, t) or time_overlap(z, t, bend=False) > EVEN_OVERLAP)
    columns = [np.ones_like(t)] + ([t - t.mean()] if adjust else [])
    overlap = track_overlap(z, t)
    nuisance = np.column_stack(columns)
    effect = permutation_effect(y, z, stack, nuisance=nuisance, exact=exact)
    beside, step = 0.0, None
    if enough:
        beside, step = beside_track(y, z, stack, nuisance, t, exact=exact)
    drift = track_drift(y, z, t) if adjust else None
    flat = y if drift is None else y - drift * (t - t.mean())
    shift = hodges_lehmann(flat[z == 0.0], flat[z == 1.0])
    low, high, confidence = shift.low, shift.high, shift.confidence
    if enough and effect is not None:
        low, high, confidence = effect.low, effect.high, effect.confidence
        low, high = min(low, shift.value), max(high, shift.value)
    return Comparison(
        a=a,
        b=b,
        n_a=n_a,
        n_b=n_b,
        shift=shift.value,
        low=low,
        high=high,
        confidence=confidence,
        p=1.0 if effect is None else max(effect.p, beside),
        p_adjusted=1.0,
        family=1,
        smallest_p=smallest_p(n_a, n_b),
        exact=exact,
        drift=drift,
        spread=None if effect is None else effect.residual,
        changes=changes,
        time_overlap=overlap,
        confounded=confounded(n_a, n_b, changes, overlap),
        more_each=0,
        verdict="cannot tell yet",
        sentence="",
        step=_between(step, [heats[i].name for i in chosen]),
    )


def _between(step: Step | None, names: Sequence[str]) -> tuple[str, str] | None:
    """Name the heats between which the track changed, None when it does not show or has no name."""
    if step is None or not step.shows:
        return None
    before, after = names[step.before - 1], names[step.before]
    return (before, after) if before and after else None


def _judged(result: Comparison, p: float, family: int, measure: Measure) -> Comparison:
    need = heats_for_verdict(family)
    fewest = min(result.n_a, result.n_b)
    possible = fewest >= FEWEST_EACH and result.smallest_p * family < ALPHA
    verdict: Verdict = "cannot tell yet"
    if result.confounded:
        verdict = "cannot be told from the track changing"
    elif possible and p < ALPHA:
        verdict = "likely real"
    more = 0 if possible else max(1, need - fewest)
    judged = replace(result, p_adjusted=p, family=family, verdict=verdict, more_each=more)
    wanted = None
    if verdict == "cannot tell yet" and more == 0 and result.spread:
        wanted = heats_needed(abs(result.shift), result.spread)
    return replace(judged, sentence=wording.comparison_sentence(judged, measure, wanted))
