"""The sheets of the Bite screen: the launch, what the numbers stand on, and what was seen."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from pitwright.app.widgets.sheet import Sheet

if TYPE_CHECKING:
    from pitwright.desk.bite.bite import BiteDesk, Prepared
    from pitwright.weekend.weekend import Weekend

__all__ = ["card_sheet", "launch_sheet", "seen_sheet"]


def launch_sheet(prepared: Prepared, found: BiteDesk, now: datetime) -> Sheet:
    """Return the sheet; its parts are worked out here, for nobody else needs them at the start."""
    from pitwright.desk.bite.launch import launch_desk, launch_lines
    from pitwright.desk.clutch.gears import gear_desk, gear_lines
    from pitwright.desk.clutch.torques import torque_desk, torque_lines
    from pitwright.desk.warmth.warmth import warmth_desk
    from pitwright.desk.warmth.words import warmth_lines

    figures, card = found.now, prepared.card
    gears = gear_desk(
        prepared.weekend,
        clutch=card.id,
        bite_rpm=figures.bite_rpm,
        lock_up_rpm=figures.lock_up_rpm,
    )
    return Sheet(
        "Launch, on the clutch as it stands",
        [
            *launch_lines(launch_desk(prepared)),
            "",
            *gear_lines(gears),
            "",
            *warmth_lines(warmth_desk(prepared, now)),
            *(["", *torque_lines(torque_desk(card))] if card.torques else []),
        ],
    )


def card_sheet(prepared: Prepared) -> Sheet:
    """Return the card's figures, each with its source and whose doubt it is."""
    from pitwright.desk.clutch.card_figures import card_figures, card_lines

    lines = card_lines(card_figures(prepared.card, prepared.fitted))
    return Sheet("What the numbers stand on", lines)


def seen_sheet(found: BiteDesk, weekend: Weekend) -> Sheet:
    """Return the speeds seen, and the air."""
    from pitwright.desk.bite.words import observation_lines
    from pitwright.desk.clutch.air import air_desk, air_lines, last_air

    lines = observation_lines(found.observations) or ["none yet: o enters one"]
    last = last_air(weekend)
    air = found.air or (None if last is None else air_desk(last))
    more = ["", *air_lines(air)] if air is not None else []
    return Sheet("Speeds seen", [*lines, *more])
