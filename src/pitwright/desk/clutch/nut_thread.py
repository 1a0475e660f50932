"""The adjuster nut's thread: its pitch and the recess with the spring solid."""

from __future__ import annotations

from dataclasses import dataclass

from pitwright.desk.clutch.readings import reading_u
from pitwright.mechanics import nut
from pitwright.mechanics.errors import RangeError
from pitwright.weekend.card import ClutchCard
from pitwright.weekend.priors import figure_u
from pitwright.weekend.records import NutCalibration
from pitwright.weekend.weekend import Weekend

__all__ = ["NutFit", "nut_fit"]

_MM = 1e-3


@dataclass(frozen=True)
class NutFit:
    """Pitch and bottomed recess in force [m]: the user's own pairs where there are some."""

    pitch: float
    u_pitch: float
    recess_bottomed: float
    u_recess_bottomed: float
    pairs: int


def nut_fit(weekend: Weekend, card: ClutchCard) -> NutFit:
    """Return pitch and bottomed recess: fitted from recorded pairs, else the card's figures.

    One pair, or several at one setting, give the offset with the card's pitch. Records since the
    last calibration are not mixed with older ones: a nut put on again starts a new count.
    """
    u_card = figure_u(card.nut.recess_bottomed, "length").si
    u_pitch = figure_u(card.nut.pitch, "ratio").si
    on_card = NutFit(card.nut.pitch.si, u_pitch, card.nut.recess_bottomed.si, u_card, 0)
    last = next(
        (
            r
            for r in reversed(weekend.log.records)
            if isinstance(r, NutCalibration) and r.clutch == card.id
        ),
        None,
    )
    if last is None:
        return on_card
    pairs = [(p.turns_out, p.recess_mm * _MM) for p in last.pairs]
    settings = len({turns for turns, _ in pairs})
    u_reading = reading_u(card, "recess")
    try:
        if settings < 2:
            fit = nut.calibrate(
                pairs,
                known_pitch=card.nut.pitch.si,
                u_known_pitch=u_pitch,
                u_recess=u_reading,
            )
        else:
            fit = nut.calibrate(pairs, u_recess=u_reading)
    except RangeError:
        return on_card
    return NutFit(fit.pitch, fit.u_pitch, fit.recess_bottomed, fit.u_recess_bottomed, len(pairs))
