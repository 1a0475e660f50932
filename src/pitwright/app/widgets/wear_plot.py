"""The picture of a wearing part: its readings, what is likely, with its band, and the limit.

Every part of it has a sign of its own, so that it reads without colour. The plotting library is
imported when the first picture is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from pitwright.app.widgets.picture import Picture
from pitwright.desk.wear.picture import WearPicture, rows_between, wear_picture
from pitwright.desk.wording import fixed

if TYPE_CHECKING:
    from textual_plotext import PlotextPlot

    from pitwright.desk.wear.part_forecast import PartForecast

__all__ = ["WearPlot"]

_READING: Final = "●"
_UNSQUEEZED: Final = "○"
_BAND: Final = "░"
_LIMIT: Final = "═"
_GOAL: Final = "┊"
_MIDDLE: Final = "•"

_MARGIN_COLUMNS: Final = 8
_MARGIN_ROWS: Final = 3


class WearPlot(Picture):
    """Shows one part's forecast as a picture with a legend under it."""

    DEFAULT_CSS: ClassVar[str] = """
    WearPlot {
        height: 1fr;
    }
    WearPlot .legend {
        height: auto;
        padding: 0 1;
    }
    WearPlot .empty {
        height: auto;
        padding: 1 1;
        display: none;
    }
    WearPlot.empty .empty {
        display: block;
    }
    WearPlot.empty .legend, WearPlot.empty PlotextPlot {
        display: none;
    }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._found: PartForecast | None = None

    def compose(self) -> ComposeResult:
        """Lay out the legend; the canvas comes with the first picture."""
        yield Static("Nothing to draw: no reading of it.", classes="empty", markup=False)
        yield Static("", classes="legend", markup=False)

    async def show(self, found: PartForecast | None) -> None:
        """Draw a part; None, or one that was never read, leaves the picture empty."""
        self._found = found
        self.set_class(found is None or not found.points, "empty")
        if found is None or not found.points:
            return
        await self._lay_canvas()
        self.query_one(".legend", Static).update(Content(legend(found)))
        self.call_after_refresh(self._draw)

    def _draw(self) -> None:
        canvas, found = self._canvas, self._found
        if canvas is None or found is None or not found.points:
            return
        columns = max(canvas.size.width - _MARGIN_COLUMNS, 10)
        rows = max(canvas.size.height - _MARGIN_ROWS, 3)
        picture = wear_picture(found, columns, rows)
        if picture is not None:
            self._paint(canvas, picture, rows)
            canvas.refresh()

    def _paint(self, canvas: PlotextPlot, picture: WearPicture, rows: int) -> None:
        plt = canvas.plt
        plt.clear_figure()
        ink = self._ink("foreground")
        step = (picture.high - picture.low) / rows
        filled = [
            (x, y) for x, low, high in picture.band for y in rows_between(low, high, step / 2)
        ]
        if filled:
            self._dots(canvas, filled, _BAND, self._ink("foreground", 0.45))
        if picture.goal is not None:
            column = rows_between(picture.low, picture.high, step / 2)
            self._dots(canvas, [(picture.goal, y) for y in column], _GOAL, self._ink("accent"))
        if picture.limit is not None:
            ends = ([picture.left, picture.right], [picture.limit, picture.limit])
            plt.plot(*ends, marker=_LIMIT, color=self._ink("flag-out"))
        if picture.middle:
            plt.plot(
                [x for x, _ in picture.middle],
                [y for _, y in picture.middle],
                marker=_MIDDLE,
                color=self._ink("primary"),
            )
        self._dots(canvas, picture.unsqueezed, _UNSQUEEZED, ink)
        self._dots(canvas, picture.readings, _READING, ink)
        plt.xaxes(lower=True, upper=False)
        plt.yaxes(left=True, right=False)
        plt.xlim(picture.left, picture.right)
        plt.ylim(picture.low, picture.high)
        plt.xticks(list(picture.x_ticks.at), list(picture.x_ticks.labels))
        plt.yticks(list(picture.y_ticks.at), list(picture.y_ticks.labels))


def legend(found: PartForecast) -> str:
    """Return what the signs of the picture mean, those of them that are in it."""
    parts = []
    if any(p.run_in for p in found.points):
        parts.append(f"{_READING} read")
    if any(not p.run_in for p in found.points):
        parts.append(f"{_UNSQUEEZED} unsqueezed")
    if found.curve:
        parts += [f"{_MIDDLE} wear", f"{_BAND} 9 in 10"]
    if found.limit is not None:
        parts.append(f"{_LIMIT} limit {fixed(found.limit.value_mm, found.decimals)}")
    if found.goal and found.curve:
        parts.append(f"{_GOAL} end of {found.goal}")
    return "  ".join(parts)
