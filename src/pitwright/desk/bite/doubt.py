"""A doubt about a seen engine speed that one wrong digit would explain."""

from __future__ import annotations

from typing import Final

from pitwright.desk.bite.words import rpm_words
from pitwright.weekend.records import Observation
from pitwright.weekend.weekend import Weekend

__all__ = ["observation_doubt"]

# From one setting to another of one clutch the same sign comes a few hundred rpm apart, at the very
# most a few thousand; common practice, no source.
_FARTHEST: Final = 0.3


def observation_doubt(weekend: Weekend, record: Observation) -> str:
    """Return what to ask before a seen speed is kept, empty when it is plausible.

    One speed carries the whole calibration of the bite, so a digit too few makes it worthless. It
    is held against the last speed of its kind seen on the clutch, else against the idle.
    """
    earlier = [
        r
        for r in weekend.log.records
        if isinstance(r, Observation) and r.clutch == record.clutch and r.how == record.how
    ]
    rpm = f"{rpm_words(record.rpm)} rpm"
    sign = "creep" if record.how == "creep" else "take-up"
    if earlier:
        last = earlier[-1].rpm
        if abs(record.rpm - last) <= _FARTHEST * last:
            return ""
        told = f"{rpm} is far from the last {sign} seen, {rpm_words(last)} rpm"
        if record.source == "recording" and abs(2 * record.rpm - last) <= _FARTHEST * last:
            return f"{told}: an engine that skips firings reads half"
        meant = next((m for m in (record.rpm * 10, record.rpm / 10)
                      if abs(m - last) <= _FARTHEST * last), None)  # fmt: skip
        return f"{told}: a digit too {'few' if record.rpm < last else 'many'}" if meant else told
    idle = weekend.card(record.clutch).engine.idle
    if idle is not None and record.rpm < idle.value:
        return f"{rpm} is below the idle on the card, {rpm_words(idle.value)} rpm"
    return ""
