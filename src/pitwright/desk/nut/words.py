"""Nut advice in words: for the command line, and as a short panel."""

from __future__ import annotations

from pitwright.desk.nut.move import NutDesk
from pitwright.desk.wording import fixed

__all__ = ["nut_lines", "nut_rows"]


def nut_lines(found: NutDesk) -> list[str]:
    """Return the advice as lines of text."""
    title = f"Nut, for the {found.hold} of {found.reference}" if found.reference else "Nut"
    if found.unknown:
        return [f"{title}: cannot say yet", f"  {found.unknown}"]
    lines = [title]
    if found.wanted_mm is not None:
        spread = f" ± {2 * found.u_wanted_mm:.2f}" if found.u_wanted_mm else ""
        lines.append(f"  Recess wanted   {fixed(found.wanted_mm)}{spread} mm")
    if found.present_mm is not None:
        lines.append(f"  Recess now      {fixed(found.present_mm)} mm")
    if found.refused:
        lines.append(f"  Refused: {found.refused}")
    elif found.direction == "leave it" or (found.turns is not None and found.turns < 0.005):
        lines.append("  Turn            leave it where it is")
    elif found.turns is not None:
        spread = f" ± {2 * found.u_turns:.2f}" if found.u_turns else ""
        lines.append(
            f"  Turn            {found.turns:.2f}{spread} turns {found.direction} "
            f"({found.rotation}), then measure"
        )
    else:
        lines += [f"  {line}" for line in _from_bottomed(found)]
    if found.bind_margin_mm is not None and not found.refused:
        lines.append(
            f"  Margins         {found.bind_margin_mm:.2f} mm before the spring binds, "
            f"{found.maximum_margin_mm:.2f} mm before the card's most"
        )
    if found.solid_share is not None and not found.refused:
        lines.append(
            f"  Bites at        {100 * found.solid_share:.0f} % of the spring's way to solid, "
            f"reckoned by {found.spring_by}"
        )
    if found.target_rpm is not None and found.change_rpm is not None:
        lines.append(f"  Bite moves by   {round(found.change_rpm, -1):+.0f} rpm")
    return [*lines, *(f"  Note: {caution}" for caution in found.cautions)]


def _from_bottomed(found: NutDesk) -> list[str]:
    """Return how to get there when no recess read at this spring is known."""
    if found.turns_out is None:
        return ["Turn            measure the recess, for how far it is from there"]
    return [
        "Turn            in gently until the spring is solid, no further,",
        f"                then {found.turns_out:.2f} turns out, and measure",
    ]


def nut_rows(found: NutDesk) -> list[str]:
    """Return the nut advice as a short panel."""
    title = f"Nut for the {found.hold} of {found.reference}"
    if found.unknown:
        return [title, f"  cannot say yet: {found.unknown}"]
    rows = [title]
    if found.refused:
        wanted = f" ({fixed(found.wanted_mm)} mm)" if found.wanted_mm is not None else ""
        return [*rows, f"  ✗ refused{wanted}: {found.refused}"]
    if found.wanted_mm is not None:
        spread = f" ± {2 * found.u_wanted_mm:.2f}" if found.u_wanted_mm else ""
        rows.append(f"  recess {fixed(found.wanted_mm)}{spread} mm")
    if found.solid_share is not None:
        rows.append(f"  bites {100 * found.solid_share:.0f} % of the way to solid,")
        rows.append(f"  by {found.spring_by}")
    if found.direction == "leave it" or (found.turns is not None and found.turns < 0.005):
        rows.append("  leave it where it is")
    elif found.turns is not None:
        spread = f" ± {2 * found.u_turns:.2f}" if found.u_turns else ""
        rows.append(f"  {found.turns:.2f}{spread} turns {found.direction}, {found.rotation}")
        rows.append("  then measure the recess (key 3)")
    elif found.turns_out is not None:
        rows.append("  in gently until the spring is solid,")
        rows.append(f"  then {found.turns_out:.2f} turns out, and measure")
    return [*rows, *(f"  {caution}" for caution in found.cautions)]
