"""What would let a clutch bite that cannot: the smallest change of one thing at a time."""

from __future__ import annotations

from dataclasses import replace
from typing import Final, Literal

from pitwright.desk.clutch.model import ClutchModel
from pitwright.desk.wording import fixed
from pitwright.mechanics.clutch import force_at_bell
from pitwright.mechanics.errors import RangeError

__all__ = ["ways_to_bite"]

_STEPS: Final = 200  # hundredths of a millimetre: farther away nobody would look
_MM: Final = 1e-3

Key = Literal["recess", "free_length", "worn"]
_NAMES: Final[dict[Key, str]] = {
    "recess": "Nut recess",
    "free_length": "Spring length",
    "worn": "Shoe wear",
}


def ways_to_bite(model: ClutchModel) -> tuple[str, ...]:
    """Return a line for each single change, to a whole hundredth, that lets the clutch bite.

    Empty when it bites already, and when no such change is near.
    """
    if _bites(model, {}):
        return ()
    ways = []
    for key, name in _NAMES.items():
        standing = round(getattr(model.clutch, key) / _MM, 2)
        for step in range(1, _STEPS + 1):
            less, more = round(standing - step / 100, 2), round(standing + step / 100, 2)
            if less >= 0 and _bites(model, {key: less * _MM}):
                ways.append(f"{name:<14}{fixed(less):>6} mm or less")
                break
            if _bites(model, {key: more * _MM}):
                ways.append(f"{name:<14}{fixed(more):>6} mm or more")
                break
    return tuple(ways)


def _bites(model: ClutchModel, changes: dict[Key, float]) -> bool:
    try:
        force_at_bell(replace(model.clutch, **changes))  # type: ignore[arg-type]
    except RangeError:
        return False
    return True
