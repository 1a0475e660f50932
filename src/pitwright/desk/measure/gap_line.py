"""What the gap of the shoes is by the card, the wear and the bell's bore, beside a reading of it.

The line stands on the Measure screen and under the measure command.
"""

from __future__ import annotations

from pitwright.desk.clutch.clearance import gap, worn_shoes
from pitwright.desk.clutch.fitted import fitted
from pitwright.desk.clutch.typed import with_typed
from pitwright.desk.wording import mm
from pitwright.weekend.weekend import Weekend

__all__ = ["GAP_READINGS", "gap_line"]

GAP_READINGS = ("bell_clearance", "bell_bore")
"""The quantities whose reading is held against what the others make of the gap."""

_MM = 1e-3


def gap_line(
    weekend: Weekend, clutch: str | None, quantity: str, value_mm: float | None = None
) -> str:
    """Return what card, wear and bore make of the gap, and whether the reading fits that.

    ``value_mm`` is the reading of ``quantity`` as typed, None where none is. Empty for a quantity
    that is none of ``GAP_READINGS``.
    """
    if quantity not in GAP_READINGS:
        return ""
    card, state = weekend.card(clutch), weekend.state(None, clutch)
    if value_mm is not None:
        state = with_typed(card, state, quantity, value_mm)
    on = fitted(weekend, card, state)
    worn = worn_shoes(card, on.shoes, state, on.tables)
    found = gap(weekend, card, on.shoes, state, worn, on.tables)
    odd = found.disagrees or (found.assumed if "bore" in found.assumed else "")
    if odd:
        return f"{odd[:1].upper()}{odd[1:]}"
    made = f"Card, wear and bore make a gap of {mm(found.by_card / _MM)} ± "
    fits = ": the reading fits" if value_mm is not None and found.read is not None else ""
    return f"{made}{mm(2 * found.u_by_card / _MM)}{fits}"
