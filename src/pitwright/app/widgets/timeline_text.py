"""The timeline's rows as text: columns that fit the width, numbers under one another."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from textual.content import Content
from textual.geometry import Size

from pitwright.app.widgets.flag import GLYPHS, flag_style
from pitwright.app.widgets.later_text import UNTOLD, LaterText
from pitwright.desk.heats.happenings import Happening
from pitwright.desk.heats.timeline_rows import Day, HeatLine, Start, lap_words
from pitwright.desk.wording import clock_time, counted, fixed, minutes_words

__all__ = ["Columns", "day_text", "happening_row"]

_SPARE = 5  # cells behind the columns for the flag's word

_KINDS = {
    "practice": "prac",
    "warm-up": "warm",
    "run-in": "r-in",
    "qualifier": "qual",
    "main": "main",
}
_DASH = "–"


@dataclass(frozen=True)
class _Column:
    key: str
    title: str
    width: int
    right: bool
    cell: Callable[[HeatLine], str]
    rank: int = 0  # columns of a higher rank give way first when it is narrow


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _length(line: HeatLine, key: str, value: float | None, width: int) -> str:
    """Return a length right-aligned, a doubtful one with a question mark behind it."""
    if line.start is None:
        return " " * (width + 1)
    text = _DASH if value is None else fixed(value)
    return f"{text:>{width}}{'?' if key in line.start.doubtful else ' '}"


def _minutes(line: HeatLine) -> str:
    if line.status not in ("run", "stopped early"):
        return ""
    text = "?" if line.run_minutes is None else f"{round(line.run_minutes, 1):g}"
    # Whole minutes leave the place of the tenths empty: points stand under one another.
    return text if "." in text or len(text) > 2 else f"{text}  "


def _stacks(line: HeatLine) -> str:
    start = line.start or Start("A")
    stacks = (start.height_shims_mm, start.end_play_shims_mm)
    if all(s is None for s in stacks):
        return ""
    return "/".join(_DASH if s is None else f"{sum(s):.2f}" for s in stacks)


def _ratings(line: HeatLine) -> str:
    if all(r is None for r in line.ratings):
        return ""
    return "/".join(_DASH if r is None else str(r) for r in line.ratings)


class Columns:
    """The columns that fit a width, for the heats given."""

    def __init__(self, width: int, heats: Sequence[HeatLine], zone: ZoneInfo) -> None:
        starts = [h.start for h in heats if h.start is not None]
        spring = min(max((len(s.spring or "") for s in starts), default=2), 8)
        shoes = min(max((len(s.shoes or "") for s in starts), default=2), 8)
        name = min(max((len(h.heat) for h in heats), default=4), 16)

        def spring_cell(line: HeatLine) -> str:
            part = _cut((line.start.spring if line.start else None) or "", spring)
            value = line.start.free_length_mm if line.start else None
            return f"{part:<{spring}} {_length(line, 'free_length', value, 5)}"

        def shoes_cell(line: HeatLine) -> str:
            part = _cut((line.start.shoes if line.start else None) or "", shoes)
            value = line.start.shoe_thickness_mm if line.start else None
            return f"{part:<{shoes}} {_length(line, 'shoe_thickness', value, 4)}"

        everything = [
            _Column("time", "time", 5, False, lambda h: clock_time(h.at, zone)),
            _Column("heat", "heat", max(name, 4), False, lambda h: h.heat),
            _Column("kind", "kind", 4, False, lambda h: _KINDS[h.kind], rank=2),
            _Column("spring", "spring", spring + 7, False, spring_cell),
            _Column(
                "recess",
                "nut",
                5,
                True,
                lambda h: _length(h, "recess", h.start.recess_mm if h.start else None, 4),
            ),
            _Column("shoes", "shoes", shoes + 6, False, shoes_cell, rank=1),
            _Column(
                "play",
                "play",
                5,
                True,
                lambda h: _length(h, "end_play", h.start.end_play_mm if h.start else None, 4),
                rank=3,
            ),
            _Column("shims", "shims h/e", 9, False, _stacks, rank=5),
            _Column("minutes", "min", 4, True, _minutes),
            _Column("laps", "lap", 3, True, lambda h: str(h.laps.count or ""), rank=4),
            _Column("best", "best", 6, True, lambda h: lap_words(h.laps.best)),
            _Column("median", "median", 6, True, lambda h: lap_words(h.laps.median)),
            _Column("ratings", "rated", 5, False, _ratings, rank=6),
        ]
        chosen = everything
        for rank in (6, 5, 4, 3, 2, 1):
            if _width(chosen) <= width:
                break
            chosen = [c for c in chosen if c.rank != rank]
        self._columns = chosen
        self._width = width

    def header(self) -> Content:
        """Return the titles."""
        cells = [
            c.title.rjust(c.width - (c.key in ("recess", "play"))).ljust(c.width)
            if c.right
            else c.title.ljust(c.width)
            for c in self._columns
        ]
        return Content(_cut(" " + " ".join(cells).rstrip(), self._width))

    def heat_row(self, line: HeatLine) -> LaterText:
        """Return a heat, and under it what there is to say of it."""

        def made() -> Content:
            return Content("\n").join([self.heat_text(line), *self.under(line)])

        if line.status != "run" or line.trouble or line.result or line.corrected:
            return LaterText(made)
        flags = len(f" ✓{' out' * (line.word == 'out')}") * bool(line.word) + len(" ★") * line.best
        return LaterText(made, Size(_width(self._columns) - _SPARE + flags, 1))

    def heat_text(self, line: HeatLine) -> Content:
        """Return a heat as one line."""
        if line.status in ("planned", "not noted", "cancelled"):
            return self._without_figures(line)
        cells = [
            _cut(c.cell(line), c.width).rjust(c.width)
            if c.right
            else _cut(c.cell(line), c.width).ljust(c.width)
            for c in self._columns
        ]
        text = " " + " ".join(cells)
        tail: list[Content] = [Content(text)]
        if line.word:
            word = " out" if line.word == "out" else ""
            tail.append(Content.styled(f" {GLYPHS[line.word]}{word}", flag_style(line.word)))
        if line.best:
            tail.append(Content.styled(" ★", "$accent"))
        if line.status == "running":
            tail = [Content.styled(text.rstrip() + "  running", "$accent bold")]
        return Content.assemble(*tail)

    def _without_figures(self, line: HeatLine) -> Content:
        cells = [
            _cut(c.cell(line), c.width).ljust(c.width)
            for c in self._columns
            if c.key in ("time", "heat", "kind")
        ]
        words: str = line.status
        if line.status == "planned":
            minutes = f", {line.planned_minutes:g} min" if line.planned_minutes else ""
            moved = ""
            if line.moved_minutes:
                way = "late" if line.moved_minutes > 0 else "early"
                moved = f", {minutes_words(line.moved_minutes)} {way}"
            words = f"planned{minutes}{moved}"
        elif line.status == "not noted":
            words = "not noted: h starts it, a notes it as run, x takes it off"
        elif line.trouble:
            words = f"cancelled: {line.trouble}"
        text = " " + " ".join(cells) + "  " + words
        return Content.styled(_cut(text, self._width), "$foreground 65%")

    def under(self, line: HeatLine) -> list[Content]:
        """Return what stands under a heat: stopped early, trouble, result, a correction."""
        parts = []
        if line.status == "stopped early":
            parts.append("stopped early")
        parts += [f"trouble: {line.trouble}"] if line.trouble else []
        parts += [line.result] if line.result else []
        parts += [line.corrected] if line.corrected else []
        if not parts or line.status in ("planned", "not noted", "cancelled"):
            return []
        style = "$warning" if line.trouble else "$foreground 65%"
        return [
            Content.styled(row, style)
            for row in _wrapped("; ".join(parts), "       ", "       ", self._width)
        ]


def _width(columns: Sequence[_Column]) -> int:
    # One blank before the first, the flag's word behind the last.
    return 1 + sum(c.width + 1 for c in columns) + _SPARE


def _wrapped(text: str, first: str, rest: str, width: int) -> list[str]:
    rows = textwrap.wrap(
        text,
        max(width, 20),
        initial_indent=first,
        subsequent_indent=rest,
        max_lines=3,
        placeholder=" …",
    )
    return rows or [first]


def day_text(day: Day) -> Content:
    """Return a day's heading."""
    ran = ""
    if day.heats_run:
        heats = f"{counted(day.heats_run, 'heat')} run"
        known = f", {minutes_words(day.run_minutes)}" if day.run_minutes else ""
        unknown = f", {day.unknown_runs} not timed" if day.unknown_runs else ""
        ran = f"   {heats}{known}{unknown}"
    return Content.assemble(
        Content.styled(f"{day.date:%A} {day.date.day} {day.date:%B}", "$primary bold"),
        Content.styled(ran, "$foreground 65%"),
    )


_STYLES = {"note": "$secondary", "gone": "$foreground 50% strike"}


def happening_row(event: Happening, width: int) -> LaterText:
    """Return a happening as one to three lines, set in from the heats."""
    text = event.text + (f" ({event.corrected})" if event.corrected else "")

    def made() -> Content:
        mark = GLYPHS.get(event.word, "┆") if event.word else "┆"
        rows = _wrapped(text, f"     {mark} ", "       ", width)
        style = flag_style(event.word) if event.word else _STYLES.get(event.sort, "$foreground 75%")
        return Content("\n").join(Content.styled(row, style) for row in rows)

    # Signs beyond ASCII may be two cells wide.
    fits = text.isascii() and len(text) + 7 <= width
    return LaterText(made, Size(len(text) + 7, 1) if fits else UNTOLD)
