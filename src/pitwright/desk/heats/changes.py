"""What changed: between two states of a clutch, and from record to record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pitwright.desk.sizes import shims_words
from pitwright.desk.wording import change_words, mm, part_label
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.places import PART_PLACES, SHIM_PLACES, PartPlace, ShimPlace
from pitwright.weekend.state import FigureInForce, State

__all__ = ["Difference", "differences", "part_name", "turn_words"]


@dataclass(frozen=True)
class Difference:
    """One thing that is not as it was.

    ``about`` is the place or quantity, ``label`` its name; ``before`` and ``after`` in words,
    "not known" when nobody recorded it; ``change_mm`` for figures known on both sides, and
    ``change`` the same in words, as the difference of the two numbers shown.
    """

    about: str
    label: str
    before: str
    after: str
    change_mm: float | None = None
    change: str = ""

    @property
    def text(self) -> str:
        """The difference as one line."""
        change = f" ({self.change})" if self.change else ""
        return f"{self.label}: {self.before} → {self.after}{change}"


_NOT_KNOWN = "not known"


def part_name(state: State, part: str | None) -> str:
    """Return what a part is called in a state."""
    if part is None:
        return _NOT_KNOWN
    known = state.parts.get(part)
    return part_label(known.label, part) if known is not None else part


def turn_words(turns: float) -> str:
    """Return turns of the nut in words, inwards positive: ``0.07 turn in``, ``1.50 turns out``."""
    size = abs(turns)
    if round(size, 2) == 0:
        return "no turn"
    return f"{size:.2f} turn{'s' if size > 1 else ''} {'in' if turns > 0 else 'out'}"


def differences(card: ClutchCard, before: State, after: State) -> tuple[Difference, ...]:
    """Return what differs between two states of one clutch, parts first, then shims and figures.

    The free length of another spring is no change of length: figures of a part are compared only
    when the same part is fitted on both sides. What nobody knew on either side is no difference.
    """
    return (
        *_parts(before, after),
        *_shims(before, after),
        *_figures(card, before, after),
        *_builds(before, after),
    )


def _parts(before: State, after: State) -> Iterator[Difference]:
    for place in PART_PLACES:
        old, new = _fitted(before, place), _fitted(after, place)
        if old != new:
            yield Difference(
                place, place.capitalize(), part_name(before, old), part_name(after, new)
            )


def _fitted(state: State, place: PartPlace) -> str | None:
    part = state.fitted(place)
    return part.part if part is not None else None


def _shims(before: State, after: State) -> Iterator[Difference]:
    for place in SHIM_PLACES:
        old, new = _stack(before, place), _stack(after, place)
        if old is None and new is None:
            continue
        if old is None or new is None or _microns(old) != _microns(new):
            yield Difference(
                place,
                place.capitalize(),
                _NOT_KNOWN if old is None else shims_words(old),
                _NOT_KNOWN if new is None else shims_words(new),
                None if old is None or new is None else round(sum(new) - sum(old), 6),
                "" if old is None or new is None else change_words(sum(old), sum(new)),
            )


def _stack(state: State, place: ShimPlace) -> tuple[float, ...] | None:
    shims = state.shims.get(place)
    return shims.shims_mm if shims is not None else None


def _microns(stack: tuple[float, ...]) -> list[int]:
    return sorted(round(s * 1000) for s in stack)


def _figures(card: ClutchCard, before: State, after: State) -> Iterator[Difference]:
    for key, quantity in card.quantities.items():
        if quantity.of in PART_PLACES:
            place: PartPlace = next(p for p in PART_PLACES if p == quantity.of)
            if _fitted(before, place) != _fitted(after, place):
                continue
        old, new = before.figure(key), after.figure(key)
        if new is None or (old is not None and _same(old, new, quantity.decimals)):
            continue
        yield Difference(
            key,
            quantity.label,
            _NOT_KNOWN if old is None else mm(old.value_mm, quantity.decimals),
            mm(new.value_mm, quantity.decimals),
            None if old is None else round(new.value_mm - old.value_mm, 6),
            "" if old is None else change_words(old.value_mm, new.value_mm, quantity.decimals),
        )


def _same(old: FigureInForce, new: FigureInForce, decimals: int) -> bool:
    """Whether two figures are one: a change too small to be shown is none for who reads it."""
    return old.record == new.record or mm(old.value_mm, decimals) == mm(new.value_mm, decimals)


def _builds(before: State, after: State) -> Iterator[Difference]:
    if after.build is None or (before.build is not None and before.build.id == after.build.id):
        return
    old = "none noted" if before.build is None else before.build.route
    yield Difference("build", "Build", old, after.build.route)
