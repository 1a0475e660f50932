"""What key l of the Bite screen shows: the launch, the gears, and how warm it gets."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from pitwright.app.widgets.sheet import Sheet

if TYPE_CHECKING:
    from pitwright.desk.bite.bite import BiteDesk, Prepared

__all__ = ["launch_sheet"]


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
