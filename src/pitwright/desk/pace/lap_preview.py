"""What was understood of laps before they are kept, in words."""

from __future__ import annotations

from collections.abc import Sequence

from pitwright.desk.heats.timeline_rows import lap_figures, lap_words
from pitwright.desk.wording import counted
from pitwright.weekend.weekend import HeatOnClutch, Weekend

__all__ = ["figures_words", "heat_for_laps", "heats_for_laps", "preview_lines", "refused_lines"]

_SHOWN = 8
_OFF = 0.2
"""Laps that add up to a fifth more or less than the heat ran are worth a second look."""


def heats_for_laps(weekend: Weekend) -> tuple[HeatOnClutch, ...]:
    """Return the heats that laps can be kept for: those run, the last of each name."""
    found: dict[str, HeatOnClutch] = {}
    for heat in weekend.heats:
        if heat.run.status != "cancelled":
            found.pop(heat.run.heat.casefold(), None)
            found[heat.run.heat.casefold()] = heat
    return tuple(found.values())


def heat_for_laps(weekend: Weekend, name: str) -> HeatOnClutch | None:
    """Return the heat of a name that laps can be kept for."""
    wanted = name.strip().casefold()
    return next((h for h in heats_for_laps(weekend) if h.run.heat.casefold() == wanted), None)


def figures_words(laps: Sequence[float], driver: str = "") -> str:
    """Return laps in a line: ``20 laps of Ann, total 7:09.31, best 20.96, median 21.25``."""
    whose = f" of {driver}" if driver else ""
    if not laps:
        return f"no laps{whose}"
    found = lap_figures(laps)
    words = f"{counted(len(laps), 'lap')}{whose}, total {lap_words(sum(laps))}"
    if found.best is not None and found.median is not None:
        words += f", best {lap_words(found.best)}, median {lap_words(found.median)}"
    return words


def preview_lines(
    heat: HeatOnClutch,
    laps: Sequence[float],
    sentence: str,
    notes: Sequence[str] = (),
    driver: str = "",
) -> list[str]:
    """Return what was understood: how it was read, the figures, the first laps, and doubts."""
    lines = [f"Read as {sentence}."] if sentence else []
    words = figures_words(laps, driver)
    lines.append(f"{words[:1].upper()}{words[1:]}.")
    if laps:
        first = "  ".join(lap_words(lap) for lap in laps[:_SHOWN])
        lines.append(f"First laps: {first}{'  …' if len(laps) > _SHOWN else ''}")
    lines += [f"{note[:1].upper()}{note[1:]}." for note in notes]
    lines += _doubts(heat, laps)
    if heat.laps and laps:
        same = [round(lap, 6) for lap in heat.laps] == [round(lap, 6) for lap in laps]
        kept = "the same laps" if same else figures_words(heat.laps)
        lines.append(f"Kept for {heat.run.heat} already: {kept}.")
    return lines


def _doubts(heat: HeatOnClutch, laps: Sequence[float]) -> list[str]:
    minutes = heat.run.run_minutes
    if not laps or not minutes:
        return []
    total = sum(laps) / 60
    if abs(total - minutes) <= _OFF * minutes + 1:
        return []
    return [
        f"! {heat.run.heat} ran {minutes:g} min, these laps add up to {total:.1f} min: the right "
        "heat, driver and kind of times?"
    ]


def refused_lines(refused: Sequence[tuple[int, str, str]]) -> list[str]:
    """Return the lines that gave no lap: number, reason and text."""
    if not refused:
        return []
    head = f"{counted(len(refused), 'line')} gave no lap:"
    return [head, *(f"  line {line}: {reason}: {text}" for line, text, reason in refused)]
