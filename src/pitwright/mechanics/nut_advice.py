"""Where the adjuster nut should go: the recess for a bite, the turns to it, or a refusal.

A refusal is a result, not an exception, so that it can be worded ("fit a new spring").
All lengths [m].

Sources:
    [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM).
    [2] The relation of turns to recess is the thread's geometry; no outside source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitwright.mechanics.errors import (
    RangeError,
    finite,
    magnitude,
    not_negative,
    positive,
    within,
)
from pitwright.mechanics.nut import root


@dataclass(frozen=True)
class NutLimits:
    """How far the nut may go.

    Attributes:
        maximum: deepest recess the card allows [m].
        at_solid: recess at which the coils close [m], the bottomed-out reading.
        travel: how much further the clutch squeezes the spring before it bites [m].
        minimum: shallowest recess [m]; 0 is flush with the face. Set it higher where the spring
            would lie loose first.
    """

    maximum: float
    at_solid: float
    travel: float = 0.0
    minimum: float = 0.0

    def __post_init__(self) -> None:
        finite("minimum", self.minimum)
        not_negative("travel", self.travel)
        finite("at_solid", self.at_solid)
        finite("maximum", self.maximum)
        deepest = min(magnitude("maximum", self.maximum), magnitude("at_solid", self.at_bind))
        if magnitude("minimum", self.minimum) >= deepest:
            raise RangeError("minimum", self.minimum, "leaves the nut no room below it")

    @property
    def at_bind(self) -> float:
        """Recess [m] at which the coils would close just as the clutch bites."""
        return self.at_solid - self.travel


class Refusal(StrEnum):
    """Why no setting can be given."""

    PAST_MAXIMUM = "past the deepest recess allowed"
    COIL_BIND = "the coils would close before the clutch bites"
    TOO_SHALLOW = "shallower than the nut may stand"


class Direction(StrEnum):
    """Which way to turn the nut."""

    IN = "in"
    OUT = "out"
    STAY = "leave it"


@dataclass(frozen=True)
class NutAdvice:
    """Where the nut should go, and how surely that is known.

    Attributes:
        refusal: why not, or None when the setting may be made.
        wanted: recess sought [m].
        u_wanted: its standard uncertainty [m].
        turns: how far to turn, not below zero; None without a known present recess.
        direction: which way.
        u_turns: standard uncertainty of ``turns``.
        bind_margin: travel left before the coils close, at the wanted recess [m].
        maximum_margin: recess left before the card's maximum [m].
    """

    refusal: Refusal | None
    wanted: float
    u_wanted: float | None = None
    turns: float | None = None
    direction: Direction | None = None
    u_turns: float | None = None
    bind_margin: float | None = None
    maximum_margin: float | None = None


def advise(
    wanted: float,
    limits: NutLimits,
    pitch: float,
    *,
    present: float | None = None,
    u_wanted: float = 0.0,
    u_present: float = 0.0,
    u_pitch: float = 0.0,
    correlation: float = 0.0,
) -> NutAdvice:
    """Word a wanted recess as turns from where the nut is now, or refuse it.

    turns = |wanted - present| / pitch, in when the wanted recess is deeper.

    Args:
        wanted, u_wanted: recess sought and its standard uncertainty [m].
        limits: how far the nut may go.
        pitch, u_pitch: of the nut's thread [m].
        present, u_present: recess now [m], where it is known.
        correlation: of wanted and present. Where the wanted recess was reckoned from the present
            reading (the nut has not been touched since), that reading cancels: give
            u_present / u_wanted.

    Returns: NutAdvice; past a limit it carries a ``refusal`` and the recess that was sought.
    Coil bind is named before the card's maximum when the recess is past both.
    Raises: RangeError. Source: [2], [1] eq. 13.

    >>> limits = NutLimits(maximum=1.7e-3, at_solid=2.125e-3, travel=0.25e-3)
    >>> advice = advise(1.5e-3, limits, 0.75e-3, present=1.35e-3, u_present=0.02e-3)
    >>> round(advice.turns, 3), advice.direction.value, round(advice.u_turns, 4)
    (0.2, 'in', 0.0267)
    >>> advise(1.8e-3, limits, 0.75e-3).refusal.name
    'PAST_MAXIMUM'
    """
    finite("wanted", wanted)
    positive("pitch", pitch)
    for name, u in (("u_wanted", u_wanted), ("u_present", u_present), ("u_pitch", u_pitch)):
        not_negative(name, u)
    within("correlation", correlation, -1.0, 1.0)
    turns = direction = u_turns = None
    if present is not None:
        step = (wanted - finite("present", present)) / pitch
        turns, sense = abs(step), magnitude("wanted", step)
        direction = Direction.IN if sense > 0 else Direction.OUT if sense < 0 else Direction.STAY
        lengths = u_wanted**2 + u_present**2 - 2 * correlation * u_wanted * u_present
        u_turns = root(lengths / pitch**2 + (turns * u_pitch / pitch) ** 2)
    return NutAdvice(
        refusal=_refusal(wanted, limits),
        wanted=wanted,
        u_wanted=u_wanted,
        turns=turns,
        direction=direction,
        u_turns=u_turns,
        bind_margin=limits.at_bind - wanted,
        maximum_margin=limits.maximum - wanted,
    )


def _refusal(wanted: float, limits: NutLimits) -> Refusal | None:
    # A picometre of slack: the limit itself is allowed, however its sum was rounded.
    if magnitude("wanted", wanted - limits.at_bind) > 1e-12:
        return Refusal.COIL_BIND
    if magnitude("wanted", wanted - limits.maximum) > 1e-12:
        return Refusal.PAST_MAXIMUM
    if magnitude("wanted", limits.minimum - wanted) > 1e-12:
        return Refusal.TOO_SHALLOW
    return None
