"""Readings made into a value: with the tool as it stands, and the part as warm as it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from pitwright.desk.measure.instruments import Tool
from pitwright.metrology.uncertainty import Measurement, PartTemperature, measure
from pitwright.weekend.card import Quantity

__all__ = ["REFERENCE_C", "bring_to_20", "gauged", "read_part_c", "warm_note"]

REFERENCE_C: Final = 20.0
_COLDEST_C: Final = -20.0
_HOTTEST_C: Final = 300.0

# A part cools while it is measured, and a thermometer aimed at bright metal is off.
# Common practice, no source.
_U_PART_K: Final = 5.0
# Handbook figures of one alloy differ by about this; from memory.
_U_EXPANSION: Final = 1e-6
_MATTERS: Final = 0.25


def read_part_c(typed: str) -> float:
    """Read a part's temperature [degrees C]; raises ValueError with the reason in plain words."""
    text = typed.strip().removesuffix("C").removesuffix("c").rstrip(" °").replace(",", ".")
    try:
        found = float(text)
    except ValueError:
        raise ValueError("a temperature in °C is wanted, such as 60") from None
    if not _COLDEST_C <= found <= _HOTTEST_C:
        raise ValueError(f"between {_COLDEST_C:g} and {_HOTTEST_C:g} °C")
    return found


def bring_to_20(spec: Quantity, part_c: float | None) -> PartTemperature | None:
    """Return how to bring a warm part's reading to 20 degrees.

    None when its temperature was not read or the card states no expansion. The tool is taken to be
    at 20 degrees itself.
    """
    if part_c is None or spec.expansion is None:
        return None
    return PartTemperature(
        part_c,
        spec.expansion.si,
        u_celsius=_U_PART_K,
        u_alpha=_U_EXPANSION if spec.expansion.u_si is None else spec.expansion.u_si,
        reference=REFERENCE_C,
    )


def gauged(
    tool: Tool, spec: Quantity, values: Sequence[float], part_c: float | None = None
) -> Measurement:
    """Return what readings [mm] are worth.

    The permissible error covers the tool's own zero; each further one counts. A tool whose zero
    check lay further off than its permissible error has that much more error, unless the reading
    is a difference, where it drops out. Raises ValueError for a tool the card says too little of.
    """
    gauge = tool.gauge
    if gauge is None:
        raise ValueError(f"{tool.label}: its error is not known")
    extra = max(0, spec.zeroings - 1)
    if spec.zeroings == 1 and tool.has_zero:
        if tool.zero_off_mm:
            error = gauge.max_permissible_error + abs(tool.zero_off_mm)
            gauge = replace(gauge, max_permissible_error=error)
        # the permissible error covers a usual zero, not one that was seen to wander further
        extra = int(gauge.u_zero > gauge.u_error(0.0) > 0.0)
    return measure(
        values,
        gauge,
        zero_count=extra,
        repeatability=tool.scatter,
        temperature=bring_to_20(spec, part_c),
    )


def warm_note(spec: Quantity, part_c: float | None, read_mm: float, found: Measurement) -> str:
    """Return what a part's warmth did to its reading, and whether that matters beside U."""
    if part_c is None:
        return ""
    if spec.expansion is None:
        return "the card states no expansion for this, so it counts as read: measure it cold"
    shift = read_mm - found.value
    size = f"{abs(shift):.3f} mm {'taken off' if shift >= 0.0 else 'added'}"
    if abs(shift) < 0.0005:
        size = "under 0.001 mm"
    matters = abs(shift) >= _MATTERS * found.U
    beside = "it matters" if matters else "too little to matter"
    return f"part at {part_c:g} °C, given at {REFERENCE_C:g} °C: {size}, {beside}"
