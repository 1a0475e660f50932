"""Shims in words: the same lines for the screen and the command line."""

from __future__ import annotations

from pitwright.desk.sizes import shims_listed
from pitwright.desk.stock.shims import ShimDesk, StackAdvice
from pitwright.desk.stock.stock import ShimCount
from pitwright.desk.wording import mm, signed_mm
from pitwright.weekend.places import ShimPlace

__all__ = [
    "HEAT_TAKES_LITTLE",
    "band_line",
    "chance_words",
    "change_words",
    "place_rows",
    "play_lines",
    "shim_lines",
    "stack_head",
    "stack_row",
    "stack_words",
    "tin_rows",
    "tin_words",
]

HEAT_TAKES_LITTLE = "Heat usually takes under 0.04 mm; the rest is for bearings, dirt, measuring"


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
    """Return what to take out and put in against the shims fitted now.

    What is fitted is to be left only where it is in its band, and nothing that binds hot is told
    without saying so.
    """
    tail = ", but it binds hot" if stack.binds_hot else ""
    if stack.as_fitted:
        return "as fitted: leave it" if stack.both_in_band and not tail else f"as fitted now{tail}"
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
    return "; ".join(parts) + tail


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
    if found.hot is None:
        return [*lines, HEAT_TAKES_LITTLE]
    takes = f"heat takes {found.hot.loss_mm:.3f}" if found.hot.loss_mm > 0 else "heat takes none"
    binds = "it binds, " if found.hot.hot_mm <= 0 else ""
    rest = "the rest is for bearings, dirt, measuring"
    return [*lines, f"Hot {binds}about {mm(found.hot.hot_mm)}: {takes}; {rest}"]


def tin_rows(tin: tuple[ShimCount, ...]) -> list[str]:
    """Return the tin as three rows: thickness, how many lie in it, how many are fitted."""
    if not tin:
        return ["The tin is empty: b adds shims you bought"]
    return [
        f"{'Shims, mm':<15}" + "".join(f"{t.mm:>7.2f}" for t in tin),
        f"{'in the tin':<15}" + "".join(f"{t.in_tin:>5}  " for t in tin).rstrip(),
        f"{'fitted':<15}" + "".join(f"{t.fitted or '-':>5}  " for t in tin).rstrip(),
    ]


def place_rows(found: ShimDesk) -> list[str]:
    """Return both places with what is in them, and their bands."""
    rows = []
    for label, stack, (low, target, high) in (
        ("Height", found.height_shims_mm, found.height_band_mm),
        ("End play", found.end_play_shims_mm, found.end_play_band_mm),
    ):
        there = "not recorded" if stack is None else shims_listed(stack)
        total = f" = {sum(stack):.2f}" if stack else ""
        band = f"band {low:.2f} to {high:.2f}, aim {target:.2f}"
        rows.append(f"{label + ' shims':<15}{there + total:<28}{band}")
    return rows


def stack_head(*, wide: bool) -> str:
    """Return the headings over the list of stacks."""
    gap = 24 if wide else 18
    hot = "   hot" if wide else ""
    shims = f"{'height shims':<{gap}}{'end play shims':<{gap}}"
    return f"{' #':<3}{shims}{'play':>8}{hot}{'height':>9}{'chance':>11}"


def stack_row(number: int, stack: StackAdvice, *, wide: bool) -> str:
    """Return one stack as a row under ``stack_head``."""
    gap = 24 if wide else 18
    hot = "      " if stack.hot_mm is None else f"{stack.hot_mm:>6.2f}"
    mark = "  in now" if stack.as_fitted else "" if stack.both_in_band else "  out of band"
    height = _short(stack.height_shims_mm, gap)
    play = _short(stack.end_play_shims_mm, gap)
    return (
        f"{number:>2} {height:<{gap}}{play:<{gap}}{stack.end_play_mm:>8.2f}{hot if wide else ''}"
        f"{stack.height_mm:>9.2f}{chance_words(stack):>11}{mark}"
    )


def _short(shims_mm: tuple[float, ...], room: int) -> str:
    """Return a stack in at most ``room`` signs: repeats counted where it would be too long."""
    words = " ".join(f"{s:.2f}" for s in shims_mm) or "none"
    if len(words) < room:
        return words
    counted = {s: shims_mm.count(s) for s in shims_mm}
    words = " ".join(f"{n}x{s:.2f}" if n > 1 else f"{s:.2f}" for s, n in counted.items())
    return words if len(words) < room else f"{len(shims_mm)} shims, {sum(shims_mm):.2f}"


def stack_words(stack: StackAdvice) -> str:
    """Return what a stack asks for, and what it leaves hot."""
    hot = f" Hot about {mm(stack.hot_mm)}." if stack.hot_mm is not None else ""
    change = change_words(stack)
    return f"{change[0].upper()}{change[1:]}.{hot}"


def shim_lines(found: ShimDesk) -> list[str]:
    """Return the shims as lines of text."""
    lines = [f"Tin            {tin_words(found.tin)}"]
    for label, there in (
        ("Height shims", found.height_shims_mm),
        ("End play shims", found.end_play_shims_mm),
    ):
        lines.append(f"{label:<15}{'not recorded' if there is None else shims_listed(there)}")
    lines += [band_line(found), *play_lines(found)]
    if found.unknown and found.measured is not None:
        lines.append(f"No stack: {found.unknown}")
    if found.out_of_reach:
        lines.append(f"Out of reach: {found.out_of_reach}")
    for number, stack in enumerate(found.stacks, 1):
        place = "both in band" if stack.both_in_band else "not in band"
        lines += [
            f"{number}. height {shims_listed(stack.height_shims_mm)}; "
            f"end play {shims_listed(stack.end_play_shims_mm)}",
            f"   gives end play {mm(stack.end_play_mm)}, height {mm(stack.height_mm)}: {place}, "
            f"chance {chance_words(stack)}",
            f"   {change_words(stack)}",
        ]
    return [*lines, *(f"Note: {note}" for note in found.notes)]
