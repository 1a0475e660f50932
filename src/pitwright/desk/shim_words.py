"""Shims in words: the same lines for the screen and the command line."""

from __future__ import annotations

from pitwright.desk.fitting import shims_words
from pitwright.desk.shims import ShimDesk, StackAdvice
from pitwright.desk.stock import ShimCount
from pitwright.desk.wording import mm, signed_mm
from pitwright.weekend.places import ShimPlace

__all__ = [
    "HEAT_TAKES_LITTLE",
    "band_line",
    "chance_words",
    "change_words",
    "play_lines",
    "shim_lines",
    "tin_words",
]

HEAT_TAKES_LITTLE = (
    "Heat usually takes under 0.04 mm; the rest of the customary 0.2 to 0.3 is for bearings, dirt "
    "and measuring"
)


def tin_words(tin: tuple[ShimCount, ...]) -> str:
    """Return the tin in a line: ``4 x 0.05``, thinnest first."""
    return ", ".join(f"{t.in_tin} x {t.mm:.2f}" for t in tin) or "empty"


def chance_words(stack: StackAdvice) -> str:
    """Return how likely the end play will measure in its band, never certain."""
    percent = stack.chance * 100
    if percent > 99:
        return "over 99 %"
    return "under 1 %" if percent < 1 else f"{percent:.0f} %"


def change_words(stack: StackAdvice) -> str:
    """Return what to take out and put in against the shims fitted now."""
    if stack.as_fitted:
        return "as fitted: leave it"
    parts = []
    shorts: tuple[tuple[ShimPlace, str], ...] = (
        ("height shims", "height"),
        ("end play shims", "end play"),
    )
    for place, short in shorts:
        out, into = stack.take_out[place], stack.put_in[place]
        moves = [f"-{s:.2f}" for s in out] + [f"+{s:.2f}" for s in into]
        if moves:
            parts.append(f"{short} {' '.join(moves)}")
    return "; ".join(parts)


def band_line(found: ShimDesk) -> str:
    """Return both bands in a line."""
    low, target, high = found.end_play_band_mm
    tall_low, tall_target, tall_high = found.height_band_mm
    return (
        f"End play {low:.2f} to {high:.2f}, aim {target:.2f}; "
        f"height {tall_low:.2f} to {tall_high:.2f}, aim {tall_target:.2f}"
    )


def play_lines(found: ShimDesk) -> list[str]:
    """Return what is known of the play: measured, with the shims in now, and hot."""
    measured = found.measured
    if measured is None:
        return [f"End play: {found.unknown}"]
    lines = [
        f"Measured {mm(measured.value_mm)} ± {2 * measured.u_mm:.2f}, "
        f"without any shims {mm(measured.bare_mm)}"
    ]
    change = measured.expected_now_mm - measured.value_mm
    if abs(change) > 5e-4:
        lines.append(
            f"Shims changed since: now about {mm(measured.expected_now_mm)} ({signed_mm(change)})"
        )
    if found.hot is not None:
        lines.append(
            f"Hot about {mm(found.hot.hot_mm)}: heat takes {mm(found.hot.loss_mm, 3)} of it"
        )
    return lines


def shim_lines(found: ShimDesk) -> list[str]:
    """Return the shims as lines of text."""
    lines = [f"Tin            {tin_words(found.tin)}"]
    for label, there in (
        ("Height shims", found.height_shims_mm),
        ("End play shims", found.end_play_shims_mm),
    ):
        lines.append(f"{label:<15}{'not recorded' if there is None else shims_words(there)}")
    lines += [band_line(found), *play_lines(found), HEAT_TAKES_LITTLE]
    if found.unknown and found.measured is not None:
        lines.append(f"No stack: {found.unknown}")
    for number, stack in enumerate(found.stacks, 1):
        place = "both in band" if stack.both_in_band else "not in band"
        lines += [
            f"{number}. height {shims_words(stack.height_shims_mm)}; "
            f"end play {shims_words(stack.end_play_shims_mm)}",
            f"   gives end play {mm(stack.end_play_mm)}, height {mm(stack.height_mm)}: {place}, "
            f"chance {chance_words(stack)}",
            f"   {change_words(stack)}",
        ]
    return [*lines, *(f"Note: {note}" for note in found.notes)]
