"""The torque figures on the card beside what the thread would bear; the maker's figure rules."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pitwright.mechanics import threads
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard

__all__ = ["TorqueFigure", "torque_desk", "torque_lines"]

_THREAD = re.compile(r"\bM(3\.5|3|4|5|6|8)\b", re.IGNORECASE)
_CLASS = re.compile(r"\b(8\.8|10\.9|12\.9)\b")
_NUT_FACTOR = 0.2
"""Dry steel, zinc plated or as delivered (Shigley table 8-15)."""


@dataclass(frozen=True)
class TorqueFigure:
    """A torque on the card [N m]; window and clamp load where the note names thread and class.

    ``word`` says how the figure lies to the window, and is empty when that is not known.
    """

    name: str
    torque: float
    provenance: str
    thread: str = ""
    property_class: str = ""
    low: float | None = None
    high: float | None = None
    clamp_load: float | None = None
    word: str = ""


def torque_desk(card: ClutchCard) -> tuple[TorqueFigure, ...]:
    """Return the card's torque figures; a note such as "M3 12.9" gives one its window."""
    found = []
    for name, figure in card.torques.items():
        thread, cls = _THREAD.search(figure.note), _CLASS.search(figure.note)
        plain = TorqueFigure(name, figure.value, figure.provenance)
        if thread is None or cls is None:
            found.append(plain)
            continue
        size = f"M{thread[1]}"
        d = float(thread[1]) * 1e-3
        try:
            window = threads.torque_window(_NUT_FACTOR, d, threads.proof_load(size, cls[1]))
            load = threads.clamp_load(figure.si, _NUT_FACTOR, d)
        except RangeError:
            found.append(plain)
            continue
        word = "within the window"
        if figure.si < window.low:
            word = "below the window"
        elif figure.si > window.high:
            word = "above the window, and may stretch the screw"
        found.append(
            TorqueFigure(
                name,
                figure.value,
                figure.provenance,
                size,
                cls[1],
                window.low,
                window.high,
                load,
                word,
            )
        )
    return tuple(found)


def torque_lines(found: tuple[TorqueFigure, ...]) -> list[str]:
    """Return the torque figures as lines, always under the caution."""
    if not found:
        return ["Torques: the card has none; take the maker's. " + threads.CAUTION]
    lines = ["Torques", f"  {threads.CAUTION}"]
    for each in found:
        line = f"  {each.name:<16}{each.torque:.2f} N m ({each.provenance})"
        if each.low is not None and each.high is not None:
            window = f"{each.low:.2f} to {each.high:.2f} N m"
            line += f", {each.word}: {window} for {each.thread} {each.property_class}"
        lines.append(line)
    return lines
