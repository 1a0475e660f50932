"""A clutch card held against physics, which refuses, and against the trade's sizes, which ask.

What no clutch can be is refused, with both keys that do not go together. What one could be and
none in the trade is, is used as it stands and asked about: most often a unit is another one, or a
decimal point has moved.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from pitwright.mechanics.centrifugal import closing_factor
from pitwright.mechanics.errors import RangeError
from pitwright.mechanics.spring_curve import CurveFit, fit_curve
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Figure
from pitwright.weekend.kinds import shoes_of, spring_of
from pitwright.weekend.plausible import PLAUSIBLE
from pitwright.weekend.problems import Problem
from pitwright.weekend.spring_figures import rate_by_wire, squeezes_of

__all__ = ["card_questions", "card_refusals"]


def card_questions(card: ClutchCard, name: str) -> list[Problem]:
    """Return a question for each figure of the card in the file ``name`` that is hardly meant."""
    return [Problem(name, key, reason, "", "question") for key, reason in _hardly_meant(card)]


def card_refusals(card: ClutchCard, name: str) -> list[Problem]:
    """Return what on the card in the file ``name`` no clutch can be: keys, and why."""
    found = (each for seen in _as_fitted(card) for check in _CHECKS for each in check(seen))
    return [Problem(name, key, reason) for key, reason in found]


def _hardly_meant(card: ClutchCard) -> Iterator[tuple[str, str]]:
    for row in PLAUSIBLE:
        table, _, rest = row.key.partition(".")
        kinds = [f"{table}_kind.*.{rest}"] if table in ("spring", "shoes") else []
        for pattern in (row.key, *kinds):
            for key, figure in _figures(card, "", pattern.split(".")):
                if not row.low <= figure.value <= row.high:
                    unit = f" {figure.unit}" if figure.unit else ""
                    usual = f"usual is {row.low:g} to {row.high:g}{unit}"
                    yield key, f"{_said(figure)}: {row.asked} ({usual})"
    for seen in _as_fitted(card):
        yield from _other_rate(seen)


def _said(figure: Figure) -> str:
    """Return a figure as it may have been written: 0.0817 GPa as 81.7 MPa."""
    if figure.unit == "GPa" and abs(figure.value) < 1:
        return f"{figure.value * 1000:g} MPa"
    return f"{figure.value:g} {figure.unit}".strip()


def _figures(at: object, path: str, parts: list[str]) -> Iterator[tuple[str, Figure]]:
    if at is None:
        return
    if isinstance(at, Figure):
        yield path, at
        return
    part, rest = parts[0], parts[1:]
    if isinstance(at, dict):
        for name, value in at.items():
            yield from _figures(value, f"{path}.{_quoted(name)}", rest)
    elif isinstance(at, list):
        for number, value in enumerate(at, 1):
            yield from _figures(value, f"{path}[{number}]", rest)
    else:
        yield from _figures(getattr(at, part), f"{path}.{part}".lstrip("."), rest)


def _quoted(name: str) -> str:
    """Return a name as TOML wants it in a key."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else f'"{name}"'


@dataclass(frozen=True)
class _Fitted:
    """The card as one kind makes it; ``named`` is where each figure of that kind stands.

    The card by itself has none named, and there everything counts; with a kind, what has a figure
    of that kind in it.
    """

    card: ClutchCard
    named: Mapping[str, str]

    def at(self, key: str) -> Figure:
        """Return the figure of a key such as ``spring.wire_diameter``."""
        table, _, field = key.partition(".")
        found = getattr(getattr(self.card, table), field)
        assert isinstance(found, Figure)
        return found

    def counts(self, *keys: str) -> bool:
        """Whether what these keys are together is this one's to say."""
        return not self.named or any(key in self.named for key in keys)

    def key(self, key: str) -> str:
        """Return the key as it stands in the file."""
        return self.named.get(key, key)

    def told(self, key: str) -> str:
        """Return the key with what it says."""
        return f"{self.key(key)} {_said(self.at(key))}"


def _as_fitted(card: ClutchCard) -> Iterator[_Fitted]:
    """Yield the card by itself, then with each kind of springs and of shoes."""
    yield _Fitted(card, {})
    for name, spring in card.spring_kind.items():
        with_kind = card.model_copy(update={"spring": spring_of(spring, card.spring)})
        yield _Fitted(with_kind, _names("spring", name, spring.model_fields_set))
    for name, shoes in card.shoes_kind.items():
        with_kind = card.model_copy(update={"shoes": shoes_of(shoes, card.shoes)})
        yield _Fitted(with_kind, _names("shoes", name, shoes.model_fields_set))


def _names(table: str, kind: str, fields: Collection[str]) -> dict[str, str]:
    return {f"{table}.{field}": f"{table}_kind.{_quoted(kind)}.{field}" for field in fields}


_ABOVE_ZERO: Final = (
    "spring.wire_diameter",
    "spring.mean_diameter",
    "spring.active_coils",
    "spring.solid_length",
    "spring.shear_modulus",
    "shoes.mass",
    "shoes.mass_radius",
    "shoes.clearance",
    "shoes.thickness_new",
    "shoes.bell_friction",
    "nut.pitch",
    "nut.recess_bottomed",
)

_MAY_BE_EQUAL: Final = ("nut.recess_max", "spring.active_coils")

_BELOW: Final = (
    ("spring.wire_diameter", "spring.mean_diameter", "the coil would close on itself"),
    ("spring.active_coils", "spring.total_coils", "more coils would work than there are"),
    ("spring.solid_length", "spring.free_length_new", "the spring could not be squeezed"),
    ("shoes.mass_radius", "bell.bore_radius", "the shoes would lie outside the bell"),
    ("shoes.clearance", "bell.bore_radius", "no room would be left for the shoes"),
    ("nut.recess_max", "nut.recess_bottomed", "the spring is solid before the nut is there"),
    ("nut.recess_new_spring_low", "nut.recess_new_spring_high",
     "no recess would be right for a new spring"),
)  # fmt: skip
"""Keys of which the first is less than the second, and why it cannot be else."""


def _signs(seen: _Fitted) -> Iterator[tuple[str, str]]:
    """Yield what is nothing or less and has to be more."""
    for key in _ABOVE_ZERO:
        if seen.counts(key) and seen.at(key).value <= 0:
            yield seen.key(key), f"is {_said(seen.at(key))}; it must be above zero"


def _together(seen: _Fitted) -> Iterator[tuple[str, str]]:
    """Yield pairs of figures that no clutch can have together."""
    for low, high, why in _BELOW:
        over = seen.at(low).value - seen.at(high).value
        too_much = over > 0 or (over == 0 and low not in _MAY_BE_EQUAL)
        if seen.counts(low, high) and too_much:
            yield seen.key(low), f"is {_said(seen.at(low))} against {seen.told(high)}: {why}"


def _wedge(seen: _Fitted) -> Iterator[tuple[str, str]]:
    """Yield a wedge that locks itself or cannot move."""
    angle = seen.card.wedge.angle
    if not seen.counts("wedge.angle", *_FRICTIONS.values()):
        return
    try:
        closing_factor(angle.si, *(seen.at(key).value for key in _FRICTIONS.values()))
    except RangeError as error:
        if error.argument == "wedge_angle":
            degrees = f"{math.degrees(angle.si):g} deg"
            others = " and ".join(seen.told(key) for key in _FRICTIONS.values())
            yield "wedge.angle", f"is {degrees} with {others}: the wedge {error.reason}"
        else:
            yield seen.key(_FRICTIONS[error.argument]), error.reason


_FRICTIONS: Final = {"wedge_friction": "wedge.friction", "face_friction": "shoes.face_friction"}


def _curve_fit(seen: _Fitted) -> tuple[CurveFit, float] | None:
    """Return the fit of the spring's curve and the rate by wire and coils, None without a curve.

    Raises RangeError where either makes none.
    """
    spring = seen.card.spring
    if not spring.curve or not seen.counts("spring.curve"):
        return None
    rate = rate_by_wire(spring)
    free, solid = spring.free_length_new.si, spring.solid_length.si
    return fit_curve(squeezes_of(spring), free, solid, rate, _RATE_U * rate), rate


def _curve(seen: _Fitted) -> Iterator[tuple[str, str]]:
    """Yield squeezes that no spring gives."""
    try:
        _curve_fit(seen)
    except RangeError as error:
        if error.argument == "curve":
            yield seen.key("spring.curve"), error.reason


def _other_rate(seen: _Fitted) -> Iterator[tuple[str, str]]:
    """Yield squeezes of another spring, or on another scale, than wire and coils say."""
    try:
        found = _curve_fit(seen)
    except RangeError:
        return
    if found is None:
        return
    fit, rate = found
    if abs(fit.by_squeezes / rate - 1) > _RATE_FAR:
        yield (
            seen.key("spring.curve"),
            f"{fit.by_squeezes / 1e3:.1f} N/mm by these squeezes, {rate / 1e3:.1f} by wire and "
            "coils: this spring, and the scale's unit?",
        )


_RATE_U: Final = 0.05
_RATE_FAR: Final = 0.25
"""Share by which two rates may differ before one is asked about: several times what caliper, coils
and kitchen scale leave open. Judgement."""

_CHECKS: Final = (_signs, _together, _wedge, _curve)
