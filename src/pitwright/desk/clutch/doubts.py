"""One error and all that it moves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

__all__ = ["Doubt", "merged"]


@dataclass(frozen=True)
class Doubt:
    """An error with its standard uncertainty, and by how much one of it moves each field (SI).

    ``own`` marks an error of this one state (a reading); the card's bear on all states alike.
    """

    u: float
    moves: Mapping[str, float]
    own: bool = False


def merged(groups: Iterable[Mapping[str, Doubt]]) -> dict[str, Doubt]:
    """Return all errors by key; where two groups name one error, it moves what both say.

    >>> merged([{"a": Doubt(1.0, {"x": 1.0})}, {"a": Doubt(1.0, {"x": -1.0, "y": 2.0})}])["a"].moves
    {'x': 0.0, 'y': 2.0}
    """
    found: dict[str, Doubt] = {}
    for group in groups:
        for key, doubt in group.items():
            known = found.get(key)
            if known is None:
                found[key] = doubt
                continue
            names = dict.fromkeys((*known.moves, *doubt.moves))
            moves = {n: known.moves.get(n, 0.0) + doubt.moves.get(n, 0.0) for n in names}
            found[key] = Doubt(max(known.u, doubt.u), moves, known.own)
    return found
