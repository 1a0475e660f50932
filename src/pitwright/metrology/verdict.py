"""Good, too close to call, or out: what a measurement proves about its limits."""

import math
from dataclasses import dataclass
from typing import Literal

from pitwright.metrology.instruments import StepReading
from pitwright.metrology.spread import Spread
from pitwright.metrology.uncertainty import Measurement

Word = Literal["good", "too close to call", "out"]
Rule = Literal["iso 14253-1", "simple acceptance"]
LimitName = Literal["low", "high", "discard below", "discard above"]

GOOD: Word = "good"
TOO_CLOSE: Word = "too close to call"
OUT: Word = "out"
ISO_14253: Rule = "iso 14253-1"
SIMPLE: Rule = "simple acceptance"
RULES: tuple[Rule, ...] = (ISO_14253, SIMPLE)

_SEVERITY: dict[Word, int] = {GOOD: 0, TOO_CLOSE: 1, OUT: 2}
_GUARD_FACTOR = 1.65
_MOST_EXTRA_READINGS = 10


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of one quantity, in the unit of its readings; None: no such limit.

    `low`, `high` are tolerance limits, still good when exactly met, judged by the decision rule.
    `discard_below`, `discard_above` are the trade's discard limits, stated for the reading itself
    ("discard at 9.8 mm or below"): a reading at or past them is out, however uncertain.
    Raises ValueError for no limit at all, one that is not finite, or a pair that leaves no room.
    """

    low: float | None = None
    high: float | None = None
    discard_below: float | None = None
    discard_above: float | None = None

    def __post_init__(self) -> None:
        stated = [
            x
            for x in (self.low, self.high, self.discard_below, self.discard_above)
            if x is not None
        ]
        if not stated:
            raise ValueError("state at least one limit")
        if not all(math.isfinite(x) for x in stated):
            raise ValueError(f"limits must be finite, got {self}")
        floor, ceiling = self.span
        if not floor < ceiling:
            raise ValueError(f"no value could be good between {floor:g} and {ceiling:g}")

    @property
    def span(self) -> tuple[float, float]:
        """The interval in which a true value is good, open sides as infinities."""
        below = [x for x in (self.low, self.discard_below) if x is not None]
        above = [x for x in (self.high, self.discard_above) if x is not None]
        return max(below, default=-math.inf), min(above, default=math.inf)

    def stated(self) -> tuple[tuple[LimitName, float], ...]:
        """Every limit that is stated, by name."""
        pairs: tuple[tuple[LimitName, float | None], ...] = (
            ("low", self.low),
            ("high", self.high),
            ("discard below", self.discard_below),
            ("discard above", self.discard_above),
        )
        return tuple((name, at) for name, at in pairs if at is not None)


@dataclass(frozen=True, slots=True)
class Settle:
    """What would turn `too close to call` into an answer, should the value stay where it is.

    `kind` nothing (already settled), more readings, better tool, or cannot (the value lies on
    the limit itself). `more_readings` how many; `u_needed` the standard uncertainty a tool would
    have to reach; `text` the same in plain words, empty when nothing is needed.
    """

    kind: Literal["nothing", "more readings", "better tool", "cannot"]
    text: str = ""
    more_readings: int | None = None
    u_needed: float | None = None


SETTLED = Settle("nothing")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The word, and why.

    `limit`, `limit_value` the limit that decided, or the nearest one when all is good; `distance`
    from it, positive on its good side; `guard` the guard band used; `p_conform` the probability
    that the true value lies inside all limits (JCGM 106), None where only one side is known.
    """

    word: Word
    rule: Rule
    limit: LimitName
    limit_value: float
    distance: float
    guard: float
    p_conform: float | None
    settle: Settle = SETTLED


def guard_band(spread: Spread) -> float:
    """Return the guard band for 95 % conformity probability at a single limit.

    1.65 u (ISO 14253-1:2017 default, recalled), more when few readings leave the scatter itself
    uncertain: then what the error stays under on one side in 95 %.
    """
    return max(_GUARD_FACTOR * spread.u, spread.quantile(0.95))


def conformance_probability(value: float, spread: Spread, limits: Limits) -> float:
    """Return the probability that the true value lies inside the limits.

    JCGM 106:2012 7.2-7.4 with a flat prior and the distribution of `spread`. With u = 0 it is 1
    or 0.
    """
    low, high = limits.span
    if spread.u == 0.0:
        return 1.0 if low <= value <= high else 0.0
    below = 0.0 if low == -math.inf else spread.beyond(value - low)
    above = 0.0 if high == math.inf else spread.beyond(high - value)
    return min(1.0, max(0.0, 1.0 - below - above))


def _slack(limit: float) -> float:
    """How far a float may sit off a typed decimal and still be that decimal."""
    return 1e-9 * abs(limit) + 1e-12


def _distance(name: LimitName, limit: float, value: float) -> float:
    """Signed distance, positive on the good side; exactly zero when the decimals agree."""
    gap = value - limit if name in ("low", "discard below") else limit - value
    return 0.0 if abs(gap) <= _slack(limit) else gap


def _weight(found: tuple[Word, float, LimitName, float]) -> tuple[int, bool, float]:
    """Order limits by what they say: the worst word, a discard limit past, the least room."""
    word, distance, name, _ = found
    return _SEVERITY[word], word == OUT and name.startswith("discard"), -distance


def _word(name: LimitName, distance: float, guard: float, slack: float) -> Word:
    if name.startswith("discard"):
        if distance <= 0.0:
            return OUT
    elif distance < -guard - slack or (distance < 0.0 and guard == 0.0):
        return OUT
    return GOOD if distance >= guard - slack else TOO_CLOSE


def judge(measurement: Measurement, limits: Limits, rule: Rule = ISO_14253) -> Verdict:
    """Judge a measurement against its limits.

    `iso 14253-1`: good when conformity is proven (inside by the guard band), out when
    nonconformity is proven (outside by it), else too close to call. `simple acceptance`: no guard
    band. Discard limits as described at `Limits`. The worst word of all limits counts.
    Raises ValueError for an unknown rule.
    """
    if rule not in RULES:
        raise ValueError(f"unknown decision rule {rule!r}; known: {', '.join(RULES)}")
    spread = measurement.spread
    guard = guard_band(spread) if rule == ISO_14253 else 0.0
    found = []
    for name, at in limits.stated():
        distance = _distance(name, at, measurement.value)
        found.append((_word(name, distance, guard, _slack(at)), distance, name, at))
    word, distance, name, at = max(found, key=_weight)
    chance = conformance_probability(measurement.value, spread, limits)
    settle = SETTLED
    if word == TOO_CLOSE:
        # every limit that leaves a doubt must be cleared, so the tightest one counts
        settle = _settle(measurement, min(abs(f[1]) for f in found if f[0] == TOO_CLOSE))
    return Verdict(word, rule, name, at, distance, guard, chance, settle)


def _settle(m: Measurement, distance: float) -> Settle:
    """Work out what brings the guard band under `distance`."""
    if distance == 0.0:
        return Settle("cannot", "the reading is on the limit itself; no tool can settle it")
    if m.sd:
        fixed = math.sqrt(max(0.0, m.u**2 - m.sd**2 / m.n))
        for extra in range(1, _MOST_EXTRA_READINGS + 1):
            mean = m.sd / math.sqrt(m.n + extra)
            u = math.hypot(fixed, mean)
            if _GUARD_FACTOR * u > distance:
                continue
            known = m.sd_dof + extra
            if guard_band(Spread(u, known * (u / mean) ** 4, mean, known)) <= distance:
                text = "one more reading" if extra == 1 else f"{extra} more readings"
                return Settle("more readings", text, more_readings=extra)
    return Settle("better tool", "needs a better tool", u_needed=distance / _GUARD_FACTOR)


def judge_steps(reading: StepReading, limits: Limits, rule: Rule = ISO_14253) -> Verdict:
    """Judge what a go/no-go tool told: an interval, perhaps open on one side.

    Good when the whole interval is good, out when none of it is, else too close to call; the same
    under both rules, as there is no single value to accept. `p_conform` takes every value in a
    closed interval as equally likely. `distance` is that of the interval's worse end.
    """
    if rule not in RULES:
        raise ValueError(f"unknown decision rule {rule!r}; known: {', '.join(RULES)}")
    bottom = -math.inf if reading.low is None else reading.low
    top = math.inf if reading.high is None else reading.high
    found = []
    for name, at in limits.stated():
        ends = sorted(_distance(name, at, end) for end in (bottom, top))
        discard = name.startswith("discard")
        if ends[0] > 0.0 or (ends[0] == 0.0 and not discard):
            word = GOOD
        elif ends[1] < 0.0 or (ends[1] == 0.0 and discard):
            word = OUT
        else:
            word = TOO_CLOSE
        found.append((word, ends[0], name, at))
    word, distance, name, at = max(found, key=_weight)
    low, high = limits.span
    chance: float | None = None
    if word == OUT:
        chance = 0.0
    elif word == GOOD:
        chance = 1.0
    elif reading.closed:
        inside = min(top, high) - max(bottom, low)
        chance = min(1.0, max(0.0, inside / (top - bottom)))
    settle = Settle("better tool", "needs a better tool") if word == TOO_CLOSE else SETTLED
    return Verdict(word, rule, name, at, distance, 0.0, chance, settle)
