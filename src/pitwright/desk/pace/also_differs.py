"""What else was different in every heat of one clutch state from every heat of another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from pitwright.desk.pace.clutch_states import By, grouped
from pitwright.desk.pace.pace import PaceHeat
from pitwright.weekend.weekend import Weekend

__all__ = ["also_differs"]

_Key = Callable[[PaceHeat], str]


def also_differs(
    weekend: Weekend,
    heats: Sequence[PaceHeat],
    state_of: Mapping[str, str],
    pairs: Sequence[tuple[str, str]],
    *,
    but: By | None = None,
) -> tuple[str, ...]:
    """Return a sentence for each pair of states, empty where nothing else always differed.

    ``but`` is what the states are grouped by. A bite is not looked into: what makes it differ are
    the spring, the recess and the shoes.
    """
    if not pairs:
        return ()
    looked = _looked_at(weekend, heats, but)
    return tuple(_sentence(heats, state_of, looked, a, b) for a, b in pairs)


def _looked_at(
    weekend: Weekend, heats: Sequence[PaceHeat], but: By | None
) -> tuple[tuple[str, _Key], ...]:
    parts: tuple[tuple[By, str], ...] = (
        ("spring", "another spring"),
        ("recess", "another recess"),
        ("shoes", "another shoe set"),
    )
    found: list[tuple[str, _Key]] = []
    for by, words in parts:
        if by == but or but == "bite":
            continue
        state_of = grouped(weekend, heats, by).state_of

        def key(heat: PaceHeat, of: Mapping[str, str] = state_of) -> str:
            return of.get(heat.record, "")

        found.append((words, key))
    return (
        *found,
        ("other tyres", lambda heat: heat.on.run.tyres.casefold().strip()),
        ("other gearing", _gearing),
        ("another kind of heat", lambda heat: heat.kind),
    )


def _gearing(heat: PaceHeat) -> str:
    pinion, spur = heat.on.run.pinion_teeth, heat.on.run.spur_teeth
    return f"{pinion} {spur}" if pinion or spur else ""


def _sentence(
    heats: Sequence[PaceHeat],
    state_of: Mapping[str, str],
    looked: Sequence[tuple[str, _Key]],
    a: str,
    b: str,
) -> str:
    sides = [[h for h in heats if state_of.get(h.record) == state] for state in (a, b)]
    differ = [words for words, key in looked if _apart(sides, key)]
    if not differ:
        return ""
    listed = differ[0] if len(differ) == 1 else f"{', '.join(differ[:-1])} and {differ[-1]}"
    return f"Every heat of one also had {listed}: it may be that instead."


def _apart(sides: Sequence[Sequence[PaceHeat]], key: _Key) -> bool:
    """Tell whether no known value occurs on both sides, and both sides have one."""
    first, second = ({key(heat) for heat in side} - {""} for side in sides)
    return bool(first) and bool(second) and not first & second
