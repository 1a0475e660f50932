"""The adjuster nut: recess, turns, its calibration, and the recess for a preload.

Turning the nut out (more ``turns_out``) lifts it toward the face: the recess gets smaller and so
does the preload. All lengths [m], turns are whole revolutions counted from bottomed out.

Uncertainties are standard uncertainties, combined to first order (GUM [1], eq. 10 and 13).

Sources:
    [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM).
    [2] The relation of turns to recess is the thread's geometry; no outside source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitwright.mechanics.errors import (
    RangeError,
    finite,
    finite_result,
    magnitude,
    not_negative,
    positive,
)
from pitwright.mechanics.lines import fit_line


def recess_at(turns_out: float, recess_bottomed: float, pitch: float) -> float:
    """Recess recess_bottomed - turns_out pitch [m]; below zero the nut stands proud.

    Args:
        turns_out: turns from bottomed out, not below zero.
        recess_bottomed: recess with the spring's coils closed [m].
        pitch: of the nut's thread [m].

    Raises: RangeError. Source: [2].

    >>> round(recess_at(1.5, 2.125e-3, 0.75e-3), 6)
    0.001
    """
    climbed = not_negative("turns_out", turns_out) * positive("pitch", pitch)
    return finite_result("recess", finite("recess_bottomed", recess_bottomed) - climbed)


def turns_at(recess: float, recess_bottomed: float, pitch: float) -> float:
    """Turns out from bottomed at which the nut lies at a recess.

    (recess_bottomed - recess) / pitch. Args: lengths [m]; the recess may not lie deeper than
    bottomed out.
    Raises: RangeError. Source: [2].

    >>> round(turns_at(1.0e-3, 2.125e-3, 0.75e-3), 6)
    1.5
    """
    climb = finite("recess_bottomed", recess_bottomed) - finite("recess", recess)
    if magnitude("recess", climb) < -1e-12:
        raise RangeError("recess", recess, f"is deeper than bottomed out, {recess_bottomed}")
    return finite_result("turns", climb / positive("pitch", pitch))


@dataclass(frozen=True)
class NutCalibration:
    """The nut's line, recess = recess_bottomed - turns_out pitch, as the user's readings give it.

    Attributes:
        recess_bottomed, pitch: the line [m].
        u_recess_bottomed, u_pitch: standard uncertainties [m].
        covariance: of the two [m2].
        residual_sd: scatter of the readings about the line [m], None where none can be told.
        readings: how many pairs went in.
    """

    recess_bottomed: float
    pitch: float
    u_recess_bottomed: float
    u_pitch: float
    covariance: float
    residual_sd: float | None
    readings: int

    def recess(self, turns_out: float, u_turns: float = 0.0) -> tuple[float, float]:
        """Give the recess [m] after ``turns_out`` turns and its standard uncertainty [m]."""
        value = recess_at(turns_out, self.recess_bottomed, self.pitch)
        line = (
            self.u_recess_bottomed**2
            + (turns_out * self.u_pitch) ** 2
            - 2 * turns_out * self.covariance
        )
        return value, root(line + (self.pitch * not_negative("u_turns", u_turns)) ** 2)

    def turns(self, recess: float, u_recess: float = 0.0) -> tuple[float, float]:
        """Give the turns out at which the nut lies at ``recess`` [m], and their uncertainty."""
        value = turns_at(recess, self.recess_bottomed, self.pitch)
        _, u_line = self.recess(max(value, 0.0))
        spread = u_line**2 + not_negative("u_recess", u_recess) ** 2
        return value, root(spread) / self.pitch


def calibrate(
    pairs: Sequence[tuple[float, float]],
    *,
    known_pitch: float | None = None,
    u_known_pitch: float = 0.0,
    u_recess: float | Sequence[float] | None = None,
) -> NutCalibration:
    """Find pitch and bottomed-out recess from pairs of (turns out, measured recess [m]).

    Args:
        pairs: with ``known_pitch`` one is enough and only the offset is sought; without it two
            give the line exactly and more give it by least squares.
        known_pitch, u_known_pitch: pitch of the thread [m] where it is known.
        u_recess: standard uncertainty of the recess readings [m], one for all or one each. It
            weighs them; three pairs or more can do without, and then their own scatter counts.

    Range: turns are taken as exact beside the readings. An error common to all readings (a caliper
    not zeroed) shifts the offset and is not seen here.
    Raises: RangeError, also when the recess does not fall as the nut is turned out.
    Source: [1] H.3.

    >>> nut = calibrate([(0.0, 2.12e-3), (1.0, 1.38e-3), (2.0, 0.62e-3)])
    >>> round(nut.pitch * 1e3, 3), round(nut.recess_bottomed * 1e3, 3)
    (0.75, 2.123)
    """
    if not pairs:
        raise RangeError("pairs", 0, "at least one reading is needed")
    turns = [not_negative("pairs", t) for t, _ in pairs]
    recesses = [finite("pairs", r) for _, r in pairs]
    us = _each(u_recess, len(pairs))
    if known_pitch is not None:
        return _offset_only(
            turns, recesses, positive("known_pitch", known_pitch), u_known_pitch, us
        )
    if len(pairs) == 1:
        raise RangeError("pairs", 1, "one reading needs a known pitch beside it")
    if len(pairs) == 2 and us is None:
        raise RangeError("u_recess", None, "two readings say nothing of their scatter, so give it")
    try:
        line = fit_line(turns, recesses, us)
    except RangeError as refused:
        raise RangeError("pairs", pairs, f"gives no line: {refused.reason}") from refused
    if magnitude("pairs", line.slope) >= 0:
        raise RangeError("pairs", line.slope, "the recess must fall as the nut is turned out")
    return NutCalibration(
        recess_bottomed=line.intercept,
        pitch=-line.slope,
        u_recess_bottomed=line.u_intercept,
        u_pitch=line.u_slope,
        covariance=-line.covariance,
        residual_sd=line.residual_sd,
        readings=len(pairs),
    )


def _offset_only(
    turns: Sequence[float],
    recesses: Sequence[float],
    pitch: float,
    u_pitch: float,
    us: Sequence[float] | None,
) -> NutCalibration:
    n = len(turns)
    if n == 1 and us is None:
        raise RangeError("u_recess", None, "one reading says nothing of its scatter, so give it")
    not_negative("u_known_pitch", u_pitch)
    weights: Sequence[float] = [1.0] * n if us is None else [1 / u**2 for u in us]
    total = sum(weights)
    offsets = [r + pitch * t for t, r in zip(turns, recesses, strict=True)]
    offset = sum(w * o for w, o in zip(weights, offsets, strict=True)) / total
    mean_turns = sum(w * t for w, t in zip(weights, turns, strict=True)) / total
    residual_sd: float | None = None
    scale = 1.0
    if n > 1:
        misses = [o - offset for o in offsets]
        residual_sd = root(sum(m**2 for m in misses) / (n - 1))
        ratio = sum(w * m**2 for w, m in zip(weights, misses, strict=True)) / (n - 1)
        scale = ratio if us is None else max(1.0, magnitude("ratio", ratio))
    return NutCalibration(
        recess_bottomed=finite_result("recess_bottomed", offset),
        pitch=pitch,
        u_recess_bottomed=root(scale / total + (mean_turns * u_pitch) ** 2),
        u_pitch=u_pitch,
        covariance=mean_turns * u_pitch**2,
        residual_sd=residual_sd,
        readings=n,
    )


def _each(u: float | Sequence[float] | None, n: int) -> Sequence[float] | None:
    if u is None:
        return None
    if isinstance(u, Sequence):
        if len(u) != n:
            raise RangeError("u_recess", len(u), f"must be one for all or one for each of {n}")
        return [positive("u_recess", each) for each in u]
    return [positive("u_recess", u)] * n


def root(square: float) -> float:
    """Root of a variance."""
    # Rounding can leave a variance a hair below zero; times 0 keeps a unit on.
    root: float = (square if magnitude("variance", square) > 0 else 0 * square) ** 0.5
    return finite_result("u", root)


def recess_for_same_preload(
    recess: float,
    L_free_then: float,
    L_free_now: float,
    *,
    u_recess: float = 0.0,
    u_L_free_then: float = 0.0,
    u_L_free_now: float = 0.0,
) -> tuple[float, float]:
    """Recess that brings an earlier preload back, and its uncertainty.

    One for one with free length: recess + L_free_then - L_free_now [m]; the three readings are
    taken as independent.

    Raises: RangeError. Source: [2], [1] eq. 10.

    >>> value, u = recess_for_same_preload(1.5e-3, 10.2e-3, 10.0e-3, u_L_free_now=0.01e-3)
    >>> round(value, 6), round(u, 6)
    (0.0017, 1e-05)
    """
    lost = positive("L_free_then", L_free_then) - positive("L_free_now", L_free_now)
    square = (
        not_negative("u_recess", u_recess) ** 2
        + not_negative("u_L_free_then", u_L_free_then) ** 2
        + not_negative("u_L_free_now", u_L_free_now) ** 2
    )
    return finite_result("recess", finite("recess", recess) + lost), root(square)
