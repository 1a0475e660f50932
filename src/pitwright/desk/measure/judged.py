"""What a typed reading amounts to, and the words for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

from pitwright.desk.sizes import size_words
from pitwright.desk.wording import mm
from pitwright.metrology.uncertainty import format_measurement
from pitwright.metrology.verdict import LimitName, Limits, Rule, Verdict
from pitwright.weekend.card import Quantity
from pitwright.weekend.records import Reading, VerdictWord

__all__ = [
    "RULE_NAMES",
    "RULE_WORDS",
    "Judged",
    "SlipQuestion",
    "advice_after",
    "card_limits",
    "distance_words",
    "judge_reading",
    "kept_words",
    "limits_of",
    "limits_words",
]

State = Literal["empty", "partial", "refused", "read"]

RULE_WORDS: Final[dict[Rule, str]] = {
    "iso 14253-1": "ISO 14253-1: good or out only when proven",
    "simple acceptance": "simple acceptance: the reading as it stands",
}

RULE_NAMES: Final[dict[Rule, str]] = {
    "iso 14253-1": "ISO 14253-1",
    "simple acceptance": "simple acceptance",
}

_COVERAGE: Final = 2.0


@dataclass(frozen=True)
class SlipQuestion:
    """A doubt to be put to the user before a reading is kept.

    ``replacement`` is the whole entry with the likely slip undone, None when there is no guess;
    ``belongs_to`` the quantity it seems to belong to, when it looks like the wrong field;
    ``beyond`` is set when the limits would pass a size that nothing on the card speaks of,
    ``stays`` when a second reading that agrees with the first would not settle it, ``dangerous``
    when the size as typed is out and can be: then the verdict comes first and the doubt second.
    ``apart`` is set when one reading is far from the others, so that their mean means nothing.
    """

    question: str
    replacement: str | None = None
    belongs_to: str | None = None
    beyond: bool = False
    stays: bool = False
    dangerous: bool = False
    apart: bool = False

    @property
    def explained(self) -> bool:
        """Tell whether the number itself is doubted, so that no verdict on it should show."""
        known = self.replacement is not None or self.belongs_to is not None
        return (known or self.beyond or self.apart) and not self.dangerous

    def in_few_words(self) -> str:
        """Return the doubt in a few words."""
        if self.replacement is not None:
            return f"did you mean {self.replacement}?"
        if self.belongs_to is not None:
            return "wrong field?"
        if self.apart:
            return "read it again"
        return "no such size is known" if self.beyond else "far from the last one"


@dataclass(frozen=True)
class Judged:
    """A reading as typed, judged.

    ``state``: nothing typed, half-typed, refused, or read. ``value_mm`` and ``u_mm`` (standard
    uncertainty) are None while there is no value; ``shown`` is value and expanded uncertainty.
    ``word`` is the verdict, None when the card states no limit or nothing is known yet.
    ``distance`` from the deciding limit, in words (``short_distance``: in few); ``p_conform`` the
    probability that the true value lies inside the limits; ``advice`` what to do about it;
    ``settle`` what would settle a close call; ``notes`` what else to know; ``reason`` what is
    lacking or why it was refused. ``at_20`` is set when a warm part's size is given at 20 degrees.
    ``slip`` must be put to the user before ``reading``, the record of it, is kept. A reading of
    a part that nobody named has ``needs_part`` set.
    """

    state: State
    quantity: str
    label: str
    typed: str = ""
    part: str | None = None
    instrument: str | None = None
    value_mm: float | None = None
    u_mm: float | None = None
    shown: str = ""
    word: VerdictWord | None = None
    rule: Rule = "iso 14253-1"
    distance: str = ""
    short_distance: str = ""
    p_conform: float | None = None
    advice: str = ""
    settle: str = ""
    slip: SlipQuestion | None = None
    notes: tuple[str, ...] = ()
    reason: str = ""
    reading: Reading | None = None
    needs_part: bool = False
    at_20: bool = False

    @property
    def size(self) -> str:
        """Value and uncertainty, and at which temperature where that was not as read."""
        return f"{self.shown} at 20 °C" if self.at_20 else self.shown

    @property
    def rule_words(self) -> str:
        """The rule in force, in words."""
        return RULE_WORDS[self.rule]

    @property
    def chance(self) -> str:
        """The probability of conformity in words, empty when it says nothing new."""
        if self.p_conform is None or self.word is None:
            return ""
        percent = round(100.0 * self.p_conform)
        return f"{'over 99' if percent > 99 else 'under 1' if percent < 1 else percent} % inside"

    def in_few_words(self) -> str:
        """Return what is wrong or what to do, in few words, for the line of one quantity."""
        if self.slip is not None and self.slip.explained:
            return self.slip.in_few_words()
        if self.state in ("partial", "refused"):
            return self.reason
        if self.state == "read" and self.needs_part:
            return "say which part this is"
        return ": ".join(x for x in (self.short_distance, self.advice or self.settle) if x)

    def told(self) -> str:
        """Return distance, chance, advice and what would settle it as one line."""
        verdict = ", ".join(x for x in (self.distance, self.chance) if x)
        settle = f"{self.settle[:1].upper()}{self.settle[1:]}"
        return ". ".join(x for x in (verdict, self.advice, settle) if x)


def card_limits(quantity: Quantity) -> Limits | None:
    """Return the card's limits of a quantity [mm], None when it states none.

    Raises ValueError when they leave no room for any good value.
    """
    figures = [
        None if figure is None else figure.value
        for figure in (
            quantity.low,
            quantity.high,
            quantity.discard_below,
            quantity.discard_above,
        )
    ]
    return None if all(figure is None for figure in figures) else Limits(*figures)


def limits_of(reading: Reading) -> Limits | None:
    """Return the limits a kept reading was judged by [mm]."""
    stated = (reading.low_mm, reading.high_mm, reading.discard_below_mm, reading.discard_above_mm)
    return None if all(limit is None for limit in stated) else Limits(*stated)


def limits_words(limits: Limits | None, decimals: int = 2) -> str:
    """Return limits in words: ``1.20 to 1.70 mm``, ``discard at 9.80 mm or below``."""
    if limits is None:
        return "no limit on the card"
    d = decimals
    parts: list[str] = []
    if limits.low is not None and limits.high is not None:
        parts.append(f"{limits.low:.{d}f} to {mm(limits.high, d)}")
    elif limits.low is not None:
        parts.append(f"at least {mm(limits.low, d)}")
    elif limits.high is not None:
        parts.append(f"at most {mm(limits.high, d)}")
    if limits.discard_below is not None:
        parts.append(f"discard at {mm(limits.discard_below, d)} or below")
    if limits.discard_above is not None:
        parts.append(f"discard at {mm(limits.discard_above, d)} or above")
    return ", ".join(parts)


_SIDES: Final[dict[LimitName, tuple[str, str, str]]] = {
    "low": ("above", "below", "the lower limit"),
    "high": ("below", "above", "the upper limit"),
    "discard below": ("above", "below", "the discard limit"),
    "discard above": ("below", "above", "the discard limit"),
}


def distance_words(limit: LimitName, at: float, distance: float, decimals: int = 2) -> str:
    """Return how far a value lies from a limit: ``0.05 mm below the upper limit of 1.70 mm``.

    ``distance`` [mm] is positive on the good side.
    """
    inside, outside, name = _SIDES[limit]
    of = f"{name} of {mm(at, decimals)}"
    if abs(distance) < 1e-9:
        return f"exactly on {of}"
    side = inside if distance > 0 else outside
    # a distance that rounds to nothing is still on one side
    if round(abs(distance), decimals) == 0:
        return f"a hair {side} {of}"
    return f"{mm(abs(distance), decimals)} {side} {of}"


def short_distance(limit: LimitName, at: float, distance: float, decimals: int = 2) -> str:
    """Return how far a value lies from a limit in few words: ``0.05 mm above 1.70``."""
    if abs(distance) < 1e-9:
        return f"on {at:.{decimals}f}"
    inside, outside, _ = _SIDES[limit]
    side = inside if distance > 0 else outside
    if round(abs(distance), decimals) == 0:
        return f"a hair {side} {at:.{decimals}f}"
    return f"{mm(abs(distance), decimals)} {side} {at:.{decimals}f}"


def with_verdict(judged: Judged, verdict: Verdict, quantity: Quantity) -> Judged:
    """Return ``judged`` with the verdict, its distance in words, and the card's advice."""
    below = verdict.limit in ("low", "discard below")
    what_to_do = quantity.when_low if below else quantity.when_high
    settle = ""
    if verdict.word == "too close to call":
        kind, text = verdict.settle.kind, verdict.settle.text
        settle = f"{text} would settle it" if kind == "more readings" else text
    return replace(
        judged,
        word=verdict.word,
        rule=verdict.rule,
        distance=distance_words(
            verdict.limit, verdict.limit_value, verdict.distance, quantity.decimals
        ),
        short_distance=short_distance(
            verdict.limit, verdict.limit_value, verdict.distance, quantity.decimals
        ),
        p_conform=verdict.p_conform,
        advice=what_to_do if verdict.word == "out" else "",
        settle=settle,
    )


def judge_reading(reading: Reading, label: str, decimals: int = 2) -> Judged:
    """Return a kept reading as it was judged then, by its own limits, rule and uncertainty."""
    judged = Judged(
        "read",
        reading.quantity,
        label,
        typed=reading.typed,
        part=reading.part,
        instrument=reading.instrument,
        value_mm=reading.value_mm,
        u_mm=reading.u_mm,
        shown=kept_words(reading, decimals),
        word=reading.verdict,
        rule=reading.rule,
        reading=reading,
        at_20=reading.at_20_mm is not None,
    )
    nearest = _nearest(reading)
    if nearest is None:
        return judged
    gap, name, at = nearest
    return replace(
        judged,
        distance=distance_words(name, at, gap, decimals),
        short_distance=short_distance(name, at, gap, decimals),
    )


def kept_words(reading: Reading, decimals: int) -> str:
    """Return what a kept reading showed: value and uncertainty, or the bound it told."""
    if reading.bound is not None:
        return size_words(reading.value_mm, reading.bound, decimals)
    return format_value(reading.value_mm, reading.u_mm, decimals, k=reading.k)


def advice_after(reading: Reading, quantity: Quantity) -> str:
    """Return what the card says to do about a kept reading that was out, else nothing."""
    nearest = _nearest(reading)
    if nearest is None or reading.verdict != "out":
        return ""
    below = nearest[1] in ("low", "discard below")
    return quantity.when_low if below else quantity.when_high


def _nearest(reading: Reading) -> tuple[float, LimitName, float] | None:
    """Return the limit a kept reading has least room to: distance, name and where it lies."""
    limits = limits_of(reading)
    if limits is None:
        return None
    value = reading.value_mm
    return min(
        (value - at if name in ("low", "discard below") else at - value, name, at)
        for name, at in limits.stated()
    )


def format_value(
    value: float, u: float | None, decimals: int = 2, *, k: float | None = None
) -> str:
    """Return ``10.15 ± 0.03 mm`` (k = 2 unless stated), or the bare value without an u."""
    return format_measurement(value, (k or _COVERAGE) * u) if u else mm(value, decimals)
