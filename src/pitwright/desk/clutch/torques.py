"""The torque figures on the card beside what the thread would bear; the maker's figure rules."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from pitwright.mechanics import threads
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.figures import Torque

__all__ = ["TorqueFigure", "torque_desk", "torque_lines"]

_THREAD = re.compile(r"\bM(2\.5|3\.5|2|3|4|5|6|8)\b", re.IGNORECASE)
_CLASS = re.compile(r"\b(8\.8|10\.9|12\.9)\b")
_TAPER = re.compile(r"\btaper 1 ?: ?(\d{1,3}(?:\.\d+)?)", re.IGNORECASE)
_NUT_FACTOR = threads.NUT_FACTORS["zinc plated"]
_DRY, _OILED = 0.10, 0.05
"""Friction of a taper pressed home, clean and oiled. Common practice, no source."""


@dataclass(frozen=True)
class TorqueFigure:
    """A torque on the card [N m]; window and clamp load where the note names thread and class.

    ``nut_factor`` is what these take for the friction of the screw. ``word`` says how the figure
    lies to the window, and is empty when that is not known. ``taper`` is set where the note names
    one, as 1 to so many; ``taper_word`` says whether it holds by itself.
    """

    name: str
    torque: float
    provenance: str
    thread: str = ""
    property_class: str = ""
    low: float | None = None
    high: float | None = None
    clamp_load: float | None = None
    nut_factor: float | None = None
    word: str = ""
    taper: float | None = None
    taper_word: str = ""


def torque_desk(card: ClutchCard) -> tuple[TorqueFigure, ...]:
    """Return the card's torque figures.

    A note such as "M3 12.9" gives one its window, "taper 1:8" says what the nut presses home.
    """
    return tuple(
        _with_taper(
            _with_window(TorqueFigure(name, figure.value, figure.provenance), figure), figure
        )
        for name, figure in card.torques.items()
    )


def _with_window(plain: TorqueFigure, figure: Torque) -> TorqueFigure:
    thread, cls = _THREAD.search(figure.note), _CLASS.search(figure.note)
    if thread is None or cls is None:
        return plain
    size = f"M{thread[1]}"
    d = float(thread[1]) * 1e-3
    try:
        window = threads.torque_window(_NUT_FACTOR, d, threads.proof_load(size, cls[1]))
        load = threads.clamp_load(figure.si, _NUT_FACTOR, d)
    except RangeError:
        return plain
    word = "within the window"
    if figure.si < window.low:
        word = "below the window"
    elif figure.si > window.high:
        word = "above the window, and may stretch the screw"
    return replace(
        plain,
        thread=size,
        property_class=cls[1],
        low=window.low,
        high=window.high,
        clamp_load=load,
        nut_factor=_NUT_FACTOR,
        word=word,
    )


def _with_taper(found: TorqueFigure, figure: Torque) -> TorqueFigure:
    named = _TAPER.search(figure.note)
    if named is None:
        return found
    try:
        half_angle = threads.taper_half_angle(1 / float(named[1]))
    except (RangeError, ZeroDivisionError):
        return found
    word = "does not hold by itself: the nut alone holds it"
    if threads.self_holding(half_angle, _OILED):
        word = "holds by itself once pressed home"
    elif threads.self_holding(half_angle, _DRY):
        word = "holds by itself clean and dry, not with oil on it"
    return replace(found, taper=float(named[1]), taper_word=word)


def torque_lines(found: tuple[TorqueFigure, ...]) -> list[str]:
    """Return the torque figures as lines, always under the caution, and what they assume."""
    if not found:
        return ["Torques: the card has none; take the maker's. " + threads.CAUTION]
    lines = ["Torques", f"  {threads.CAUTION}"]
    for each in found:
        line = f"  {each.name:<16}{each.torque:.2f} N m ({each.provenance})"
        if each.low is not None and each.high is not None:
            window = f"{each.low:.2f} to {each.high:.2f} N m"
            line += f", {each.word}: {window} for {each.thread} {each.property_class}"
        lines.append(line)
        if each.taper is not None:
            lines.append(f"{'':<18}Its taper 1:{each.taper:g} {each.taper_word}")
    if any(each.low is not None for each in found):
        lines.append(
            f"  Windows take a nut factor of {_NUT_FACTOR:g}, a dry screw zinc plated or as "
            "delivered (Shigley table 8-15). Oil or thread-lock lowers it: the same torque then "
            "pulls harder."
        )
    if any(each.taper is not None for each in found):
        lines.append(
            f"  Tapers are taken to rub at {_DRY:g} clean and dry, {_OILED:g} with oil (common "
            "practice, no source)."
        )
    return lines
