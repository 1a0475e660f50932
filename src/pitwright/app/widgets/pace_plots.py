"""Two pictures of laps: the traces of chosen heats, and the spread of each heat in order.

Everything has a sign of its own, so that it reads without colour. The plotting library is imported
when the first picture is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from pitwright.app.widgets.picture import Picture
from pitwright.desk.heats.timeline_rows import lap_words
from pitwright.desk.pace.pace import LapSpread, LapTrace

if TYPE_CHECKING:
    from textual_plotext import PlotextPlot

__all__ = ["SpreadBar", "SpreadPlot", "TracePlot"]

_ASIDE: Final = {"mistake": "×", "stop": "▲", "short": "▼"}
_OPENING: Final = 2
_MEANING: Final = {"mistake": "mistake", "stop": "stop", "short": "short lap"}


class _LapPlot(Picture):
    """A canvas that comes with the first picture, and a legend under it."""

    DEFAULT_CSS: ClassVar[str] = """
    _LapPlot {
        height: 1fr;
    }
    _LapPlot .legend {
        height: auto;
        padding: 0 1;
    }
    """
    EMPTY: ClassVar[str] = "No laps to draw."

    def compose(self) -> ComposeResult:
        """Lay out the legend; the canvas comes with the first picture."""
        yield Static(self.EMPTY, classes="legend", markup=False)

    async def _with_canvas(self, *, wanted: bool, legend: str) -> None:
        self.query_one(".legend", Static).update(Content(legend if wanted else self.EMPTY))
        if wanted:
            await self._lay_canvas()
        if self._canvas is not None:
            self._canvas.display = wanted
        self.call_after_refresh(self._draw)

    def _draw(self) -> None:
        canvas = self._canvas
        if canvas is None or not canvas.display or not canvas.size.height:
            return
        canvas.plt.clear_figure()
        self._paint(canvas)
        canvas.plt.xaxes(lower=True, upper=False)
        canvas.plt.yaxes(left=True, right=False)
        canvas.refresh()

    def _paint(self, canvas: PlotextPlot) -> None:
        raise NotImplementedError

    def _seconds(self, canvas: PlotextPlot, low: float, high: float) -> None:
        """Set the range of seconds, with round numbers at the ticks."""
        canvas.plt.ylim(low, high)
        rows = max(canvas.size.height - 4, 2)
        steps = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)
        most = max(rows // 2, 2)
        step = next((s for s in steps if (high - low) / s <= most), 120.0)
        first = int(low / step) + 1
        ticks = [step * i for i in range(first, int(high / step) + 1)]
        canvas.plt.yticks(ticks, [lap_words(tick) for tick in ticks])


class TracePlot(_LapPlot):
    """Lap by lap: the heat in hand, and the other chosen heats behind it."""

    EMPTY: ClassVar[str] = "No laps to draw: l imports them."

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._main: LapTrace | None = None
        self._others: Sequence[LapTrace] = ()

    async def show(self, main: LapTrace | None, others: Sequence[LapTrace]) -> None:
        """Draw a heat over others."""
        self._main, self._others = main, others
        parts = []
        if main is not None:
            parts.append(f"● {main.name}")
            settled = [s for n, s in main.kept if n > _OPENING]
            if settled and any(s > max(settled) for n, s in main.kept if n <= _OPENING):
                parts[0] += "  ↑ slower"
            reasons = dict.fromkeys(reason for _lap, _s, reason in main.aside)
            parts += [f"{_ASIDE[reason]} {_MEANING[reason]}, set aside" for reason in reasons]
        if others:
            n = len(others)
            parts.append(f"· {others[0].name if n == 1 else f'{n} others'}")
        await self._with_canvas(wanted=bool(parts), legend="   ".join(parts))

    def _paint(self, canvas: PlotextPlot) -> None:
        shown = [*self._others, *([self._main] if self._main is not None else [])]
        # The standing start would press all the rest into a few rows.
        settled = [s for trace in shown for n, s in trace.kept if n > _OPENING]
        settled = settled or [s for trace in shown for _n, s in trace.kept]
        if not settled:
            return
        low, high = min(settled), max(settled)
        pad = max((high - low) * 0.06, 0.02)
        low, high = low - pad, high + pad
        last = max(n for trace in shown for n, _s in trace.kept)
        # Many laps share a cell of the screen, and every point drawn costs.
        columns, rows = max(canvas.size.width, 1) / (last + 1), canvas.size.height / (high - low)
        cells = {
            (int(n * columns), int((s - low) * rows)): (float(n), s)
            for trace in self._others
            for n, s in trace.kept
            if low <= s <= high
        }
        self._dots(canvas, list(cells.values()), "·", self._ink("secondary", 0.7))
        if self._main is not None:
            inside = [(n, s) for n, s in self._main.kept if s <= high]
            above = [(n, high) for n, s in self._main.kept if s > high]
            self._dots(canvas, inside, "●", self._ink("primary"))
            self._dots(canvas, above, "↑", self._ink("primary"))
            last = max([last, *(n for n, _s, _r in self._main.aside)])
            for reason, sign in _ASIDE.items():
                # What lies off the picture is marked at its edge.
                marks = [
                    (n, min(max(s, low), high)) for n, s, why in self._main.aside if why == reason
                ]
                self._dots(canvas, marks, sign, self._ink("warning"))
        canvas.plt.xlim(0, last + 1)
        step = next(s for s in (2, 5, 10, 20, 50, 100, 200, 1000, 5000) if last / s <= 8)
        canvas.plt.xticks([1.0, *map(float, range(step, last + 1, step))])
        self._seconds(canvas, low, high)


@dataclass(frozen=True)
class SpreadBar:
    """A heat in the spread picture; ``changed`` when something was changed before it."""

    spread: LapSpread
    changed: bool
    in_hand: bool


class SpreadPlot(_LapPlot):
    """Heats in order: quartiles as a bar, the median on it, whiskers, and where it was changed."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._bars: Sequence[SpreadBar] = ()

    async def show(self, bars: Sequence[SpreadBar]) -> None:
        """Draw the spread of heats in order."""
        self._bars = bars
        legend = "◆ median  █ half the laps  │ reach"
        if any(bar.in_hand for bar in bars):
            legend += "  ◇ this"
        if any(bar.changed for bar in bars[1:]):
            legend += "  ┊ changed"
        await self._with_canvas(wanted=bool(bars), legend=legend)

    def _fitting(self, canvas: PlotextPlot) -> Sequence[SpreadBar]:
        """Return the bars there is room for, the one in hand among them."""
        room = max((canvas.size.width - 8) // 3, 3)
        if len(self._bars) <= room:
            return self._bars
        at = next((i for i, bar in enumerate(self._bars) if bar.in_hand), len(self._bars) - 1)
        first = min(max(at - room // 2, 0), len(self._bars) - room)
        return self._bars[first : first + room]

    def _paint(self, canvas: PlotextPlot) -> None:
        bars = self._fitting(canvas)
        if not bars:
            return
        reaches = [bar.spread.reach for bar in bars]
        low, high = min(r[0] for r in reaches), max(r[1] for r in reaches)
        pad = max((high - low) * 0.05, 0.02)
        low, high = low - pad, high + pad
        rows = max(canvas.size.height - 3, 3)
        step = (high - low) / rows / 2
        ink, quiet = self._ink("primary"), self._ink("foreground", 0.6)
        whiskers, boxes, changes = [], [], []
        for x, (bar, reach) in enumerate(zip(bars, reaches, strict=True), 1):
            whiskers += [(float(x), y) for y in _column(*reach, step)]
            box = (bar.spread.lower_quartile, bar.spread.upper_quartile)
            boxes += [(float(x), y) for y in _column(*box, step)]
            if bar.changed and x > 1:
                changes += [(x - 0.5, y) for y in _column(low, high, step)]
        self._dots(canvas, changes, "┊", self._ink("accent"))
        self._dots(canvas, whiskers, "│", quiet)
        self._dots(canvas, boxes, "█", ink)
        for in_hand, sign in ((False, "◆"), (True, "◇")):
            medians = [
                (float(x), bar.spread.median)
                for x, bar in enumerate(bars, 1)
                if bar.in_hand == in_hand
            ]
            self._dots(canvas, medians, sign, self._ink("foreground"))
        canvas.plt.xlim(0.5, len(bars) + 0.5)
        names = [bar.spread.name for bar in bars]
        widest = max(len(name) for name in names) + 1
        every = -(-len(bars) * widest // max(canvas.size.width - 8, 1))
        at = range(0, len(bars), max(every, 1))
        canvas.plt.xticks([float(x + 1) for x in at], [names[x] for x in at])
        self._seconds(canvas, low, high)


def _column(low: float, high: float, step: float) -> list[float]:
    """Return heights close enough for an unbroken column."""
    count = max(int((high - low) / step), 1)
    return [low + (high - low) * i / count for i in range(count + 1)]
